"""What a candidate logged, in the task's words."""

from django import template

from assessments.models import Step, StepRecord

register = template.Library()


@register.filter
def answer(record: StepRecord, step: Step) -> str:
    """The label of the answer that was chosen."""
    labels = {choice["value"]: choice["label"] for choice in step.choices}
    return str(labels.get(record.answer, record.answer))
