"""A task's steps in words: what is read on each, how it is judged, and which answers are right."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from assessments.models import Step
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.quantities import Quantity
from rigs.models.instruments import InstrumentKind

_TERMS: Final[Mapping[str, str]] = {
    "of": "Compared with",
    "percent": "Falls by at least",
    "leads": "Leads read on",
    "high": "Higher pressure",
    "low": "Lower pressure",
    "digits": "Digits from zero",
    "source": "Limits from",
    "dated": "Edition",
    "clause": "Clause",
    "applies_from": "Applies from",
    "applies_until": "Applies until",
    "allowance": "Allowance",
    "test_points": "Test points on offer",
    "conditions": "Conditions on offer",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    term: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepInWords:
    step: Step
    kind: str
    facts: tuple[Fact, ...]


def in_words(steps: Sequence[Step]) -> tuple[StepInWords, ...]:
    """Every step of a version, in order. Conditions and measurands should be loaded with them."""
    titles = {step.slug: step.title for step in steps}
    return tuple(
        StepInWords(step=step, kind=StepKind(step.kind).label, facts=tuple(_facts(step, titles)))
        for step in steps
    )


def _facts(step: Step, titles: Mapping[str, str]) -> Iterable[Fact]:
    if step.condition is not None:
        yield Fact(term="Condition", words=step.condition.label)
    if step.kind == StepKind.READING:
        read = str(step.measurand) if step.measurand else Quantity(step.quantity).words
        yield Fact(term="What is read", words=read)
        yield Fact(term="Judged by", words=ReadingCheck(step.judged_by).label)
    if step.instrument_kind:
        yield Fact(term="With", words=InstrumentKind(step.instrument_kind).label.lower())
    yield from _parameters(step.parameters, titles)
    if step.kind == StepKind.READING and step.expected:
        yield Fact(term="Right", words=", ".join(step.expected))
    for choice in step.choices:
        is_right = choice["value"] in step.expected
        yield Fact(term="Right answer" if is_right else "Answer", words=choice["label"])


def _parameters(parameters: Mapping[str, Any], titles: Mapping[str, str]) -> Iterable[Fact]:
    if "lower" in parameters or "upper" in parameters:
        yield Fact(term="Limits", words=_limits(parameters))
    calculator = CALCULATORS.get(parameters.get("calculator", ""))
    if calculator is not None:
        yield Fact(term="Worked out by", words=f"{calculator.label}: {calculator.formula}")
        for each in calculator.inputs:
            given = parameters.get("inputs", {}).get(each.name, "")
            yield Fact(term=each.label.capitalize(), words=_named(given, titles))
    for quantity, kind in parameters.get("instruments", {}).items():
        read, label = Quantity(quantity).words.capitalize(), InstrumentKind(kind).label.lower()
        yield Fact(term=read, words=f"read with: {label}")
    for name, term in _TERMS.items():
        if name in parameters:
            unit = " %" if name == "percent" else ""
            yield Fact(term=term, words=f"{_named(parameters[name], titles)}{unit}")


def _limits(parameters: Mapping[str, Any]) -> str:
    lower, upper, unit = parameters.get("lower"), parameters.get("upper"), parameters.get("unit", "")
    match lower, upper:
        case None, _:
            return f"at most {upper:g} {unit}"
        case _, None:
            return f"at least {lower:g} {unit}"
        case _:
            return f"{lower:g} to {upper:g} {unit}"


def _named(given: Any, titles: Mapping[str, str]) -> str:
    """A step by its title, anything else as it is written."""
    if isinstance(given, list | tuple):
        return "; ".join(_named(each, titles) for each in given)
    return f"“{titles[given]}”" if given in titles else str(given)
