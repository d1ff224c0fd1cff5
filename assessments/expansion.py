"""From a task as a trainer writes it, for any number of rig designs, to the steps that one design gets.

for_each   {"for_each": "pair", "step": {…}}: the step once for every pair of the design's conductors, where
           {first}, {second}, {first_label} and {second_label} in its texts are filled in
repeat     {"repeat": 5, "steps": [{…}, …]}: the steps so many times over, {n} and {of} filled in; where a
           slug has no {n} it ends in “-{n}”
lists      “make-*” in a list among a step's parameters stands for every step before it whose slug fits
diagnosis  a step of that kind without choices is given the design's whole list of faults, “none” first
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from itertools import combinations
from typing import Any, Final

from assessments.marking.parameters import NOTHING_WRONG

Data = Mapping[str, Any]
Named = tuple[str, str]
"""A slug and its label."""

MOST_REPEATS: Final = 30
_PLACE: Final = re.compile(r"\{(\w+)\}")
_NOTHING_WRONG: Final = {"value": NOTHING_WRONG, "label": "Nothing is wrong"}


class ExpansionError(ValueError):
    """A task that can't be written out for a design. ``near`` is the slug, or the word, where to look."""

    def __init__(self, message: str, *, near: str = "") -> None:
        super().__init__(message)
        self.near = near


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignData:
    """What a task's steps are made from, and may name, in the design's order.

    ``test_points`` says what quantity is read at each, ``measurands`` of what kind each is that a baseline
    stands behind, by test point and condition.
    """

    slug: str
    conductors: tuple[Named, ...] = ()
    faults: tuple[Named, ...] = ()
    test_points: Mapping[str, str] = field(default_factory=dict)
    conditions: tuple[str, ...] = ()
    measurands: Mapping[tuple[str, str], str] = field(default_factory=dict)

    @classmethod
    def of(cls, data: Data) -> "DesignData":
        """That of a design's own data, as in ``fixtures/designs``."""
        return cls(
            slug=data["slug"],
            conductors=tuple((each["slug"], each["label"]) for each in data.get("conductors", ())),
            faults=tuple((each["slug"], each["label"]) for each in data.get("faults", ())),
            test_points={each["slug"]: each["quantity"] for each in data["test_points"]},
            conditions=tuple(each["slug"] for each in data["conditions"]),
            measurands={(each["test_point"], each["condition"]): each["kind"] for each in data["measurands"]},
        )


def expand(task: Data, *, design: DesignData) -> dict[str, Any]:
    """The task for one design: ``design`` in the place of ``designs``, every step written out.

    Raises ExpansionError for a design that the task isn't for, and for steps that can't be written out.
    """
    if design.slug not in task["designs"]:
        raise ExpansionError(f"It isn't a task for the design “{design.slug}”.", near="designs")
    issued = {name: value for name, value in task.items() if name != "designs"}
    steps: list[dict[str, Any]] = []
    for each in task["steps"]:
        for step in _written_out(each, design):
            steps.append(_completed(step, design, before=[done["slug"] for done in steps]))
    return issued | {"design": design.slug, "steps": steps}


def pairs(conductors: Sequence[Named]) -> list[tuple[Named, Named]]:
    """Every pair of conductors once: n(n−1)/2 for n of them."""
    return list(combinations(conductors, 2))


def _written_out(step: Data, design: DesignData) -> Iterator[dict[str, Any]]:
    if "for_each" in step:
        yield from _for_each(step, design)
    elif "repeat" in step:
        yield from _repeated(step)
    else:
        yield dict(step)


def _for_each(group: Data, design: DesignData) -> Iterator[dict[str, Any]]:
    step = _part(group, "step", Mapping)
    if group["for_each"] != "pair":
        raise ExpansionError(f"“for_each” can be “pair”, not “{group['for_each']}”.", near=step["slug"])
    if len(design.conductors) < 2:
        raise ExpansionError(f"The design “{design.slug}” has no conductors to pair.", near=step["slug"])
    for (first, first_label), (second, second_label) in pairs(design.conductors):
        places = {
            "first": first,
            "second": second,
            "first_label": first_label,
            "second_label": second_label,
        }
        yield _filled(step, places, near=step["slug"])


def _repeated(group: Data) -> Iterator[dict[str, Any]]:
    steps, times = _part(group, "steps", Sequence), group["repeat"]
    if isinstance(times, bool) or not isinstance(times, int) or not 1 <= times <= MOST_REPEATS:
        near = steps[0]["slug"] if steps else "repeat"
        raise ExpansionError(f"“repeat” is a number from 1 to {MOST_REPEATS}, not “{times}”.", near=near)
    for number in range(1, times + 1):
        for step in steps:
            slug = step["slug"] if "{n}" in step["slug"] else f"{step['slug']}-{{n}}"
            yield _filled({**step, "slug": slug}, {"n": str(number), "of": str(times)}, near=step["slug"])


def _part(group: Data, name: str, kind: type) -> Any:
    part = group.get(name)
    if not isinstance(part, kind) or isinstance(part, str):
        made = "for_each" if name == "step" else "repeat"
        raise ExpansionError(f"“{made}” needs “{name}”.", near=made)
    return part


def _filled(value: Any, places: Mapping[str, str], *, near: str) -> Any:
    if isinstance(value, Mapping):
        return {name: _filled(each, places, near=near) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_filled(each, places, near=near) for each in value]
    return _text(value, places, near=near) if isinstance(value, str) else value


def _text(text: str, places: Mapping[str, str], *, near: str) -> str:
    for name in _PLACE.findall(text):
        if name not in places:
            known = ", ".join(f"{{{each}}}" for each in places)
            raise ExpansionError(f"Step “{near}”: {{{name}}} isn't one of {known}.", near=near)
    return _PLACE.sub(lambda found: places[found[1]], text)


def _completed(step: dict[str, Any], design: DesignData, *, before: Sequence[str]) -> dict[str, Any]:
    if isinstance(step.get("parameters"), Mapping):
        step["parameters"] = _named(step["parameters"], before, near=step["slug"])
    if step.get("kind") == "diagnosis" and not step.get("choices"):
        faults = [{"value": slug, "label": label} for slug, label in design.faults]
        step["choices"] = [_NOTHING_WRONG, *faults]
    return step


def _named(value: Any, before: Sequence[str], *, near: str) -> Any:
    if isinstance(value, Mapping):
        return {name: _named(each, before, near=near) for name, each in value.items()}
    if not isinstance(value, list | tuple):
        return value
    named: list[Any] = []
    for each in value:
        if not isinstance(each, str) or "*" not in each:
            named.append(each)
            continue
        found = [slug for slug in before if fnmatchcase(slug, each)]
        if not found:
            raise ExpansionError(f"Step “{near}”: no step before it fits “{each}”.", near=near)
        named.extend(found)
    return named
