"""What differs between two states of a task's data, in the words of whoever reads the list."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from assessments.draft_steps import Node, at, plain_steps

PARTICULARS: Final[Mapping[str, str]] = {
    "title": "Title",
    "purpose": "Purpose",
    "designs": "Rig designs",
    "requires": "Comes after",
    "criteria": "Criteria",
    "guide_minutes": "Minutes",
    "cautions": "Cautions",
    "position": "Place among the tasks",
}
STEP_FIELDS: Final[Mapping[str, str]] = {
    "kind": "Kind",
    "title": "Title",
    "slug": "Short name",
    "instruction": "Instruction",
    "why": "Why",
    "safety_critical": "Safety-critical",
    "required": "Must be done",
    "condition": "Condition of the rig",
    "measurand": "Test point and condition",
    "instrument_kind": "Instrument",
    "quantity": "Quantity",
    "judged_by": "How it is judged",
    "parameters": "Figures of the check",
    "choices": "Choices",
    "expected": "What is right",
    "times": "Done",
}
_AS_IF: Final[Mapping[str, Any]] = {"required": True, "safety_critical": False, "version": None}


class ChangeKind(StrEnum):
    ADDED = "added"
    REMOVED = "removed"
    MOVED = "moved"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """One field with what it was and what it is, in words; empty for nothing."""

    field: str
    was: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What became of one step, or of the task's particulars (``title`` empty)."""

    kind: ChangeKind
    title: str
    fields: tuple[FieldChange, ...] = ()


def changes(*, before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """Particulars first, then steps: added, removed, moved and changed ones. A step is known by its name."""
    particulars = differing(before, after, words=PARTICULARS)
    old, new = _steps(before), _steps(after)
    stayed = _in_order([slug for slug in new if slug in old], list(old))
    found = [Change(kind=ChangeKind.CHANGED, title="", fields=particulars)] if particulars else []
    found += [_change(ChangeKind.ADDED, new[slug]) for slug in new if slug not in old]
    found += [_change(ChangeKind.REMOVED, old[slug]) for slug in old if slug not in new]
    found += [_change(ChangeKind.MOVED, new[slug]) for slug in new if slug in old and slug not in stayed]
    for slug in new:
        fields = differing(old[slug], new[slug], words=STEP_FIELDS) if slug in old else ()
        if fields:
            found.append(_change(ChangeKind.CHANGED, new[slug], fields))
    return tuple(found)


def differing(
    before: Mapping[str, Any], after: Mapping[str, Any], *, words: Mapping[str, str] = STEP_FIELDS
) -> tuple[FieldChange, ...]:
    """The fields that differ. One that is left out is the same as one that says what goes without saying."""
    return tuple(
        FieldChange(field=label, was=in_words(_value(before, name)), now=in_words(_value(after, name)))
        for name, label in words.items()
        if _value(before, name) != _value(after, name)
    )


def in_words(value: Any) -> str:
    match value:
        case None | "":
            return ""
        case bool():
            return "yes" if value else "no"
        case {"value": word, "label": label}:
            return f"{label} ({word})"
        case Mapping():
            return ", ".join(f"{key.replace('_', ' ')} {in_words(each)}" for key, each in value.items())
        case list() | tuple():
            return "; ".join(in_words(each) for each in value)
        case _:
            return str(value)


def _value(data: Mapping[str, Any], name: str) -> Any:
    value = data.get(name, _AS_IF.get(name))
    return None if value in ("", [], {}, ()) else value


def _change(kind: ChangeKind, node: Node, fields: tuple[FieldChange, ...] = ()) -> Change:
    return Change(kind=kind, title=str(node.get("title") or node.get("slug") or "a step"), fields=fields)


def _steps(data: Mapping[str, Any]) -> dict[str, Node]:
    steps = data.get("steps", ())
    return {
        str(node.get("slug", place)): {**node, "times": times_of(at(steps, place[:1]))}
        for place, node in plain_steps(steps)
    }


def times_of(node: Node) -> str:
    """How often a step of a group is done; empty for a step that stands by itself."""
    if "for_each" in node:
        return "once for each pair of conductors"
    return f"{node['repeat']} times over" if "repeat" in node else ""


def _in_order(slugs: Sequence[str], before: Sequence[str]) -> set[str]:
    """The most of them that still follow one another as before: the rest were moved."""
    place = {slug: index for index, slug in enumerate(before)}
    ends: list[int] = []  # the lowest place that a run of each length can end with
    chains: list[tuple[str, ...]] = []  # that run
    for slug in slugs:
        length = bisect_left(ends, place[slug])
        chain = (*(chains[length - 1] if length else ()), slug)
        ends[length : length + 1] = [place[slug]]
        chains[length : length + 1] = [chain]
    return set(chains[-1]) if chains else set()
