"""The readings strand: each reading against what it should be, by the check its step names.

Readings of any number of attempts go through the same columns; the metrology decides, the checks lay out
the columns and put the answers into words.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

from assessments.marking import wording
from assessments.marking.checks.agreement import judge_agrees
from assessments.marking.checks.computed import judge_computed
from assessments.marking.checks.contacts import judge_changes, judge_contact, judge_leads
from assessments.marking.checks.instruments import judge_tone, judge_zero
from assessments.marking.checks.limits import judge_conforms
from assessments.marking.checks.relations import judge_closes, judge_falls, judge_repeats, judge_reverses
from assessments.marking.inputs import AttemptInputs
from assessments.marking.results import ReadingMark
from assessments.marking.rows import Row, rows_of
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import Qualifier


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A kind of check, and what a reading must be before it can be judged by it.

    ``free_of_fault``: it holds on a rig with a fault too. An answer worked out is on no display.
    """

    judge: Callable[[Sequence[Row]], list[ReadingMark]]
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


def mark_readings(attempts: Sequence[AttemptInputs]) -> list[tuple[ReadingMark, ...]]:
    """Every attempt's marks, each attempt's in the order of its steps."""
    rows = [rows_of(inputs) for inputs in attempts]
    kinds: dict[str, list[Row]] = defaultdict(list)
    for row in chain.from_iterable(rows):
        kinds[row.step.judged_by].append(row)
    marks: dict[str, ReadingMark] = {}
    for judged_by, mine in kinds.items():
        judgeable = [row for row in mine if (why := not_judgeable(row)) is None or _refuse(marks, row, why)]
        found = CHECKS[judged_by].judge(judgeable) if judgeable else []
        marks |= {row.reading.id: mark for row, mark in zip(judgeable, found, strict=True)}
    return [tuple(marks[row.reading.id] for row in each) for each in rows]


def _refuse(marks: dict[str, ReadingMark], row: Row, why: str) -> bool:
    marks[row.reading.id] = row.mark(Verdict.CANNOT_JUDGE, why)
    return False


def not_judgeable(row: Row) -> str | None:
    """Why a reading can't be judged at all, before any arithmetic; None when it can."""
    check, qualifier = CHECKS[row.step.judged_by], Qualifier(row.reading.qualifier)
    if qualifier in wording.NO_READING:
        return wording.NO_READING[qualifier]
    if row.inputs.fault is not None and not check.free_of_fault:
        return wording.FAULT_SET
    if row.is_value and row.range is None and check.needs_display:
        return wording.BEYOND_DISPLAY
    if check.needs_number and not row.is_value:
        return wording.NUMBER_DUE
    if check.needs_baseline and (row.measurand is None or row.measurand.value is None):
        return wording.NO_BASELINE
    return None
