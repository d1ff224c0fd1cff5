"""A task as a JSON file: read with messages that name the line, and written to read back the same."""

import json
import math
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, TypeAlias

from assessments.draft_steps import SLUG_LENGTH, is_group

Data: TypeAlias = Mapping[str, Any]

LARGEST = 1_000_000
TITLE_LENGTH: Final = 120
SLUG: Final = r"[a-z0-9]+(-[a-z0-9]+)*"


class TaskFileError(ValueError):
    """A file that holds no task. The message says what is wrong, and on which line where that is known."""


Shape: TypeAlias = tuple[Callable[[Any], bool], str]


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_title(value: Any) -> bool:
    return isinstance(value, str) and 0 < len(value.strip()) <= TITLE_LENGTH


def _is_slug(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= SLUG_LENGTH and bool(re.fullmatch(SLUG, value))


def _is_step_slug(value: Any) -> bool:
    return isinstance(value, str) and 0 < len(value) <= SLUG_LENGTH


def _is_flag(value: Any) -> bool:
    return isinstance(value, bool)


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 9999


def _is_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(each, str) for each in value)


def _is_pair(value: Any) -> bool:
    return _is_texts(value) and len(value) == 2


def _is_object(value: Any) -> bool:
    return isinstance(value, dict)


def _is_list(value: Any) -> bool:
    return isinstance(value, list)


def _is_choices(value: Any) -> bool:
    return isinstance(value, list) and all(
        isinstance(each, dict) and each.keys() == {"value", "label"} and _is_texts(list(each.values()))
        for each in value
    )


_TEXT: Final[Shape] = (_is_text, "text")
_TITLE: Final[Shape] = (_is_title, f"text of 1 to {TITLE_LENGTH} characters")
_FLAG: Final[Shape] = (_is_flag, "true or false")
_COUNT: Final[Shape] = (_is_count, "a whole number, 0 to 9999")
_TEXTS: Final[Shape] = (_is_texts, "a list of texts")
_OBJECT: Final[Shape] = (_is_object, "an object, in braces")

TASK_SHAPES: Final[Mapping[str, Shape]] = {
    "slug": (_is_slug, f"a short name of small letters, digits and hyphens, at most {SLUG_LENGTH}"),
    "title": _TITLE,
    "position": _COUNT,
    "designs": _TEXTS,
    "purpose": _TEXT,
    "guide_minutes": _COUNT,
    "requires": _TEXTS,
    "criteria": _TEXTS,
    "cautions": _TEXTS,
    "steps": (_is_list, "a list of steps"),
}
STEP_SHAPES: Final[Mapping[str, Shape]] = {
    "slug": (_is_step_slug, f"a short name, at most {SLUG_LENGTH} characters"),
    "kind": _TEXT,
    "title": _TITLE,
    "instruction": _TEXT,
    "why": _TEXT,
    "safety_critical": _FLAG,
    "required": _FLAG,
    "condition": _TEXT,
    "measurand": (_is_pair, "a test point and a condition"),
    "instrument_kind": _TEXT,
    "quantity": _TEXT,
    "judged_by": _TEXT,
    "parameters": _OBJECT,
    "choices": (_is_choices, "a list of choices, each with a value and a label"),
    "expected": _TEXTS,
}
NEEDED_OF_A_STEP: Final = ("slug", "kind", "title", "instruction")


def read(raw: bytes) -> Data:
    """The task in a file. TaskFileError for anything that is none; what doesn't fit is for a check to say."""
    if len(raw) > LARGEST:
        raise TaskFileError("That file is larger than any task: 1 MB is the most.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise TaskFileError(f"Line {line}: this isn't UTF-8 text. Save the file as UTF-8.") from None
    data = _parsed(text)
    _Reader(text).require_task(data)
    return {key: value for key, value in data.items() if key in TASK_SHAPES}


def write(data: Data) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, parse_constant=_no_number, object_pairs_hook=_without_repeats)
    except json.JSONDecodeError as error:
        raise TaskFileError(
            f"Line {error.lineno}, character {error.colno}: this isn't JSON. {error.msg}."
        ) from None
    except RecursionError:
        raise TaskFileError("Its brackets are nested too deeply for a task.") from None


def _no_number(name: str) -> float:
    raise TaskFileError(f"“{name}” is no number.")


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        where = f" in “{found['slug']}”" if isinstance(found.get("slug"), str) else ""
        raise TaskFileError(f"“{twice}” is given twice{where}.")
    return found


class _Reader:
    """Looks at what was parsed, with the text at hand to say where something stands."""

    def __init__(self, text: str) -> None:
        self.lines = text.splitlines()

    def require_task(self, data: Any) -> None:
        if not isinstance(data, dict):
            raise TaskFileError("Line 1: a task is an object, in braces.")
        if "design" in data:
            raise self._error("write “designs”, with a list of designs, in place of “design”", key="design")
        known = {**TASK_SHAPES, "version": _COUNT}
        self._require(data, known, needed=TASK_SHAPES, whose="the task", since=0)
        self._require_storable(data)
        for number, node in enumerate(data["steps"], start=1):
            self._require_node(node, whose=f"step {number}")

    def _require_node(self, node: Any, *, whose: str) -> None:
        if not isinstance(node, dict):
            raise TaskFileError(f"The task's {whose} is no object, in braces.")
        if not is_group(node):
            slug = re.escape(json.dumps(node.get("slug"), ensure_ascii=False))
            since = self._line_of(rf'"slug"\s*:\s*{slug}')
            self._require(node, STEP_SHAPES, needed=NEEDED_OF_A_STEP, whose=whose, since=since)
            return
        if "for_each" in node:
            if node.keys() != {"for_each", "step"} or node["for_each"] != "pair":
                raise self._error(f'{whose} should be {{"for_each": "pair", "step": …}}', key="for_each")
            self._require_inner([node["step"]], whose=whose)
            return
        if node.keys() != {"repeat", "steps"} or not _is_count(node["repeat"]):
            raise self._error(f'{whose} should be {{"repeat": 5, "steps": […]}}', key="repeat")
        if not isinstance(node["steps"], list):
            raise self._error(f"{whose}: “steps” should be a list of steps", key="repeat")
        self._require_inner(node["steps"], whose=whose)

    def _require_inner(self, nodes: list[Any], *, whose: str) -> None:
        for number, node in enumerate(nodes, start=1):
            if isinstance(node, dict) and is_group(node):
                raise TaskFileError(f"The task's {whose} is a group within a group, which can't be.")
            self._require_node(node, whose=f"{whose}.{number}")

    def _require(
        self,
        data: Data,
        shapes: Mapping[str, Shape],
        *,
        needed: Iterable[str],
        whose: str,
        since: int,
    ) -> None:
        for key in needed:
            if key not in data:
                raise TaskFileError(f"{_line(since)}{whose} has no “{key}”.")
        for key, value in data.items():
            if key not in shapes:
                raise self._error(f"{whose} has “{key}”, which no task uses here", key=key, since=since)
            fits, words = shapes[key]
            if not fits(value):
                raise self._error(f"“{key}” of {whose} should be {words}", key=key, since=since)

    def _require_storable(self, value: Any) -> None:
        match value:
            case dict():
                for key, each in value.items():
                    self._require_storable(key)
                    self._require_storable(each)
            case list():
                for each in value:
                    self._require_storable(each)
            case str() if "\0" in value or _has_half_a_character(value):
                raise TaskFileError("It holds a character that can't be stored: take it out.")
            case float() if not math.isfinite(value):
                raise TaskFileError("It holds a number that is too large.")
            case int() if abs(value) > 2**53:
                raise TaskFileError(f"{value} is too large a number.")

    def _error(self, what: str, *, key: str, since: int = 0) -> TaskFileError:
        """The line is that of the key, looked for from the line on which its step begins."""
        found = self._line_of(rf'"{re.escape(key)}"\s*:', since=max(since - 1, 0))
        return TaskFileError(f"{_line(found or since)}{what}.")

    def _line_of(self, pattern: str, *, since: int = 0) -> int:
        """The first line with it, counted from 1; 0 when there is none."""
        lines = enumerate(self.lines[since:], start=since + 1)
        return next((number for number, line in lines if re.search(pattern, line)), 0)


def _line(number: int) -> str:
    return f"Line {number}: " if number else ""


def _has_half_a_character(text: str) -> bool:
    return any("\ud800" <= each <= "\udfff" for each in text)
