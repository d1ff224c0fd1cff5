"""What a finding does to one attempt, from what its marking would be under each model."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from assessments.marking.inputs import AttemptInputs
from assessments.marking.results import Marking, ReadingMark
from assessments.models.decisions import Proposal
from assessments.models.impact import Effect
from rigs.metrology.quantities import from_si


def effect_of(
    *, before: Proposal, as_it_was: Proposal, under_models: Iterable[Proposal], unknown: bool
) -> Effect:
    """A change from one decision to the other under any model counts first, then what isn't known.

    ``before`` is what was proposed then, ``as_it_was`` what the same inputs give today: where they differ,
    something else than the finding changes the marking, and the comparison says nothing.
    """
    found = set(under_models)
    if before != as_it_was:
        return Effect.CANNOT_JUDGE
    if before == Proposal.COMPETENT and Proposal.NOT_YET_COMPETENT in found:
        return Effect.WOULD_NOT
    if before == Proposal.NOT_YET_COMPETENT and Proposal.COMPETENT in found:
        return Effect.WOULD_BE
    if unknown:
        return Effect.CANNOT_JUDGE
    return Effect.BORDERLINE if found - {before} else Effect.UNAFFECTED


def changes_between(before: Marking, after: Marking, *, inputs: AttemptInputs) -> list[dict[str, Any]]:
    """The readings whose verdict differs. ``inputs`` are those that ``after`` was marked from."""
    then: Mapping[str, ReadingMark] = {mark.reading: mark for mark in before.marks}
    values = {reading.id: reading.si_value for reading in inputs.readings}
    return [
        {
            "step": mark.step,
            "title": mark.title,
            "unit": mark.unit,
            "read": then[mark.reading].shown,
            "corrected": _shown(values.get(mark.reading), mark),
            "before": str(then[mark.reading].verdict),
            "after": str(mark.verdict),
        }
        for mark in after.marks
        if then[mark.reading].verdict != mark.verdict
    ]


def _shown(value: float | None, mark: ReadingMark) -> str:
    """In the unit of the mark, with one place more than was typed: it is no reading."""
    if value is None or not mark.unit:
        return mark.shown
    return f"{from_si(value, unit=mark.unit):.{mark.decimals + 1}f}"


def titles_of(slugs: Iterable[str], *, inputs: AttemptInputs) -> Sequence[str]:
    wanted = set(slugs)
    return [step.title for step in inputs.steps if step.slug in wanted]
