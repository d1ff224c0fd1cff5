"""Whether a task's data can be issued for a design: each thing that is wrong, with the step that it is in."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from assessments.expansion import DesignData
from assessments.marking.inputs import steps_as_issued
from assessments.marking.parameters import NOTHING_WRONG, ParameterError, require_sound
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.metrology.quantities import Quantity
from rigs.models.designs import MeasurandKind
from rigs.models.instruments import InstrumentKind

Data = Mapping[str, Any]

_SLUG: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_TEXTS: Final = ("slug", "title", "purpose")
_LISTS: Final = ("requires", "criteria", "cautions")
_NUMBERS: Final = ("position", "guide_minutes")
_STEP_TEXTS: Final = ("slug", "kind", "title", "instruction")
_MAY_HAVE: Final = {
    **dict.fromkeys((*_STEP_TEXTS, "why", "condition", "instrument_kind", "quantity", "judged_by"), str),
    **dict.fromkeys(("safety_critical", "required"), bool),
    **dict.fromkeys(("measurand", "choices", "expected"), list),
    "parameters": dict,
}
_NAMES: Final = {str: "a text", bool: "true or false", list: "a list", dict: "in braces"}
_LONGEST: Final = {"slug": 60, "title": 120}
# What a baseline must stand behind for each of these kinds of check.
_NEEDS: Final[Mapping[str, MeasurandKind]] = {
    ReadingCheck.AGREES: MeasurandKind.LEVEL,
    ReadingCheck.REPEATS: MeasurandKind.LEVEL,
    ReadingCheck.CONTACT: MeasurandKind.STATE,
}


class TaskError(ValueError):
    """A task that can't be issued. ``near`` is the step's slug, or another word of the data."""

    def __init__(self, message: str, *, near: str = "") -> None:
        super().__init__(message)
        self.near = near


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing to put right. ``near`` is the slug of the step that it is in, or another word of the data."""

    message: str
    near: str


def require_whole(data: Data, *, design: DesignData) -> None:
    """Raise TaskError for the first problem of a task that is written out for one design."""
    for problem in problems(data, design=design):
        raise TaskError(problem.message, near=problem.near)


def problems(data: Data, *, design: DesignData) -> Iterator[Problem]:
    """Everything that is wrong, the particulars first, then step by step.

    What the steps' parameters say is looked at once they are whole otherwise.
    """
    yield from _particulars(data)
    steps = data.get("steps")
    if not isinstance(steps, list) or not steps or not all(isinstance(each, Mapping) for each in steps):
        yield Problem(message="A task needs steps.", near="steps")
        return
    found = [each for step in steps for each in _of_step(step, design)]
    counted = Counter(str(step.get("slug")) for step in steps)
    found += [
        Problem(message=f"There are {times} steps with the slug “{slug}”.", near=slug)
        for slug, times in counted.items()
        if times > 1
    ]
    yield from found
    if not found:
        yield from _parameters(steps)


def _particulars(data: Data) -> Iterator[Problem]:
    for name in _TEXTS:
        if not isinstance(data.get(name), str) or not data[name].strip():
            yield Problem(message=f"A task needs “{name}”, a text.", near=name)
    for name in _LISTS:
        named = data.get(name)
        if not isinstance(named, list) or not all(isinstance(each, str) for each in named):
            yield Problem(message=f"A task needs “{name}”, a list of texts.", near=name)
    if data.get("cautions") == []:
        yield Problem(message="A task needs its cautions.", near="cautions")
    for name in _NUMBERS:
        number = data.get(name)
        if isinstance(number, bool) or not isinstance(number, int) or number < 1:
            yield Problem(message=f"A task needs “{name}”, a whole number above 0.", near=name)


def _of_step(step: Data, design: DesignData) -> Iterator[Problem]:
    """What is wrong with one step, the first of it: what comes after would only repeat it."""
    slug = str(step.get("slug", ""))
    for check in (_fields, _head, _places, _reading, _choices):
        said = next(check(step, design), None)
        if said is not None:
            yield Problem(message=f"Step “{slug}”: {said}.", near=slug)
            return


def _fields(step: Data, _: DesignData) -> Iterator[str]:
    for name in _STEP_TEXTS:
        if not isinstance(step.get(name), str) or not step[name].strip():
            yield f"“{name}” is missing"
    for name, value in step.items():
        if name not in _MAY_HAVE:
            yield f"a step has no “{name}”"
        elif not isinstance(value, _MAY_HAVE[name]):
            yield f"“{name}” should be {_NAMES[_MAY_HAVE[name]]}"


def _head(step: Data, _: DesignData) -> Iterator[str]:
    if not _SLUG.fullmatch(step["slug"]):
        yield "a slug is small letters and digits, with hyphens between"
    for name, most in _LONGEST.items():
        if len(step[name]) > most:
            yield f"“{name}” is longer than {most} letters"
    if step["kind"] not in set(StepKind):
        yield f"“{step['kind']}” is no kind of step"
    if step.get("safety_critical") and not step.get("why"):
        yield "it is safety-critical, so say why"


def _places(step: Data, design: DesignData) -> Iterator[str]:
    condition = step.get("condition")
    if condition is not None and condition not in design.conditions:
        yield f"the design “{design.slug}” has no condition “{condition}”"
    if "measurand" in step:
        named = tuple(step["measurand"])
        if named not in design.measurands:
            said = " and ".join(f"“{each}”" for each in named)
            yield f"the design “{design.slug}” has no range for {said}"
    given = step.get("parameters", {})
    for kind, known in (("test_points", design.test_points), ("conditions", design.conditions)):
        for each in _list(given.get(kind)):
            if each not in known:
                yield f"the design “{design.slug}” has no “{each}” among its {kind.replace('_', ' ')}"


def _reading(step: Data, design: DesignData) -> Iterator[str]:
    kind = step.get("instrument_kind")
    if kind and kind not in set(InstrumentKind):
        yield f"“{kind}” is no kind of instrument"
    if step["kind"] != StepKind.READING:
        return
    if not kind:
        yield "it doesn't say what kind of instrument it is read with"
    if step.get("quantity") not in set(Quantity):
        yield f"“{step.get('quantity', '')}” is no quantity"
    judged_by = step.get("judged_by", "")
    if judged_by not in set(ReadingCheck):
        yield f"“{judged_by}” is no kind of check"
    point, *_ = step.get("measurand") or [None]
    if point is not None and design.test_points[point] != step["quantity"]:
        yield f"at “{point}” it is {Quantity(design.test_points[point]).words} that is read"
    due = _NEEDS.get(judged_by)
    if due and design.measurands.get(tuple(step.get("measurand", ()))) != due:
        yield f"judged by “{judged_by}”, it needs a measurand that is {due.label}"
    if judged_by in {ReadingCheck.LEADS, ReadingCheck.TONE} and not step.get("expected"):
        yield f"judged by “{judged_by}”, it needs what is “expected”"


def _choices(step: Data, design: DesignData) -> Iterator[str]:
    choices = step.get("choices", [])
    if not all(isinstance(each, Mapping) and {"value", "label"} == each.keys() for each in choices):
        yield "each of its choices has a value and a label"
    values = [each["value"] for each in choices]
    if len(set(values)) < len(values):
        yield "two of its choices have the same value"
    if step["kind"] == StepKind.DIAGNOSIS:
        known = {slug for slug, _ in design.faults} | {NOTHING_WRONG}
        for each in values:
            if each not in known:
                yield f"the design “{design.slug}” has no fault “{each}”"
    elif step["kind"] in {StepKind.OBSERVATION, StepKind.CONCLUSION}:
        if len(values) < 2:
            yield "it needs choices, at least two"
        for each in step.get("expected", []):
            if each not in values:
                yield f"“{each}” is expected, and not among its choices"


def _parameters(steps: Sequence[Data]) -> Iterator[Problem]:
    quantities = {step["slug"]: step["quantity"] for step in steps if "quantity" in step}
    try:
        require_sound(steps_as_issued(steps), quantities=quantities)
    except ParameterError as error:
        yield Problem(message=str(error), near=error.near)


def _list(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else ()
