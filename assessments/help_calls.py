"""A candidate asks for the assessor, takes it back, or is answered."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments.models import Attempt, HelpCall, Step
from assessments.models.attempts import AT_WORK


@transaction.atomic
def ask(*, attempt: Attempt, step: Step | None, candidate: Person, at: datetime) -> HelpCall:
    """Ask for the assessor. While nobody has come, asking again is the same as once."""
    held = _own(attempt, candidate)
    if held.status not in AT_WORK:
        raise Refused("This attempt was handed in: ask your assessor in person.")
    if step is not None and step.version_id != held.version_id:
        raise Refused("That step isn't part of this task.")
    known = HelpCall.objects.open().filter(attempt=held).first()
    if known is not None:
        return known
    call = HelpCall.objects.create(attempt=held, step=step, asked_at=at)
    _log("help.ask", call, by=candidate, at=at, step=step.slug if step else None)
    return call


@transaction.atomic
def take_back(*, attempt: Attempt, candidate: Person, at: datetime) -> HelpCall | None:
    """Take the call back, if one is open."""
    call = HelpCall.objects.open().filter(attempt=_own(attempt, candidate)).first()
    if call is None:
        return None
    return _end(call, answered_by=None, verb="help.take-back", by=candidate, at=at)


@transaction.atomic
def answer(*, call: HelpCall, by: Person, at: datetime) -> HelpCall:
    """An assessor went to the candidate. Answering what has ended changes nothing."""
    held = (
        HelpCall.objects.select_for_update(of=("self",))
        .select_related("attempt__rig__centre")
        .get(pk=call.pk)
    )
    centre = held.attempt.rig.centre
    decides = Permission.ATTEMPT_DECIDE in permissions_of(by, on=centre.date_at(at))
    if by.centre_id != centre.pk or not decides or held.attempt.candidate_id == by.pk:
        raise Refused("Only an assessor of this centre, in post today, answers a call.")
    if held.ended_at is not None:
        return held
    return _end(held, answered_by=by, verb="help.answer", by=by, at=at)


def open_call(*, attempt: Attempt) -> HelpCall | None:
    return HelpCall.objects.open().filter(attempt=attempt).first()


def _own(attempt: Attempt, candidate: Person) -> Attempt:
    held = Attempt.objects.get_locked(pk=attempt.pk)
    if held.candidate_id != candidate.pk:
        raise Refused("This attempt belongs to somebody else.")
    return held


def _end(call: HelpCall, *, answered_by: Person | None, verb: str, by: Person, at: datetime) -> HelpCall:
    call.ended_at, call.answered_by = at, answered_by
    call.save(update_fields=["ended_at", "answered_by"])
    _log(verb, call, by=by, at=at)
    return call


def _log(verb: str, call: HelpCall, *, by: Person, at: datetime, **facts: str | None) -> None:
    ledger.append(
        centre=call.attempt.rig.centre,
        actor=by,
        verb=verb,
        subject=call.pk,
        at=at,
        facts={"attempt": str(call.attempt_id), **facts},
    )
