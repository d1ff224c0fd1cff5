"""How long an attempt was before an assessor until they decided, and how long after the work that was.

For a verifier, who asks whether a decision can have been looked into; never to compare people by.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from academy.models import Centre, Person
from assessments.models import Attempt, Look, SignOff


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """``visible``: how long the page was in sight, where the browser told."""

    opened_at: datetime
    decided_at: datetime
    visible: timedelta | None

    @property
    def open_for(self) -> timedelta:
        return self.decided_at - self.opened_at

    @property
    def looked(self) -> timedelta:
        """How long it can have been looked at: never longer than it was open, whatever a browser says."""
        return self.open_for if self.visible is None else min(self.visible, self.open_for)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """The day of the work, the day of the decision, and whether that is later than the centre wants it."""

    observed_on: date
    signed_on: date
    is_late: bool

    @property
    def days(self) -> int:
        return (self.signed_on - self.observed_on).days


def note_opened(*, attempt: Attempt, assessor: Person, at: datetime) -> Look:
    """From the first sight of it on, since it was handed in; looking again later moves nothing."""
    look, is_new = Look.objects.get_or_create(
        attempt=attempt, assessor=assessor, sign_off=None, defaults={"opened_at": at}
    )
    handed_in = attempt.submitted_at or attempt.started_at
    if not is_new and look.opened_at < handed_in <= at:
        look.opened_at = at
        look.save(update_fields=["opened_at"])
    return look


def note_decided(*, signed: SignOff, visible_seconds: int | None) -> None:
    """Close the look that led to a decision, if one was opened: a decision by other ways has none."""
    Look.objects.filter(attempt=signed.attempt_id, assessor=signed.assessor_id, sign_off=None).update(
        sign_off=signed, visible_seconds=visible_seconds
    )


def taken(signed: SignOff) -> Taken | None:
    """None where it wasn't opened on its page. Reads ``signed.look``."""
    look: Look | None = getattr(signed, "look", None)
    if look is None:
        return None
    seen = look.visible_seconds
    return Taken(
        opened_at=look.opened_at,
        decided_at=signed.at,
        visible=None if seen is None else timedelta(seconds=seen),
    )


def is_hasty(signed: SignOff, *, centre: Centre) -> bool:
    known = taken(signed)
    return known is not None and known.looked < timedelta(seconds=centre.hasty_seconds)


def lag(*, attempt: Attempt, at: datetime, centre: Centre) -> Lag:
    """How long after the work a moment is: after the day on its log sheet, or on which it was handed in."""
    observed = attempt.observed_on or centre.date_at(attempt.submitted_at or attempt.started_at)
    signed_on = centre.date_at(at)
    return Lag(
        observed_on=observed,
        signed_on=signed_on,
        is_late=(signed_on - observed).days > centre.decide_days,
    )
