"""Settings as the environment gives them, read with messages a person can act on."""

import os
import secrets
from collections.abc import Callable
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE = frozenset({"1", "true", "yes", "on"})
FALSE = frozenset({"0", "false", "no", "off"})


def flag(name: str, *, default: bool) -> bool:
    """Return an on/off setting. ImproperlyConfigured for any other word."""
    text = os.environ.get(name, "").strip().lower()
    if not text:
        return default
    if text in TRUE:
        return True
    if text in FALSE:
        return False
    raise ImproperlyConfigured(f"{name} must be 1 or 0, not “{text}”.")


def words(name: str, *, default: tuple[str, ...] = ()) -> list[str]:
    """Return a comma-separated setting as a list without blanks."""
    text = os.environ.get(name)
    if text is None:
        return list(default)
    return [word for word in (part.strip() for part in text.split(",")) if word]


def whole(name: str, *, default: int) -> int:
    """Return a setting that is a whole number. ImproperlyConfigured for anything else."""
    text = os.environ.get(name, "").strip()
    if not text:
        return default
    if not text.isdecimal():
        raise ImproperlyConfigured(f"{name} must be a whole number, not “{text}”.")
    return int(text)


def secret_key(*, path: Path) -> str:
    """Return MAKEPOINT_SECRET_KEY, or the key kept in `path`: made on first use, for its owner alone."""
    given = os.environ.get("MAKEPOINT_SECRET_KEY", "").strip()
    return given or kept_secret(path=path, make=lambda: secrets.token_urlsafe(64))


def paths(*names: str, default: Path) -> tuple[Path, ...]:
    """Return settings that name files, all of them or none. ImproperlyConfigured where one is missing."""
    given = [os.environ.get(name, "").strip() for name in names]
    if all(given):
        return tuple(Path(text) for text in given)
    if any(given):
        raise ImproperlyConfigured(f"{' and '.join(names)} are given together, or neither.")
    return (default,) * len(names)


def kept_secret(*, path: Path, make: Callable[[], str]) -> str:
    """Return the secret kept in `path`, in ASCII: made on first use, for its owner alone."""
    if not path.exists():
        _keep_once(path, make())
    return path.read_text(encoding="ascii").strip()


def _keep_once(path: Path, secret: str) -> None:
    # Written aside and linked into place, so that two processes starting at once agree on one whole secret.
    aside = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secret)
        try:
            os.link(aside, path)
        except FileExistsError:
            return
    finally:
        aside.unlink()
