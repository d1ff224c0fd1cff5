"""The conclusion strand: whether what the candidate concluded is right for this rig as it was."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from assessments.marking.diagnosed import Diagnosis, DiagnosisVerdict
from assessments.marking.diagnosis_wording import right
from assessments.marking.inputs import AttemptInputs, StepInput
from assessments.marking.results import Finding, FindingKind, StrandResult, StrandVerdict


def judge_conclusion(inputs: AttemptInputs, diagnosis: Diagnosis | None = None) -> StrandResult:
    """Met when every conclusion asked for is right, under the fault that was set if there was one.

    A diagnosis that is right or can't be told from what is right is met, if the readings taken support it; a
    lucky guess and an unlucky reading are for the assessor to decide. What is concluded from a diagnosis that
    counts although it isn't what was set, or from an unlucky reading, is for the assessor as well.
    """
    findings = [
        finding
        for step in inputs.version.by_kind.get("conclusion", ())
        if (finding := _finding(step, inputs)) is not None
    ]
    if diagnosis is not None:
        if _is_of_another_fault(diagnosis):
            findings = [_doubted(each) for each in findings]
        findings = [*_of_diagnosis(diagnosis, inputs), *findings]
    return StrandResult(verdict=_verdict(findings), findings=tuple(findings))


def _verdict(findings: Sequence[Finding]) -> StrandVerdict:
    if any(finding.kind is not FindingKind.DOUBTFUL for finding in findings):
        return StrandVerdict.NOT_MET
    return StrandVerdict.TO_DECIDE if findings else StrandVerdict.MET


def _is_of_another_fault(diagnosis: Diagnosis) -> bool:
    return diagnosis.verdict is DiagnosisVerdict.ALIKE or diagnosis.is_unlucky_reading


def _doubted(finding: Finding) -> Finding:
    is_wrong = finding.kind is FindingKind.UNEXPECTED
    return replace(finding, kind=FindingKind.DOUBTFUL) if is_wrong else finding


def _of_diagnosis(diagnosis: Diagnosis, inputs: AttemptInputs) -> Iterator[Finding]:
    if diagnosis.is_right and diagnosis.supported:
        return
    if diagnosis.verdict is DiagnosisVerdict.MISSING:
        kind = FindingKind.MISSING
    elif diagnosis.is_right or diagnosis.is_unlucky_reading:
        kind = FindingKind.DOUBTFUL
    else:
        kind = FindingKind.UNEXPECTED
    title = inputs.step(diagnosis.step).title
    yield Finding(step=diagnosis.step, title=title, kind=kind, breach=False, sentence=right(diagnosis))


def _finding(step: StepInput, inputs: AttemptInputs) -> Finding | None:
    record = next((each for each in inputs.records if each.step == step.slug), None)
    right = _right_answers(step, inputs)
    if record is None:
        kind, sentence = FindingKind.MISSING, "No conclusion was logged."
    elif record.answer in right:
        return None
    else:
        labels = dict(step.choices)
        wanted = " or ".join(labels.get(each, each) for each in right)
        kind = FindingKind.UNEXPECTED
        sentence = f"Concluded “{labels.get(record.answer, record.answer)}”; on this rig it was “{wanted}”."
    return Finding(step=step.slug, title=step.title, kind=kind, breach=False, sentence=sentence)


def _right_answers(step: StepInput, inputs: AttemptInputs) -> tuple[str, ...]:
    fault = inputs.fault
    if fault is not None and fault.conclusion in dict(step.choices):
        return (fault.conclusion,)
    return step.expected
