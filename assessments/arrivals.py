"""What an assessor is told of entries that were logged without a network and came to the site later."""

from collections.abc import Iterable
from datetime import datetime, timedelta, tzinfo
from itertools import groupby

from assessments.models import Arrival, Attempt

AT_ONCE = timedelta(minutes=2)
"""What comes sooner is as good as logged on the site (common practice, no source)."""


def sentences(attempt: Attempt) -> list[str]:
    """A sentence for each device: how much, when it was logged and when it came. One query."""
    rows = Arrival.objects.filter(attempt=attempt).order_by("device", "sequence")
    zone = attempt.rig.centre.zone
    found = []
    for _device, group in groupby(rows, key=lambda row: row.device):
        later = [row for row in group if row.received_at - logged_at(row) > AT_ONCE]
        if later:
            found.append(_sentence(later, zone=zone))
    return found


def logged_at(row: Arrival) -> datetime:
    """When it was logged, by the device's clock put right by what that was off when it was sent."""
    return row.device_at + timedelta(seconds=row.skew)


def _sentence(rows: list[Arrival], *, zone: tzinfo) -> str:
    times = sorted(logged_at(row).astimezone(zone) for row in rows)
    came = max(row.received_at for row in rows).astimezone(zone)
    count = "1 entry was" if len(rows) == 1 else f"{len(rows)} entries were"
    between = f"{times[0]:%d %B %Y, %H:%M}"
    if len(times) > 1:
        between += f" to {times[-1]:%H:%M}"
    came_in = f"{came:%H:%M}" if came.date() == times[-1].date() else f"{came:%d %B, %H:%M}"
    return f"{count} logged without a network, {between}, and came in by {came_in}.{_clock(rows)}"


def _clock(rows: Iterable[Arrival]) -> str:
    """What to say of a clock that was off, by the largest amount that it was."""
    off = max((timedelta(seconds=row.skew) for row in rows), key=abs)
    if abs(off) <= AT_ONCE:
        return ""
    minutes = round(abs(off) / timedelta(minutes=1))
    days, hours = divmod(minutes // 60, 24)
    amount = f"{days} days {hours} h" if days else f"{hours} h {minutes % 60} min"
    way = "behind" if off > timedelta() else "ahead"
    return f" The device’s clock was {amount} {way}; these times are put right."
