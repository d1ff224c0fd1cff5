"""Making an attempt void: something was wrong that the candidate can't answer for, and it doesn't count."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import freezing, outcomes, rights
from assessments.models import Attempt, AttemptVoid
from assessments.models.attempts import AT_WORK, AttemptStatus
from assessments.models.returns import VoidCause
from rigs import holds
from rigs.models import Hold, Instrument, Rig

UNDECIDED = (*AT_WORK, AttemptStatus.SUBMITTED, AttemptStatus.COUNTERSIGN)


@transaction.atomic
def make_void(
    *,
    attempt: Attempt,
    cause: VoidCause,
    reason: str,
    words: str,
    by: Person,
    at: datetime,
    hold: Rig | Instrument | None = None,
) -> AttemptVoid:
    """Make an attempt void. ``reason`` is for the record, ``words`` for the candidate.

    ``hold`` is what was at fault, to be taken out of use with it, if it isn't already. One that was still
    being worked on is marked as far as it got, so that it reads like any other. Refused once a decision
    stands: those are for an impact review.
    """
    held = Attempt.objects.get_locked(pk=attempt.pk)
    rights.require_apart(attempt=held, person=by, at=at)
    freezing.require_unfrozen(held)
    _require_undecided(held)
    reason, words = reason.strip(), words.strip()
    if not reason:
        raise Refused("Say what was wrong.", field="reason")
    if not words:
        raise Refused("Write to the candidate why it doesn't count.", field="words")
    _require_part_of(held, hold)
    if not held.outcomes.exists():
        outcomes.mark_attempt(attempt=held, at=at, by=by)
    void = AttemptVoid.objects.create(
        attempt=held,
        cause=cause,
        reason=reason,
        words=words,
        was=held.status,
        hold=_on_hold(hold, reason=reason, by=by, at=at) if hold else None,
        voided_by=by,
        at=at,
    )
    held.returns.open().update(done_at=at)
    held.status = AttemptStatus.VOID
    held.save(update_fields=["status"])
    facts = {
        "cause": str(cause),
        "was": void.was,
        "reason": sealed(reason, void.salt),
        "words": sealed(words, void.salt),
        "hold": str(void.hold_id) if void.hold_id else None,
    }
    ledger.append(centre=held.rig.centre, actor=by, verb="attempt.void", subject=held.pk, at=at, facts=facts)
    return void


def _require_undecided(attempt: Attempt) -> None:
    if attempt.status == AttemptStatus.VOID:
        raise Refused(f"{attempt.void.voided_by} made this attempt void already.")
    if attempt.status == AttemptStatus.SIGNED_OFF:
        raise Refused(
            "This attempt is decided. What was wrong with a rig or an instrument is an impact review."
        )


def _require_part_of(attempt: Attempt, thing: Rig | Instrument | None) -> None:
    if isinstance(thing, Rig) and thing.pk != attempt.rig_id:
        raise Refused("That rig wasn't used.", field="hold")
    if isinstance(thing, Instrument) and not attempt.instruments.filter(instrument=thing).exists():
        raise Refused("That instrument wasn't used.", field="hold")


def _on_hold(thing: Rig | Instrument, *, reason: str, by: Person, at: datetime) -> Hold:
    standing = thing.holds.open().first()
    return standing or holds.place(on=thing, reason=reason, by=by, at=at)
