"""The conclusion strand: whether what the candidate concluded is right for this rig as it was."""

from assessments.marking.inputs import AttemptInputs, StepInput
from assessments.marking.results import Finding, FindingKind, StrandResult, StrandVerdict


def judge_conclusion(inputs: AttemptInputs) -> StrandResult:
    """Met when every conclusion asked for is right, under the fault that was set if there was one."""
    findings = [
        finding
        for step in inputs.version.by_kind.get("conclusion", ())
        if (finding := _finding(step, inputs)) is not None
    ]
    return StrandResult(
        verdict=StrandVerdict.NOT_MET if findings else StrandVerdict.MET, findings=tuple(findings)
    )


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
