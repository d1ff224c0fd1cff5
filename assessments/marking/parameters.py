"""What a step's parameters say to its check: read in one place, and proved sound before a task is issued.

falls      of: step, percent
reverses   of: step
changes    of: step, leads: step (if any)
repeats    of: [step, …]
closes     high: step, low: step
contact    leads: step (if any)
conforms   lower and upper (one may be left out), unit, source, dated; calculator and inputs where the limits
           are those of a result worked out from this reading
computed   calculator, inputs: {name: step, number, or list of them}, allowance (if any)
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from assessments.marking.inputs import StepInput
from rigs.metrology.computed.calculator import Calculator, Input, Measure
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.computed.thermometers import TEMPERATURE_BY
from rigs.metrology.quantities import Quantity, UnitError, unit_quantity

Given: TypeAlias = float | str
"""A figure that the task gives, in the calculator's unit, or the step whose reading it is."""


class ParameterError(ValueError):
    """Parameters that no reading can be judged by. The message names the step, and what to put right."""


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

    ``work`` says how what is limited comes from the reading, where it isn't the reading itself.
    """

    lower: float
    upper: float
    unit: str
    source: str
    dated: str
    work: Work | None


def limits(step: StepInput) -> Limits:
    lower = _number(step, "lower", default=-math.inf)
    upper = _number(step, "upper", default=math.inf)
    if math.isinf(lower) and math.isinf(upper):
        raise _error(step, "give a lower or an upper limit, or both")
    if not lower < upper:
        raise _error(step, f"the lower limit {lower:g} isn't below the upper one {upper:g}")
    return Limits(
        lower=lower,
        upper=upper,
        unit=_text(step, "unit"),
        source=_text(step, "source"),
        dated=_text(step, "dated"),
        work=work(step) if "calculator" in step.parameters else None,
    )


def work(step: StepInput) -> Work:
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


def named_by(step: StepInput) -> tuple[str, ...]:
    """The steps whose readings a step's own is compared with, or worked out from."""
    return tuple(_REFERENCES.get(step.judged_by, _none)(step))


def require_sound(steps: Sequence[StepInput], *, quantities: Mapping[str, str]) -> None:
    """Raise ParameterError for the first step whose readings couldn't be judged.

    ``quantities`` says what is read on each reading step, by its slug.
    """
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


def _require_unit(step: StepInput, unit: str, quantity: str) -> None:
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


def _given(step: StepInput, due: Input, given: Any) -> tuple[Given, ...]:
    listed = given if isinstance(given, list | tuple) else [given]
    if not listed or (len(listed) > 1 and not due.has_repeats):
        raise _error(step, f"“{due.name}” takes one figure{' or more' if due.has_repeats else ''}")
    for each in listed:
        if isinstance(each, bool) or not isinstance(each, str | int | float):
            raise _error(step, f"“{due.name}” should be a step or a number")
    return tuple(each if isinstance(each, str) else float(each) for each in listed)


def _steps_in(found: Work) -> tuple[str, ...]:
    return tuple(each for given in found.inputs.values() for each in given if isinstance(each, str))


def _number(step: StepInput, name: str, *, default: float | None = None) -> float:
    value = step.parameters.get(name, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        raise _error(step, f"“{name}” should be a number")
    return float(value)


def _text(step: StepInput, name: str) -> str:
    value = step.parameters.get(name)
    if not isinstance(value, str) or not value.strip():
        raise _error(step, f"“{name}” is missing")
    return value


def _error(step: StepInput, what: str) -> ParameterError:
    return ParameterError(f"Step “{step.slug}”, judged by “{step.judged_by}”: {what}.")


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
