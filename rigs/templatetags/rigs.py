"""How dates by which something is due, ages, and figures of a data sheet are written."""

from datetime import date, datetime, timedelta
from decimal import Decimal

from django import template
from django.utils.timesince import timesince

from rigs.due_dates import due

register = template.Library()


@register.filter
def due_state(due_on: date, on: date) -> str:
    """Return the code of how a due date stands on a day, for `{% verdict %}`."""
    return due(due_on, on=on)


@register.filter
def age(at: datetime, now: datetime) -> str:
    """Write how long ago something was, in its largest unit."""
    return "just now" if now - at < timedelta(minutes=1) else f"{timesince(at, now, depth=1)} ago"


@register.filter
def figure(value: float | None) -> str:
    """Write a figure with the digits it was given in and no more; nothing for None."""
    if value is None:
        return ""
    text = f"{Decimal(repr(value)).normalize():f}"
    return text.replace("-", "\N{MINUS SIGN}")
