"""How dates by which something is due, ages, and figures of a data sheet are written."""

from datetime import date, datetime, timedelta
from decimal import Decimal

from django import template
from django.utils.timesince import timesince

from rigs.due_dates import due
from rigs.models import SpecRange

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


@register.filter
def accuracy(spec: SpecRange) -> str:
    """Write the accuracy of a range as a data sheet does: ±(0.5 % of reading + 1 digit)."""
    parts = [
        f"{figure(percent)} % of {share}"
        for percent, share in ((spec.percent_reading, "reading"), (spec.percent_full_scale, "full scale"))
        if percent
    ]
    if spec.counts:
        parts.append(f"{figure(spec.counts)} digit{'' if spec.counts == 1 else 's'}")
    if not parts:
        return "None stated"
    return f"±({' + '.join(parts)})" if len(parts) > 1 else f"±{parts[0]}"
