"""What a step's parameters say to its check: read in one place, and proved sound before a task is issued.

falls      of: step, percent
reverses   of: step
changes    of: step, leads: step (if any)
repeats    of: [step, …]
closes     high: step, low: step
contact    leads: step (if any)
conforms   lower and upper (one may be left out), unit, source, dated; clause, and the first and the last day
           that the limits hold, applies_from and applies_until (if any); calculator and inputs where the
           limits are those of a result worked out from this reading
computed   calculator, inputs: {name: step, number, or list of them}, allowance (if any)

A step of measurements of the candidate's own choice has: instruments: {quantity: kind of instrument}, and
test_points, conditions: [slug, …] (either may be left out, for all of the design's).
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Protocol, TypeAlias

from assessments.marking.inputs import StepInput
from rigs.metrology.computed.calculator import Calculator, Input, Measure
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.computed.thermometers import TEMPERATURE_BY
from rigs.metrology.quantities import Quantity, UnitError, unit_quantity

NOTHING_WRONG: Final = "none"
"""The diagnosis of a healthy rig."""

Given: TypeAlias = float | str
"""A figure that the task gives, in the calculator's unit, or the step whose reading it is."""


class ParameterError(ValueError):
    """Parameters that no reading can be judged by. The message names the step, and what to put right.

    ``near`` is the step's slug.
    """

    def __init__(self, message: str, *, near: str = "") -> None:
        super().__init__(message)
        self.near = near


class Parametrised(Protocol):
    """A step, frozen or as a row."""

    @property
    def slug(self) -> str: ...

    @property
    def judged_by(self) -> str: ...

    @property
    def parameters(self) -> Mapping[str, Any]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Measuring:
    """What may be measured on a step of one's own choice. No test points or conditions: all the design's.

    ``instruments`` says what kind of instrument reads which quantity.
    """

    instruments: Mapping[str, str]
    test_points: tuple[str, ...]
    conditions: tuple[str, ...]

    def offers_test_point(self, slug: str) -> bool:
        return not self.test_points or slug in self.test_points

    def offers_condition(self, slug: str) -> bool:
        return not self.conditions or slug in self.conditions


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What is worked out, and from what. ``allowance`` is in the result's unit, or in °C."""

    calculator: Calculator
    inputs: Mapping[str, tuple[Given, ...]]
    allowance: float = 0.0

    @property
    def is_in_celsius(self) -> bool:
        """Whether the result is a thermometer's resistance, and the allowance in °C."""
        return self.calculator.name in TEMPERATURE_BY


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Stated limits in ``unit``, infinite on a side that has none.

    They hold on the days from ``applies_from`` to ``applies_until``, both among them; None for no such end.
    ``work`` says how what is limited comes from the reading, where it isn't the reading itself.
    """

    lower: float
    upper: float
    unit: str
    source: str
    dated: str
    clause: str
    applies_from: date | None
    applies_until: date | None
    work: Work | None


def limits(step: Parametrised) -> Limits:
    lower = _number(step, "lower", default=-math.inf)
    upper = _number(step, "upper", default=math.inf)
    if math.isinf(lower) and math.isinf(upper):
        raise _error(step, "give a lower or an upper limit, or both")
    begins, ends = _day(step, "applies_from"), _day(step, "applies_until")
    if begins is not None and ends is not None and begins > ends:
        raise _error(step, f"it applies from {begins} and only until {ends}")
    if not lower < upper:
        raise _error(step, f"the lower limit {lower:g} isn't below the upper one {upper:g}")
    return Limits(
        lower=lower,
        upper=upper,
        unit=_text(step, "unit"),
        source=_text(step, "source"),
        dated=_text(step, "dated"),
        clause=_text(step, "clause") if "clause" in step.parameters else "",
        applies_from=begins,
        applies_until=ends,
        work=work(step) if "calculator" in step.parameters else None,
    )


def work(step: Parametrised) -> Work:
    name = _text(step, "calculator")
    if name not in CALCULATORS:
        raise _error(step, f"there is no calculator “{name}”")
    given = step.parameters.get("inputs")
    if not isinstance(given, Mapping):
        raise _error(step, "“inputs” should give each of the calculator's inputs a step or a number")
    calculator = CALCULATORS[name]
    known = {each.name for each in calculator.inputs}
    if wrong := sorted(known.symmetric_difference(given)):
        raise _error(step, f"“{name}” takes {', '.join(sorted(known))}: look at “{wrong[0]}”")
    allowance = _number(step, "allowance", default=0.0)
    if allowance < 0:
        raise _error(step, "the allowance is below zero")
    return Work(
        calculator=calculator,
        inputs={each.name: _given(step, each, given[each.name]) for each in calculator.inputs},
        allowance=allowance,
    )


def earlier(step: StepInput) -> str:
    """The step whose reading this one is compared with."""
    return _text(step, "of")


def percent(step: StepInput) -> float:
    return _number(step, "percent")


def repeats(step: StepInput) -> tuple[str, ...]:
    """The steps whose readings this one repeats."""
    named = step.parameters.get("of")
    if not isinstance(named, Sequence) or isinstance(named, str) or not named:
        raise _error(step, "“of” should list the steps that it repeats")
    if len({*named, step.slug}) <= len(named):
        raise _error(step, "“of” names a step twice, or this one")
    return tuple(str(each) for each in named)


def closure(step: StepInput) -> tuple[str, str]:
    """The steps of the higher and of the lower pressure, both against the room."""
    return _text(step, "high"), _text(step, "low")


def leads(step: StepInput) -> str:
    """The step on which the leads were read by themselves; empty for none."""
    return _text(step, "leads") if "leads" in step.parameters else ""


def zero_digits(step: StepInput) -> float:
    return _number(step, "digits", default=1.0)


def free_measuring(step: Parametrised) -> Measuring:
    instruments = step.parameters.get("instruments")
    if not isinstance(instruments, Mapping) or not instruments:
        raise _error(step, "“instruments” should say which kind of instrument reads which quantity")
    for quantity, kind in instruments.items():
        if quantity not in set(Quantity) or not isinstance(kind, str) or not kind:
            raise _error(step, f"“instruments” names no quantity and instrument with “{quantity}”")
    return Measuring(
        instruments=instruments,
        test_points=_slugs(step, "test_points"),
        conditions=_slugs(step, "conditions"),
    )


def _slugs(step: Parametrised, name: str) -> tuple[str, ...]:
    named = step.parameters.get(name, ())
    if not isinstance(named, Sequence) or isinstance(named, str):
        raise _error(step, f"“{name}” should be a list")
    if len(set(named)) < len(named):
        raise _error(step, f"“{name}” names something twice")
    return tuple(str(each) for each in named)


def named_by(step: StepInput) -> tuple[str, ...]:
    """The steps whose readings a step's own is compared with, or worked out from."""
    return tuple(_REFERENCES.get(step.judged_by, _none)(step))


def require_sound(steps: Sequence[StepInput], *, quantities: Mapping[str, str]) -> None:
    """Raise ParameterError for the first step whose readings couldn't be judged.

    ``quantities`` says what is read on each reading step, by its slug.
    """
    _require_fault_finding(steps)
    judged_by: dict[str, str] = {}
    for step in steps:
        if step.kind != "reading":
            continue
        own = {step.slug} if step.judged_by == "conforms" else set()
        for slug in _REFERENCES.get(step.judged_by, _none)(step):
            if slug not in judged_by.keys() | own:
                raise _error(step, f"“{slug}” is no reading on a step before it")
            if step.judged_by == "conforms" and judged_by.get(slug) == "computed":
                raise _error(step, f"“{slug}” is an answer; limits need what an instrument shows")
        _require_measures(step, quantities)
        judged_by[step.slug] = step.judged_by


def _require_fault_finding(steps: Sequence[StepInput]) -> None:
    """At most one step of free measurements, and one diagnosis after it with “none” among its choices."""
    free = [step for step in steps if step.kind == "measurements"]
    found = [step for step in steps if step.kind == "diagnosis"]
    for each in free:
        free_measuring(each)
    for again in (*free[1:], *found[1:]):
        raise _error(again, f"a task has one step of kind “{again.kind}” at most")
    for diagnosis in found:
        if not any(step.order < diagnosis.order for step in free):
            raise _error(diagnosis, "measurements come before a diagnosis")
        if NOTHING_WRONG not in dict(diagnosis.choices):
            raise _error(diagnosis, f"“{NOTHING_WRONG}” is missing among its choices")


def _require_measures(step: StepInput, quantities: Mapping[str, str]) -> None:
    mine = quantities[step.slug]
    if step.judged_by == "computed":
        calculator = _require_inputs(step, work(step), quantities)
        _require_quantity(step, calculator.output, mine)
    elif step.judged_by == "conforms":
        _require_limits(step, limits(step), quantities)
    elif step.judged_by == "repeats" and not step.measurand:
        raise _error(step, "say which measurand it repeats: its baseline has the repeats' spread")
    elif step.judged_by in _BETWEEN_READINGS:
        for slug in _REFERENCES[step.judged_by](step):
            if quantities[slug] != mine:
                found, due = Quantity(quantities[slug]).words, Quantity(mine).words
                raise _error(step, f"“{slug}” is {found}, not {due}")


def _require_limits(step: StepInput, stated: Limits, quantities: Mapping[str, str]) -> None:
    if stated.work is None:
        _require_unit(step, stated.unit, quantities[step.slug])
        return
    output = _require_inputs(step, stated.work, quantities).output
    if step.slug not in _steps_in(stated.work):
        raise _error(step, "its own reading isn't among the inputs")
    if stated.unit != output.unit:
        raise _error(step, f"the limits should be in {output.unit}, which the calculator gives")


def _require_unit(step: Parametrised, unit: str, quantity: str) -> None:
    try:
        found = unit_quantity(unit)
    except UnitError as error:
        raise _error(step, str(error).rstrip(".")) from None
    if found is not Quantity(quantity):
        raise _error(step, f"{unit} is {found.words}; this reading is {Quantity(quantity).words}")


def _require_inputs(step: StepInput, found: Work, quantities: Mapping[str, str]) -> Calculator:
    """The calculator, with open inputs set to the quantity that they are given."""
    calculator = measuring(found, quantities=quantities, default=quantities[step.slug])
    for each in calculator.inputs:
        for given in found.inputs[each.name]:
            if isinstance(given, str):
                _require_quantity(step, each, quantities[given])
    return calculator


def measuring(found: Work, *, quantities: Mapping[str, str], default: str) -> Calculator:
    """The calculator, its open measures set to the quantity of the first reading that is given to one."""
    slugs = (
        given
        for each in found.calculator.inputs
        if each.unit is None
        for given in found.inputs[each.name]
        if isinstance(given, str)
    )
    return found.calculator.measuring(Quantity(quantities.get(next(slugs, ""), default)))


def _require_quantity(step: StepInput, measure: Measure, quantity: str) -> None:
    if measure.quantity is not Quantity(quantity):
        due = measure.unit if measure.quantity is None else measure.quantity.words
        raise _error(step, f"the calculator has {due} where {Quantity(quantity).words} is read")


def _given(step: Parametrised, due: Input, given: Any) -> tuple[Given, ...]:
    listed = given if isinstance(given, list | tuple) else [given]
    if not listed or (len(listed) > 1 and not due.has_repeats):
        raise _error(step, f"“{due.name}” takes one figure{' or more' if due.has_repeats else ''}")
    for each in listed:
        if isinstance(each, bool) or not isinstance(each, str | int | float):
            raise _error(step, f"“{due.name}” should be a step or a number")
    return tuple(each if isinstance(each, str) else float(each) for each in listed)


def _steps_in(found: Work) -> tuple[str, ...]:
    return tuple(each for given in found.inputs.values() for each in given if isinstance(each, str))


def _number(step: Parametrised, name: str, *, default: float | None = None) -> float:
    value = step.parameters.get(name, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        raise _error(step, f"“{name}” should be a number")
    return float(value)


def _day(step: Parametrised, name: str) -> date | None:
    if name not in step.parameters:
        return None
    try:
        return date.fromisoformat(_text(step, name))
    except ValueError:
        raise _error(step, f"“{name}” should be a day such as 2026-10-01") from None


def _text(step: Parametrised, name: str) -> str:
    value = step.parameters.get(name)
    if not isinstance(value, str) or not value.strip():
        raise _error(step, f"“{name}” is missing")
    return value


def _error(step: Parametrised, what: str) -> ParameterError:
    how = f", judged by “{step.judged_by}”" if step.judged_by else ""
    return ParameterError(f"Step “{step.slug}”{how}: {what}.", near=step.slug)


def _none(_: StepInput) -> Iterable[str]:
    return ()


def _falls(step: StepInput) -> Iterable[str]:
    percent(step)
    return (earlier(step),)


def _with_leads(step: StepInput) -> Iterable[str]:
    return filter(None, (leads(step),))


def _conforms(step: StepInput) -> Iterable[str]:
    found = limits(step)
    return () if found.work is None else _steps_in(found.work)


_REFERENCES: Final[Mapping[str, Callable[[StepInput], Iterable[str]]]] = {
    "falls": _falls,
    "reverses": lambda step: (earlier(step),),
    "changes": lambda step: (earlier(step), *_with_leads(step)),
    "repeats": repeats,
    "closes": closure,
    "contact": _with_leads,
    "conforms": _conforms,
    "computed": lambda step: _steps_in(work(step)),
}
_BETWEEN_READINGS: Final = frozenset({"falls", "reverses", "changes", "repeats", "closes", "contact"})
