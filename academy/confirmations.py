"""A person's own password, asked for again before something is signed: once a sitting, not once a signature.

A sitting lasts while signatures follow one another; whoever comes back to the desk later, or finds a tablet
left signed in, is asked first.
"""

from datetime import datetime, timedelta

from academy.models import Centre
from academy.refusals import Refused


class Unconfirmed(Refused):
    """All else is well: what is missing is the password of whoever signs."""


def is_fresh(*, centre: Centre, confirmed_at: datetime | None, at: datetime) -> bool:
    """Whether the sitting goes on. ``confirmed_at`` is when its password, or last signature, was given."""
    if confirmed_at is None:
        return False
    return timedelta(0) <= at - confirmed_at <= timedelta(minutes=centre.sitting_minutes)


def require_fresh(*, centre: Centre, confirmed_at: datetime | None, at: datetime) -> None:
    """To be asked last, when nothing else is refused: nobody gives a password for what can't be done."""
    if not is_fresh(centre=centre, confirmed_at=confirmed_at, at=at):
        raise Unconfirmed("Confirm with your password that it is you, and then sign.")
