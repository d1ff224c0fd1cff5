"""The readings strand: each reading against what it should be, by the check its step names.

Readings of any number of attempts go through the same columns, those that are alike once; the metrology
decides, the checks lay out the columns and put the answers into words.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from assessments.marking import wording
from assessments.marking.cases import Cases
from assessments.marking.checks.agreement import judge_agrees
from assessments.marking.checks.computed import judge_computed
from assessments.marking.checks.contacts import judge_changes, judge_contact, judge_leads
from assessments.marking.checks.instruments import judge_tone, judge_zero
from assessments.marking.checks.limits import judge_conforms
from assessments.marking.checks.relations import judge_closes, judge_falls, judge_repeats, judge_reverses
from assessments.marking.inputs import AttemptInputs
from assessments.marking.results import Judgement, Marks
from assessments.marking.rows import Row
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import Qualifier


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A kind of check, and what a reading must be before it can be judged by it.

    ``free_of_fault``: it holds on a rig with a fault too. An answer worked out is on no display.
    """

    judge: Callable[[Sequence[Row]], list[Judgement]]
    needs_number: bool = True
    needs_display: bool = True
    needs_baseline: bool = False
    free_of_fault: bool = False


CHECKS: Final[Mapping[str, Check]] = {
    "agrees": Check(judge=judge_agrees, needs_baseline=True),
    "contact": Check(judge=judge_contact, needs_number=False),
    "leads": Check(judge=judge_leads, needs_number=False, free_of_fault=True),
    "zero": Check(judge=judge_zero, free_of_fault=True),
    "tone": Check(judge=judge_tone, needs_number=False, free_of_fault=True),
    "falls": Check(judge=judge_falls),
    "conforms": Check(judge=judge_conforms),
    "reverses": Check(judge=judge_reverses),
    "changes": Check(judge=judge_changes, needs_number=False),
    "repeats": Check(judge=judge_repeats, needs_baseline=True),
    "closes": Check(judge=judge_closes, free_of_fault=True),
    "computed": Check(judge=judge_computed, needs_display=False, free_of_fault=True),
}


def mark_readings(attempts: Sequence[AttemptInputs]) -> list[Marks]:
    """Every attempt's marks, each attempt's in the order of its steps."""
    cases = Cases()
    numbered = [cases.numbered(inputs) for inputs in attempts]
    judgements = _judge(cases.rows)
    return [
        Marks(readings=each, judgements=[judgements[number] for number in each.values()]) for each in numbered
    ]


def _judge(rows: Sequence[Row]) -> list[Judgement]:
    kinds: dict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        kinds[row.step.judged_by].append(place)
    found: dict[int, Judgement] = {}
    for judged_by, places in kinds.items():
        why = {place: not_judgeable(rows[place]) for place in places}
        found |= {
            place: rows[place].mark(Verdict.CANNOT_JUDGE, reason)
            for place, reason in why.items()
            if reason is not None
        }
        judgeable = [place for place, reason in why.items() if reason is None]
        if judgeable:
            judged = CHECKS[judged_by].judge([rows[place] for place in judgeable])
            found |= zip(judgeable, judged, strict=True)
    return [found[place] for place in range(len(rows))]


def not_judgeable(row: Row) -> str | None:
    """Why a reading can't be judged at all, before any arithmetic; None when it can."""
    check, qualifier = CHECKS[row.step.judged_by], Qualifier(row.reading.qualifier)
    if qualifier in wording.NO_READING:
        return wording.NO_READING[qualifier]
    if row.rig.has_fault and not check.free_of_fault:
        return wording.FAULT_SET
    if row.is_value and row.range is None and check.needs_display:
        return wording.BEYOND_DISPLAY
    if check.needs_number and not row.is_value:
        return wording.NUMBER_DUE
    if check.needs_baseline and (row.measurand is None or row.measurand.value is None):
        return wording.NO_BASELINE
    return None
