"""When a decision was made: how long it took, and how long after the work."""

from datetime import datetime, timedelta

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from academy.templatetags.makepoint import day
from assessments import decision_times
from assessments.decision_times import Taken
from assessments.models import Attempt, SignOff

register = template.Library()


@register.simple_tag
def worked_and_signed(attempt: Attempt, at: datetime) -> SafeString:
    """Write both days, on the calendar of the page: it is the centre's.

    The day of the work is that on the log sheet, or on which it was handed in.
    """
    worked = attempt.observed_on or attempt.submitted_at or attempt.started_at
    return format_html("Worked {}, signed {}", day(worked), day(at))


@register.filter
def decision_time(signed: SignOff) -> Taken | None:
    return decision_times.taken(signed)


@register.filter
def minutes_and_seconds(span: timedelta) -> str:
    """Write “2 min 5 s”; hours too from one up, and then no seconds."""
    whole = int(span.total_seconds())
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"
