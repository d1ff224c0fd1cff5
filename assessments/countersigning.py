"""A second, qualified assessor on what an assessor in training decided: agreeing, or deciding otherwise."""

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from academy import confirmations, ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import freezing, rights, signoff
from assessments.models import Attempt, Countersignature, SignOff, Verification
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.rights import Standing


@transaction.atomic
def agree(
    *, signed: SignOff, by: Person, note: str, confirmed_at: datetime | None, at: datetime
) -> Countersignature:
    """Countersign a provisional decision, which counts from then on. ``confirmed_at`` as for a sign-off."""
    held = _locked(signed, by, at=at)
    confirmations.require_fresh(centre=held.attempt.rig.centre, confirmed_at=confirmed_at, at=at)
    note = note.strip()
    signature = Countersignature.objects.create(sign_off=held, countersigned_by=by, note=note, at=at)
    signoff.let_stand(held)
    facts = {"sign_off": str(held.pk), "note": sealed(note, signature.salt)}
    ledger.append(
        centre=held.attempt.rig.centre,
        actor=by,
        verb="attempt.countersign",
        subject=held.attempt_id,
        at=at,
        facts=facts,
    )
    return signature


@transaction.atomic
def decide_otherwise(
    *,
    signed: SignOff,
    decision: Decision,
    feedback: str,
    reason: str,
    by: Person,
    confirmed_at: datetime | None,
    at: datetime,
) -> SignOff:
    """Put a decision of one's own in the place of a provisional one, which stays readable. It says why.

    The decision may be the same one: then it is the reason or the feedback that is otherwise.
    """
    held = _locked(signed, by, at=at)
    later = signoff.supersede(signed=held, decision=decision, feedback=feedback, reason=reason, by=by, at=at)
    confirmations.require_fresh(centre=held.attempt.rig.centre, confirmed_at=confirmed_at, at=at)
    return later


def waiting(*, person: Person, at: datetime) -> QuerySet[SignOff]:
    """The provisional decisions that somebody may countersign, the oldest first. A few queries."""
    centre = person.centre
    if centre is None:
        return SignOff.objects.none()
    on = centre.date_at(at)
    undecided = Attempt.objects.visible_to(person).filter(status=AttemptStatus.COUNTERSIGN)
    mine = rights.qualified(rights.decidable(undecided, person=person, on=on), person=person, on=on)
    verified = Verification.objects.filter(verifier=person).values("sampled__sign_off__attempt")
    found = SignOff.objects.newest().filter(attempt__in=mine).exclude(assessor=person)
    return found.exclude(attempt__in=verified).order_by("at", "pk")


def why_not(*, signed: SignOff, person: Person, at: datetime) -> str | None:
    """Why somebody may not countersign this decision, in their words; None where they may."""
    attempt = signed.attempt
    if signed.assessor_id == person.pk:
        return "Nobody countersigns a decision of their own."
    reason = rights.why_not(attempt=attempt, person=person, at=at)
    if reason is not None:
        return reason
    on = attempt.rig.centre.date_at(at)
    if rights.standing(person=person, task=attempt.version.task_id, on=on) != Standing.QUALIFIED:
        return "You are in training for this task yourself: a qualified assessor countersigns."
    if Verification.objects.filter(sampled__sign_off__attempt=attempt, verifier=person).exists():
        return "You verified a decision on this attempt: somebody else countersigns."
    return None


def _locked(signed: SignOff, person: Person, *, at: datetime) -> SignOff:
    attempt = Attempt.objects.get_locked(pk=signed.attempt_id)
    held = SignOff.objects.select_related("assessor", "outcome").get(pk=signed.pk)
    held.attempt = attempt
    if attempt.status != AttemptStatus.COUNTERSIGN or not _is_newest(held):
        raise Refused(signoff.why_settled(attempt) or "This decision waits for no countersignature.")
    reason = why_not(signed=held, person=person, at=at)
    if reason is not None:
        raise Refused(reason)
    freezing.require_unfrozen(attempt)
    return held


def _is_newest(signed: SignOff) -> bool:
    return not SignOff.objects.filter(supersedes=signed).exists()
