"""How dates by which something is due, ages, and figures of a data sheet are written."""

import math
from datetime import date, datetime, timedelta
from decimal import Decimal

from django import template
from django.utils.timesince import timesince

from rigs.drawings import percent as signed_percent
from rigs.due_dates import due
from rigs.metrology.level_fit import Interval
from rigs.metrology.uncertainty import reported
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
def figure(value: float | Decimal | None) -> str:
    """Write a figure with the digits it was given in and no more; nothing for None."""
    if value is None:
        return ""
    text = f"{Decimal(str(value)).normalize() + 0:f}"  # zero has no sign
    return text.replace("-", "\N{MINUS SIGN}")


@register.filter
def hundreds(pascals: float) -> str:
    """Write pascals in mbar (hPa), with the digits that they were given in."""
    return figure(float(Decimal(repr(pascals)) / 100))


@register.filter
def percent(share: float) -> str:
    """Write a share from 0 to 1 in percent, with the digits that it was given in."""
    return figure(float(Decimal(repr(share)) * 100))


@register.filter
def change(percent: float | None) -> str:
    """Write a distance from the baseline in percent, with its sign; nothing for None."""
    return "" if percent is None else signed_percent(percent)


@register.filter
def share(chance: float) -> str:
    """Write a probability in percent, as far as it is worth reading."""
    if 0 < chance < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < chance < 1 else f"{100 * chance:.0f} %"


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


@register.filter
def two_digits(value: float) -> str:
    """Write a standard deviation to two digits, rounded by the one place that rounds; zero as 0."""
    return f"{reported(value=0, expanded=value).expanded:f}" if value else "0"


@register.filter
def interval(found: Interval) -> str:
    """Write an interval of a standard deviation in percent, its upper end open where it isn't told."""
    if math.isinf(found.upper):
        return f"{two_digits(found.lower)} % or more"
    return f"{two_digits(found.lower)} to {two_digits(found.upper)} %"
