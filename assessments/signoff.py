"""The assessor's decision on an attempt."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import new_salt, sealed
from assessments import outcomes, suspensions
from assessments.marking.results import Marking, ProposedDecision
from assessments.models import Attempt, Outcome, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision


@transaction.atomic
def sign_off(
    *,
    attempt: Attempt,
    outcome: Outcome,
    assessor: Person,
    decision: Decision,
    feedback: str,
    at: datetime,
    reason: str = "",
) -> SignOff:
    """Decide on an attempt that was handed in.

    ``outcome`` is the marking that the assessor looked at. Refused for one's own attempt, for somebody who
    isn't an assessor today, when there is a newer marking, and where a decision needs a reason and has none.
    """
    held = _locked(attempt)
    _require_right(held, assessor, at=at)
    if outcomes.latest(held).pk != outcome.pk:
        raise Refused("This attempt was marked again since you opened it. Look at the new marking first.")
    if not feedback.strip():
        raise Refused("Write feedback for the candidate: what was good, what to do next.", field="feedback")
    why = reason_needed(outcomes.marking_of(outcome), decision)
    if why is not None and not reason.strip():
        raise Refused(why, field="reason")
    signed = SignOff.objects.create(
        attempt=held,
        outcome=outcome,
        assessor=assessor,
        decision=decision,
        feedback=feedback.strip(),
        reason=reason.strip(),
        salt=new_salt(),
        at=at,
    )
    held.status = AttemptStatus.SIGNED_OFF
    held.save(update_fields=["status"])
    suspensions.take_place(signed)
    _log(signed)
    return signed


def reason_needed(marking: Marking, decision: str) -> str | None:
    """Why this decision needs a reason of its own; None when it follows from the marking."""
    if marking.proposal == ProposedDecision.ASSESSOR:
        if marking.lone_borderline and decision == Decision.COMPETENT:
            return None
        return "The marking leaves this to you: say what you decided it by."
    if marking.proposal != decision:
        return "This is not what the marking proposes: say why."
    return None


def current(attempt: Attempt) -> SignOff | None:
    """The decision that stands, with ``is_suspended``."""
    return attempt.sign_offs.current().with_suspension().select_related("assessor", "outcome").first()


def _locked(attempt: Attempt) -> Attempt:
    held = Attempt.objects.get_locked(pk=attempt.pk)
    if held.status == AttemptStatus.SIGNED_OFF:
        raise Refused("This attempt was signed off already.")
    if held.status != AttemptStatus.SUBMITTED:
        raise Refused("This attempt hasn't been handed in yet.")
    return held


def _require_right(attempt: Attempt, assessor: Person, *, at: datetime) -> None:
    if attempt.candidate_id == assessor.pk:
        raise Refused("Nobody signs off their own attempt.")
    on = attempt.rig.centre.date_at(at)
    may_decide = Permission.ATTEMPT_DECIDE in permissions_of(assessor, on=on)
    if assessor.centre_id != attempt.rig.centre_id or not may_decide:
        raise Refused("Only an assessor of this centre, in post today, can sign off.")


def _log(signed: SignOff) -> None:
    facts = {
        "decision": str(signed.decision),
        "outcome": str(signed.outcome_id),
        "inputs": signed.outcome.inputs_sha256,
        "feedback": sealed(signed.feedback, signed.salt),
        "reason": sealed(signed.reason, signed.salt),
    }
    ledger.append(
        centre=signed.attempt.rig.centre,
        actor=signed.assessor,
        verb="attempt.sign-off",
        subject=signed.attempt_id,
        at=signed.at,
        facts=facts,
    )
