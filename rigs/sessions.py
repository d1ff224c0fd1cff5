"""Sessions: the half-days on the bench that a check is good for."""

from datetime import date, datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from rigs.models import Session
from rigs.models.checks import Half


def half_day(*, centre: Centre, at: datetime) -> tuple[date, Half]:
    """The date and the half-day that a moment falls in, by the centre's own clock and hours."""
    local = at.astimezone(centre.zone)
    if local.time() < centre.afternoon_from:
        return local.date(), Half.MORNING
    if local.time() < centre.evening_from:
        return local.date(), Half.AFTERNOON
    return local.date(), Half.EVENING


def current(*, centre: Centre, at: datetime) -> Session | None:
    on, half = half_day(centre=centre, at=at)
    return Session.objects.filter(centre=centre, on=on, half=half).first()


@transaction.atomic
def ensure_open(
    *,
    centre: Centre,
    by: Person,
    at: datetime,
    room_temperature: float | None = None,
    air_pressure: float | None = None,
    relative_humidity: float | None = None,
) -> Session:
    """The session of this half-day, opened if nobody has yet. Room conditions: °C, Pa, 0 to 1."""
    on, half = half_day(centre=centre, at=at)
    session, created = Session.objects.get_or_create(
        centre=centre,
        on=on,
        half=half,
        defaults={
            "opened_by": by,
            "opened_at": at,
            "room_temperature": room_temperature,
            "air_pressure": air_pressure,
            "relative_humidity": relative_humidity,
        },
    )
    if created:
        ledger.append(
            centre=centre, actor=by, verb="session.open", subject=session.pk, at=at, facts={"half": half}
        )
    return session
