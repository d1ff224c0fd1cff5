from django import template

from assessments import rate_drawings

register = template.Library()


@register.filter
def percentage(share: float) -> str:
    """Write a share between 0 and 1 as whole per cent: 0.83 → 83 %."""
    return f"{100 * share:.0f}\N{NARROW NO-BREAK SPACE}%"


@register.filter
def points(difference: float) -> str:
    """Write a difference of shares in points of a hundred with its sign: −0.12 → −12."""
    return rate_drawings.points(difference)


@register.filter
def hours(minutes: int) -> str:
    """Write minutes as hours, or as minutes where it is less than two hours: 14 h, 95 min."""
    space = "\N{NARROW NO-BREAK SPACE}"
    return f"{minutes}{space}min" if minutes < 120 else f"{round(minutes / 60)}{space}h"
