"""Dates by which something is to be seen to again: a calibration, an electrical inspection."""

from calendar import monthrange
from datetime import date, timedelta
from enum import StrEnum

SOON = timedelta(days=30)


class Due(StrEnum):
    IN_DATE = "in-date"
    SOON = "due-soon"
    OVERDUE = "overdue"


def due(due_on: date, *, on: date) -> Due:
    """How a due date stands on a day. The day itself still counts."""
    if due_on < on:
        return Due.OVERDUE
    return Due.SOON if due_on - on <= SOON else Due.IN_DATE


def months_after(on: date, *, months: int) -> date:
    """The same day so many months later, or the last day of a month that is too short for it."""
    years, month = divmod(on.month - 1 + months, 12)
    year = on.year + years
    return date(year, month + 1, min(on.day, monthrange(year, month + 1)[1]))
