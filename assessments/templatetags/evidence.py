"""Readings as they were typed."""

from typing import Protocol

from django import template
from django.utils.safestring import SafeString

from academy.templatetags.makepoint import reading
from assessments.strips import figures_and_unit

register = template.Library()


class Typed(Protocol):
    unit: str


@register.filter
def as_read(typed: Typed) -> SafeString:
    """Write a mark, a reading or a struck-out entry as typed, its unit beside it where there is a number."""
    text: str = getattr(typed, "shown", "") or getattr(typed, "text", "")
    return reading(*figures_and_unit(text, unit=typed.unit))
