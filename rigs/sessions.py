"""Sessions: the half-days on the bench that a check is good for."""

from datetime import date, datetime, time, timedelta

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from rigs.models import Session
from rigs.models.checks import Half
from rigs.rooms import Room, room_of


def half_day(*, centre: Centre, at: datetime) -> tuple[date, Half]:
    """The date and the half-day that a moment falls in, by the centre's own clock and hours."""
    local = at.astimezone(centre.zone)
    if local.time() < centre.afternoon_from:
        return local.date(), Half.MORNING
    if local.time() < centre.evening_from:
        return local.date(), Half.AFTERNOON
    return local.date(), Half.EVENING


def ends_at(*, centre: Centre, at: datetime) -> datetime:
    """When the half-day that a moment falls in is over: an evening with its day."""
    on, half = half_day(centre=centre, at=at)
    match half:
        case Half.MORNING:
            end = datetime.combine(on, centre.afternoon_from, tzinfo=centre.zone)
        case Half.AFTERNOON:
            end = datetime.combine(on, centre.evening_from, tzinfo=centre.zone)
        case _:
            end = datetime.combine(on + timedelta(days=1), time(), tzinfo=centre.zone)
    return end


def current(*, centre: Centre, at: datetime) -> Session | None:
    on, half = half_day(centre=centre, at=at)
    return Session.objects.filter(centre=centre, on=on, half=half).first()


@transaction.atomic
def ensure_open(
    *,
    centre: Centre,
    by: Person,
    at: datetime,
    room: Room | None = None,
) -> Session:
    """The session of this half-day, opened if nobody has yet, with its room if somebody read it.

    A room that is read later is added. One session has one: another is refused.
    """
    on, half = half_day(centre=centre, at=at)
    session, created = Session.objects.get_or_create(
        centre=centre,
        on=on,
        half=half,
        defaults={"opened_by": by, "opened_at": at},
    )
    if created:
        ledger.append(
            centre=centre, actor=by, verb="session.open", subject=session.pk, at=at, facts={"half": half}
        )
    if room is not None and room != room_of(session):
        _record_room(session, room, by=by, at=at)
    return session


def _record_room(session: Session, room: Room, *, by: Person, at: datetime) -> None:
    if session.has_room:
        raise Refused(
            f"The room of this session is on record already: {session.room_temperature:g} °C. "
            "Load the page again to see it.",
            field="room_temperature",
        )
    for name, value in room.columns.items():
        setattr(session, name, value)
    session.save(update_fields=list(room.columns))
    facts = {name: None if value is None else repr(value) for name, value in room.columns.items()}
    ledger.append(
        centre=session.centre, actor=by, verb="session.room", subject=session.pk, at=at, facts=facts
    )
