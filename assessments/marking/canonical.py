"""Canonical JSON of the values that marking works with, and where two such documents differ."""

import hashlib
import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import lru_cache
from json.encoder import encode_basestring
from operator import attrgetter
from typing import Any

import rfc8785

Write = Callable[[Any], str]

text = encode_basestring
"""A text as RFC 8785 writes it: Python's json escapes as the RFC does (section 3.2.2.2)."""


@lru_cache(maxsize=65_536)
def number(value: float) -> str:
    """A number as RFC 8785 writes it (as ECMAScript does). ValueError for NaN and infinity."""
    if value == 0:
        return "0"
    if 1e-4 <= abs(value) < 1e16:  # here Python's digits are ECMAScript's, but for a last .0
        return repr(value).removesuffix(".0")
    return bytes(rfc8785.dumps(value)).decode()


@lru_cache(maxsize=65_536)
def number_as_text(value: float) -> str:
    """A number as a string: the shortest decimal that reads back as the same float, zero without a sign.

    Equal numbers give equal strings, 20 and 20.0 among them. ValueError for NaN and infinity.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} can't be frozen: it is no number.")
    return f'"{(value + 0.0)!r}"'.replace('.0"', '"')


def whole_as_text(value: int) -> str:
    return f'"{value}"'


class Canonical(dict[type, Write]):
    """Writes values as RFC 8785 JSON: how, by their type, found out once for each type.

    Dataclasses and named tuples are objects, other tuples arrays, members of enumerations their texts;
    ``whole`` writes an int, ``number`` a float. Names are sorted by UTF-16 code unit, as the RFC asks. Values
    of the types in ``alike``, of which many documents have the same, are written once: equal ones have the
    same text.
    """

    def __init__(
        self,
        *,
        whole: Callable[[int], str] = repr,
        number: Callable[[float], str] = number,
        alike: Collection[type] = (),
    ) -> None:
        super().__init__(
            {
                str: text,
                type(None): lambda _: "null",
                bool: lambda value: "true" if value else "false",
                int: whole,
                float: number,
            }
        )
        self.alike = alike
        self._with_gaps: dict[tuple[type, tuple[str, ...]], tuple[str, Callable[[Any], tuple[Any, ...]]]] = {}

    def __missing__(self, kind: type) -> Write:
        if names := _names_of(kind):
            write = self._object_writer(names)
            if kind in self.alike:
                write = lru_cache(maxsize=16_384)(write)
        elif issubclass(kind, Mapping):
            write = self._mapping
        elif issubclass(kind, str):
            write = _text_of_member
        elif issubclass(kind, Sequence):
            write = self._array
        elif issubclass(kind, float):
            write = self[float]
        else:
            raise TypeError(f"{kind.__name__} has no place in a frozen document.")
        self[kind] = write
        return write

    def __call__(self, value: Any) -> str:
        return self[type(value)](value)

    def around(self, value: Any, *gaps: str) -> tuple[str, ...]:
        """What stands around the members ``gaps`` in an object, whether it has any such or not."""
        kind = type(value), gaps
        if kind not in self._with_gaps:
            self._with_gaps[kind] = _with_gaps(*kind)
        template, values_of = self._with_gaps[kind]
        return tuple((template % tuple([self(each) for each in values_of(value)])).split(GAP))

    def _array(self, values: Iterable[Any]) -> str:
        return "[" + ",".join([self[type(each)](each) for each in values]) + "]"

    def _mapping(self, values: Mapping[str, Any]) -> str:
        return object_of({name: self(value) for name, value in values.items()})

    def _object_writer(self, names: Iterable[str]) -> Write:
        names = in_order(names)
        template = object_of(dict.fromkeys(names, "%s"))
        if len(names) == 1:  # attrgetter gives one alone, not a tuple of it
            return lambda value: template % self(getattr(value, names[0]))
        values_of = attrgetter(*names)
        return lambda value: template % tuple([self[type(each)](each) for each in values_of(value)])


def object_of(texts: Mapping[str, str]) -> str:
    """An object whose members are written already."""
    members = [f"{text(name)}:{texts[name]}" for name in in_order(texts)]
    return "{" + ",".join(members) + "}"


GAP = "\0"
"""Stands for a member that is still to come: JSON has this character nowhere."""


def around(*names: str, others: Mapping[str, str]) -> tuple[str, ...]:
    """What stands around the members ``names`` in an object whose ``others`` are written already.

    One piece more than names, which must be in order.
    """
    return tuple(object_of({**dict.fromkeys(names, GAP), **others}).split(GAP))


def _with_gaps(kind: type, gaps: tuple[str, ...]) -> tuple[str, Callable[[Any], tuple[Any, ...]]]:
    """A template, and what gives the values to fill it with."""
    names = in_order(name for name in _names_of(kind) if name not in gaps)
    return object_of(dict.fromkeys(names, "%s") | dict.fromkeys(gaps, GAP)), attrgetter(*names)


def _names_of(kind: type) -> tuple[str, ...]:
    """The fields of a dataclass or a named tuple; none of anything else."""
    if is_dataclass(kind):
        return tuple(field.name for field in fields(kind))
    return getattr(kind, "_fields", ())


def in_order(names: Iterable[str]) -> list[str]:
    return list(_in_order(*names))


@lru_cache(maxsize=1024)
def _in_order(*names: str) -> tuple[str, ...]:
    return tuple(sorted(names, key=lambda name: name.encode("utf-16-be")))


def _text_of_member(value: str) -> str:
    return text(str(value))


def digest(document: bytes) -> str:
    return hashlib.sha256(document).hexdigest()


def differences(before: Any, after: Any, *, at: str = "") -> list[str]:
    """Where two documents differ, as paths with both values, in order.

    Lists of as many items are compared item by item; others by what names their items, where something does.
    """
    if isinstance(before, list) and isinstance(after, list):
        before, after = _named(before, after)
    if isinstance(before, dict) and isinstance(after, dict):
        keys = dict.fromkeys([*before, *after])
        return [
            line
            for key in keys
            for line in differences(before.get(key, ABSENT), after.get(key, ABSENT), at=f"{at}/{key}")
        ]
    return [] if before == after else [f"{at or '/'}: was {before!r}, is {after!r}"]


class _Absent:
    def __repr__(self) -> str:
        return "absent"


ABSENT = _Absent()
NAMES = ("step", "slug", "key", "kind")


def _named(before: list[Any], after: list[Any]) -> tuple[Any, Any]:
    """Two lists as mappings, so that one item more isn't a difference in every item after it."""
    if len(before) == len(after):
        return dict(enumerate(before)), dict(enumerate(after))
    for name in NAMES:
        old, new = _by(name, before), _by(name, after)
        if len(old) == len(before) and len(new) == len(after):
            return old, new
    return before, after


def _by(name: str, items: list[Any]) -> dict[str, Any]:
    return {each[name]: each for each in items if isinstance(each, dict) and name in each}
