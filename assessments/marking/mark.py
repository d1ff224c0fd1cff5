"""Mark whole attempts: three strands, kept apart, and what they propose."""

from collections.abc import Sequence
from functools import cache

from assessments.marking.conclusion import judge_conclusion
from assessments.marking.diagnosis import judge_diagnosis
from assessments.marking.inputs import AttemptInputs
from assessments.marking.procedure import judge_procedure
from assessments.marking.readings import mark_readings
from assessments.marking.results import (
    Finding,
    FindingKind,
    Judgement,
    Marking,
    Marks,
    StrandResult,
    StrandVerdict,
    propose,
)
from rigs.metrology.conformity import Verdict
from rigs.metrology.uncertainty import COVERAGE

ENGINE = "3"


def mark(inputs: AttemptInputs) -> Marking:
    return mark_many([inputs])[0]


def mark_many(attempts: Sequence[AttemptInputs]) -> list[Marking]:
    """Mark any number of attempts in one pass over their readings."""
    return [_marking(inputs, marks) for inputs, marks in zip(attempts, mark_readings(attempts), strict=True)]


def _marking(inputs: AttemptInputs, marks: Marks) -> Marking:
    procedure = judge_procedure(inputs)
    readings = judge_readings(inputs, marks.judgements)
    diagnosis = judge_diagnosis(inputs)
    conclusion = judge_conclusion(inputs, diagnosis)
    return Marking(
        engine=ENGINE,
        procedure=procedure,
        readings=readings,
        conclusion=conclusion,
        marks=marks,
        proposal=propose((procedure, readings, conclusion)),
        chance_outside=chance_outside(sum([each.judged_by == "agrees" for each in marks.judgements])),
        diagnosis=diagnosis,
    )


def judge_readings(inputs: AttemptInputs, judgements: Sequence[Judgement]) -> StrandResult:
    """Met when every reading due is there and in range. One out of range isn't met; the rest is to decide.

    Readings of the candidate's own choice aren't judged: they are weighed with the diagnosis.
    """
    logged = {each.step for each in judgements} | {each.reading.step for each in inputs.measurements}
    missing = tuple(
        Finding(
            step=step.slug,
            title=step.title,
            kind=FindingKind.MISSING,
            breach=False,
            sentence="No reading was logged.",
        )
        for step in inputs.version.readings_due
        if step.slug not in logged
    )
    verdicts = {each.verdict for each in judgements}
    if Verdict.OUT_OF_RANGE in verdicts:
        return StrandResult(verdict=StrandVerdict.NOT_MET, findings=missing)
    if missing or verdicts - {Verdict.IN_RANGE}:
        return StrandResult(verdict=StrandVerdict.TO_DECIDE, findings=missing)
    return StrandResult(verdict=StrandVerdict.MET)


@cache
def chance_outside(checks: int) -> float:
    """How likely at least one of so many good, independent readings falls outside its range by chance."""
    return float(1 - COVERAGE**checks)
