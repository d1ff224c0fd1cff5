"""Stopping everything on the bench, and letting it go on.

While a stop stands nothing can be logged, begun or handed in. What a device has waiting stays with it, and is
taken once an assessor has let the session go on.
"""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.models import Attempt, SessionStop
from assessments.models.attempts import AT_WORK
from rigs import sessions

MADE_SAFE = (
    "Everybody has stepped back from the rigs.",
    "The electrical supply to the bench is isolated.",
    "The gas supply is shut off, where there is one, by the centre’s own emergency procedure.",
    "Whoever needs help has it, and whoever must be told has been called.",
)
"""What comes before any form, in words. Common practice, no source: the centre's procedure goes first."""


class Stopped(Refused):
    """Refused for the time being: the same is taken once the session goes on."""


@transaction.atomic
def stop(*, centre: Centre, reason: str, by: Person, at: datetime) -> SessionStop:
    """Stop the session. Every attempt that is being worked on is interrupted. Twice is the same as once."""
    _require(Permission.SESSION_STOP, by, centre, at=at, refusal="Only staff of this centre can stop it.")
    if not reason.strip():
        raise Refused("Say in a few words why it is stopped.", field="reason")
    ledger.lock(centre=centre)
    known = standing(centre=centre)
    if known is not None:
        return known
    stopped = SessionStop.objects.create(
        centre=centre,
        session=sessions.current(centre=centre, at=at),
        reason=reason.strip(),
        stopped_by=by,
        stopped_at=at,
    )
    interrupted = Attempt.objects.filter(rig__centre=centre, status__in=AT_WORK)
    stopped.interrupted.set(interrupted)
    facts = {
        "session": str(stopped.session_id) if stopped.session_id else None,
        "interrupted": sorted(str(pk) for pk in interrupted.values_list("pk", flat=True)),
        "reason": sealed(stopped.reason, stopped.salt),
    }
    ledger.append(centre=centre, actor=by, verb="session.stop", subject=stopped.pk, at=at, facts=facts)
    return stopped


@transaction.atomic
def resume(*, stop: SessionStop, words: str, by: Person, at: datetime) -> SessionStop:
    """Let a session go on. Refused to all but an assessor, and without words on what was made sure of."""
    held = SessionStop.objects.select_for_update(of=("self",)).select_related("centre").get(pk=stop.pk)
    _require(
        Permission.ATTEMPT_DECIDE,
        by,
        held.centre,
        at=at,
        refusal="Only an assessor of this centre, in post today, can let it go on.",
    )
    if held.resumed_at is not None:
        return held
    if not words.strip():
        raise Refused("Say what was made sure of before it goes on.", field="words")
    held.words, held.resumed_by, held.resumed_at = words.strip(), by, at
    held.save(update_fields=["words", "resumed_by", "resumed_at"])
    ledger.append(
        centre=held.centre,
        actor=by,
        verb="session.resume",
        subject=held.pk,
        at=at,
        facts={"words": sealed(held.words, held.salt)},
    )
    return held


def standing(*, centre: Centre) -> SessionStop | None:
    """The stop that stands at a centre, if one does."""
    return SessionStop.objects.filter(centre=centre).standing().select_related("stopped_by", "centre").first()


def require_running(*, centre: Centre) -> None:
    """Refuse while the centre's session is stopped."""
    stopped = standing(centre=centre)
    if stopped is not None:
        raise Stopped(words_for(stopped))


def words_for(stopped: SessionStop) -> str:
    """What a candidate is told. Why it was stopped may be about somebody, and isn't in it."""
    local = stopped.stopped_at.astimezone(stopped.centre.zone)
    return (
        f"The session was stopped at {local:%H:%M}. Nothing can be logged until an assessor lets it go on; "
        "what was logged before is kept."
    )


def _require(permission: Permission, by: Person, centre: Centre, *, at: datetime, refusal: str) -> None:
    on = centre.date_at(at)
    if by.centre_id != centre.pk or permission not in permissions_of(by, on=on):
        raise Refused(refusal)
