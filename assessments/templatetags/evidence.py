"""What a candidate logged: readings as they were typed, answers in the task's words."""

from typing import Protocol

from django import template
from django.utils.safestring import SafeString

from academy.templatetags.makepoint import reading
from assessments import arrivals
from assessments.models import Attempt, Step, StepRecord
from assessments.strips import figures_and_unit

register = template.Library()


class Typed(Protocol):
    unit: str


@register.filter
def as_read(typed: Typed) -> SafeString:
    """Write a mark, a reading or a struck-out entry as typed, its unit beside it where there is a number."""
    text: str = getattr(typed, "shown", "") or getattr(typed, "text", "")
    return reading(*figures_and_unit(text, unit=typed.unit))


@register.filter
def answer(record: StepRecord, step: Step) -> str:
    """The label of the answer that was chosen."""
    return step.label_of(record.answer)


@register.filter
def came_later(attempt: Attempt) -> list[str]:
    """Sentences on what was logged without a network, if anything was."""
    return arrivals.sentences(attempt)
