"""Data files that a trainer can write: read whole, or refused with the file's name and the line."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_SLUG = re.compile(r'"slug"\s*:\s*"([^"]+)"')
_PLACE = re.compile(r"\\\{\w+\\\}")


class FileError(ValueError):
    """A file that can't be used. The message names it, with the line where that is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DataFile:
    """One file with what is in it."""

    path: Path
    text: str
    data: Any

    def error(self, message: str, *, near: str = "") -> FileError:
        """What is wrong with it, at the line of a slug or of another word in it."""
        line = line_of(self.text, near)
        return FileError(f"{_name(self.path)}{f', line {line}' if line else ''}: {message}")


def read(path: Path) -> DataFile:
    """Read a JSON file. Raises FileError for one that isn't UTF-8 or JSON, OSError for a missing one."""
    try:
        text = path.read_text(encoding="utf-8")
        data = json.loads(text, object_pairs_hook=_once, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        raise FileError(f"{_name(path)}, line {error.lineno}: {error.msg}.") from error
    except UnicodeDecodeError as error:
        raise FileError(f"{_name(path)}: this isn't text in UTF-8.") from error
    except _ContentError as error:
        raise FileError(f"{_name(path)}: {error}") from error
    return DataFile(path=path, text=text, data=data)


def read_folder(folder: Path) -> list[DataFile]:
    """Every JSON file of a folder, by name. Raises OSError where there is no such folder."""
    return [read(each) for each in sorted(folder.iterdir()) if each.suffix == ".json"]


def line_of(text: str, near: str) -> int | None:
    """The line of the slug ``near``, or of a slug that it can be made from; else of the first such word."""
    if not near:
        return None
    lines = text.splitlines()
    for fits in (near.__eq__, lambda slug: _makes(slug, near)):
        for number, line in enumerate(lines, start=1):
            if any(fits(slug) for slug in _SLUG.findall(line)):
                return number
    word = f'"{near}"'
    return next((number for number, line in enumerate(lines, start=1) if word in line), None)


def _makes(template: str, slug: str) -> bool:
    """Whether a slug is made from a template: “dead-{first}-{second}”, or “make” that is repeated."""
    made = _PLACE.sub(r"[\\w-]+", re.escape(template))
    return re.fullmatch(rf"{made}(-\d+)?", slug) is not None


class _ContentError(ValueError):
    """JSON that no data file of ours may hold."""


def _no_number(name: str) -> float:
    raise _ContentError(f"{name} is no number.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise _ContentError(f"“{name}” stands twice in the same braces, by “{_beside(pairs)}”.")
        found[name] = value
    return found


def _beside(pairs: list[tuple[str, Any]]) -> str:
    return next(_texts(pairs), "?")


def _texts(pairs: list[tuple[str, Any]]) -> Iterator[str]:
    return (str(value) for name, value in pairs if name in {"slug", "title", "code"})


def _name(path: Path) -> str:
    return f"{path.parent.name}/{path.name}"
