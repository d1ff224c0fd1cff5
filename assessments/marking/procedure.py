"""The procedure strand: what was done, and in which order."""

import math
from collections.abc import Collection, Mapping, Sequence

from assessments.marking.inputs import AttemptInputs, ReadingInput, RecordInput, StepInput
from assessments.marking.results import Finding, FindingKind, StrandResult, StrandVerdict


def judge_procedure(inputs: AttemptInputs) -> StrandResult:
    """Name every safety-critical step that is missing, came too late, or found something unexpected.

    A step came too late when work that stands after it in the task was logged before it. The order is by
    sequence, not by clock. A missing step that isn't safety-critical is left to the assessor.
    """
    logged = _first_sequences(inputs)
    answers = {record.step: record for record in inputs.records}
    late = _late(inputs.steps, logged)
    findings = [
        finding
        for step in inputs.steps
        if (step.slug not in logged or step.slug in late or step.kind == "observation")
        and (finding := _finding(step, inputs, late=late, logged=logged, answers=answers)) is not None
    ]
    return StrandResult(verdict=_verdict(findings), findings=tuple(findings))


def _verdict(findings: list[Finding]) -> StrandVerdict:
    if any(finding.breach for finding in findings):
        return StrandVerdict.NOT_MET
    return StrandVerdict.TO_DECIDE if findings else StrandVerdict.MET


def _first_sequences(inputs: AttemptInputs) -> Mapping[str, int]:
    first: dict[str, int] = {}
    measured = (each.reading for each in inputs.measurements)
    entries: tuple[ReadingInput | RecordInput, ...] = (*inputs.readings, *measured, *inputs.records)
    for each in entries:
        if each.sequence < first.get(each.step, math.inf):
            first[each.step] = each.sequence
    return first


def _late(steps: Sequence[StepInput], logged: Mapping[str, int]) -> frozenset[str]:
    """Steps that were logged after something that stands later in the task."""
    in_order = [logged[step.slug] for step in steps if step.slug in logged]
    if in_order == sorted(in_order):  # of most attempts
        return frozenset()
    late, earliest = set(), math.inf
    for step in reversed(steps):
        if step.slug in logged:
            sequence = logged[step.slug]
            if sequence > earliest:
                late.add(step.slug)
            earliest = min(earliest, sequence)
    return frozenset(late)


def _finding(
    step: StepInput,
    inputs: AttemptInputs,
    *,
    late: Collection[str],
    logged: Mapping[str, int],
    answers: Mapping[str, RecordInput],
) -> Finding | None:
    if step.slug not in logged:
        return _missing(step)
    if step.safety_critical and step.slug in late:
        overtaken = _overtaken_by(step, inputs, logged)
        sentence = f"Logged after “{overtaken.title}”, which it must come before. {step.why}"
        return _note(step, FindingKind.OUT_OF_ORDER, sentence, breach=True)
    return _unexpected(step, inputs, answers.get(step.slug))


def _missing(step: StepInput) -> Finding | None:
    if (
        not step.required
        or step.kind in ("reading", "measurements")
        or (step.kind in ("diagnosis", "conclusion") and not step.safety_critical)
    ):
        # Missing readings and conclusions belong to their own strands.
        return None
    return _note(step, FindingKind.MISSING, f"Not logged. {step.why}", breach=step.safety_critical)


def _overtaken_by(step: StepInput, inputs: AttemptInputs, logged: Mapping[str, int]) -> StepInput:
    """The step that stands after this one in the task and was logged before it, the first of them."""
    early = (
        later
        for later in inputs.steps
        if later.order > step.order and logged.get(later.slug, logged[step.slug]) < logged[step.slug]
    )
    return min(early, key=lambda later: logged[later.slug])


def _unexpected(step: StepInput, inputs: AttemptInputs, record: RecordInput | None) -> Finding | None:
    if step.kind != "observation" or record is None or record.answer in step.expected:
        return None
    label = dict(step.choices).get(record.answer, record.answer)
    # With a fault set, an honest observation may well be another than on a healthy rig.
    breach = step.safety_critical and inputs.fault is None
    return _note(step, FindingKind.UNEXPECTED, f"Logged as “{label}”. {step.why}", breach=breach)


def _note(step: StepInput, kind: FindingKind, sentence: str, *, breach: bool) -> Finding:
    return Finding(step=step.slug, title=step.title, kind=kind, breach=breach, sentence=sentence.strip())
