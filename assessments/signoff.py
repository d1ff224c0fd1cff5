"""The assessor's decision on an attempt."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType

from django.db import transaction

from academy import confirmations, ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import new_salt, sealed
from assessments import (
    decision_times,
    freezing,
    judgements,
    observing,
    outcomes,
    prompts,
    rights,
    suspensions,
)
from assessments.judgements import Judged
from assessments.marking.results import Marking, ProposedDecision
from assessments.models import Attempt, Outcome, SignOff
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision
from assessments.rights import Standing

NOTHING_JUDGED: Mapping[str, Judged] = MappingProxyType({})


@transaction.atomic
def sign_off(
    *,
    attempt: Attempt,
    outcome: Outcome,
    assessor: Person,
    decision: Decision,
    feedback: str,
    at: datetime,
    confirmed_at: datetime | None,
    reason: str = "",
    judged: Mapping[str, Judged] = NOTHING_JUDGED,
    visible_seconds: int | None = None,
) -> SignOff:
    """Decide on an attempt that was handed in.

    ``outcome`` is the marking that the assessor looked at, ``confirmed_at`` when their password, or their
    last decision in this sitting, was given, ``judged`` what they decided on each point that the marking
    left to them. Refused for one's own attempt, for somebody who isn't an assessor today, when there is a
    newer marking, where a decision needs a reason and has none, and without a password in this sitting;
    to whoever is out of scope, or has a conflict of interest. In training it is provisional: it waits for a
    countersignature, and counts nowhere until then.
    """
    held = _locked(attempt)
    standing = rights.require_decider(attempt=held, person=assessor, at=at)
    freezing.require_unfrozen(held)
    if outcomes.latest(held).pk != outcome.pk:
        raise Refused("This attempt was marked again since you opened it. Look at the new marking first.")
    _require_feedback(feedback)
    marking = outcomes.marking_of(outcome)
    found = judgements.require(marking=marking, decision=decision, judged=judged)
    why = reason_needed(marking, decision, judged=judgements.comes_to(found) if found else None, attempt=held)
    if why is not None and not reason.strip():
        raise Refused(why, field="reason")
    confirmations.require_fresh(centre=held.rig.centre, confirmed_at=confirmed_at, at=at)
    signed = SignOff.objects.create(
        attempt=held,
        outcome=outcome,
        assessor=assessor,
        decision=decision,
        feedback=feedback.strip(),
        reason=reason.strip(),
        salt=new_salt(),
        at=at,
        is_provisional=standing == Standing.IN_TRAINING,
    )
    judgements.keep(signed=signed, found=found)
    decision_times.note_decided(signed=signed, visible_seconds=visible_seconds)
    if signed.is_provisional:
        held.status = AttemptStatus.COUNTERSIGN
        held.save(update_fields=["status"])
    else:
        let_stand(signed)
    _log(signed, judged=judgements.facts(found=found, salt=signed.salt))
    return signed


def let_stand(signed: SignOff) -> None:
    """Make a decision the one that counts. Part of the transaction that made or countersigned it."""
    signed.attempt.status = AttemptStatus.SIGNED_OFF
    signed.attempt.save(update_fields=["status"])
    suspensions.take_place(signed)


def supersede(
    *, signed: SignOff, decision: Decision, feedback: str, reason: str, by: Person, at: datetime
) -> SignOff:
    """Put another decision on the same marking in the place of one, which stays readable.

    Who may do that is for the verb that does: this is part of its transaction.
    """
    _require_feedback(feedback)
    if not reason.strip():
        raise Refused("Say why it is decided otherwise.", field="reason")
    if SignOff.objects.filter(supersedes=signed).exists():
        raise Refused("Another decision has taken the place of this one already. Load the page again.")
    later = SignOff.objects.create(
        attempt=signed.attempt,
        outcome=signed.outcome,
        assessor=by,
        decision=decision,
        feedback=feedback.strip(),
        reason=reason.strip(),
        salt=new_salt(),
        at=at,
        supersedes=signed,
    )
    let_stand(later)
    _log(later)
    return later


def reason_needed(
    marking: Marking, decision: str, *, judged: str | None = None, attempt: Attempt | None = None
) -> str | None:
    """Why this decision needs a reason of its own; None when it follows from the marking.

    ``judged`` is the decision that the points judged one by one come to, if they were. Of the ``attempt``,
    an assessment, what else is on record may ask for a reason: prompts, and what was seen.
    """
    if attempt is not None and decision == Decision.COMPETENT and attempt.purpose == Purpose.ASSESSMENT:
        asked = prompts.reason_needed(attempt) or observing.reason_needed(attempt)
        if asked is not None:
            return asked
    if marking.proposal == ProposedDecision.ASSESSOR:
        if judged is not None:
            return None if judged == decision else "This is not what you judged one by one: say why."
        if marking.lone_borderline and decision == Decision.COMPETENT:
            return None
        return "The marking leaves this to you: say what you decided it by."
    if marking.proposal != decision:
        return "This is not what the marking proposes: say why."
    return None


def _require_feedback(feedback: str) -> None:
    if not feedback.strip():
        raise Refused("Write feedback for the candidate: what was good, what to do next.", field="feedback")


def current(attempt: Attempt) -> SignOff | None:
    """The decision that stands, with ``is_suspended``."""
    found = attempt.sign_offs.current().with_suspension().select_related("assessor", "outcome", "look")
    return found.prefetch_related("judgements__step", "judgements__reading").first()


def provisional(attempt: Attempt) -> SignOff | None:
    """The decision made in training that waits for a countersignature."""
    if attempt.status != AttemptStatus.COUNTERSIGN:
        return None
    return attempt.sign_offs.newest().select_related("assessor", "outcome").first()


def history(attempt: Attempt) -> list[SignOff]:
    """Every decision ever made on an attempt, the newest first: superseded, provisional, suspended too."""
    return list(
        attempt.sign_offs.with_suspension().select_related(
            "assessor", "outcome", "countersignature__countersigned_by"
        )
    )


def why_settled(attempt: Attempt) -> str | None:
    """Who has done what with an attempt that waits for no decision any more; None where it waits."""
    match attempt.status:
        case AttemptStatus.SUBMITTED:
            return None
        case AttemptStatus.SIGNED_OFF | AttemptStatus.COUNTERSIGN:
            return _who_decided(attempt)
        case AttemptStatus.RETURNED:
            returned = attempt.returns.open().select_related("returned_by").get()
            when = _when(attempt, returned.at)
            return f"{returned.returned_by} returned this attempt to the candidate on {when}."
        case AttemptStatus.VOID:
            void = attempt.void
            return f"{void.voided_by} made this attempt void on {_when(attempt, void.at)}."
    return "This attempt hasn't been handed in yet."


def _who_decided(attempt: Attempt) -> str:
    signed = attempt.sign_offs.newest().select_related("assessor").get()
    when, decision = _when(attempt, signed.at), signed.get_decision_display().lower()
    said = f"{signed.assessor} signed this attempt off already, on {when}: {decision}"
    return (
        f"{said}, awaiting countersignature." if attempt.status == AttemptStatus.COUNTERSIGN else f"{said}."
    )


def _when(attempt: Attempt, at: datetime) -> str:
    return f"{at.astimezone(attempt.rig.centre.zone):%d %B %Y at %H:%M}"


def _locked(attempt: Attempt) -> Attempt:
    held = Attempt.objects.get_locked(pk=attempt.pk)
    settled = why_settled(held)
    if settled is not None:
        raise Refused(settled)
    return held


def _log(signed: SignOff, *, judged: Sequence[str] = ()) -> None:
    facts: dict[str, ledger.Fact] = {
        "decision": str(signed.decision),
        "outcome": str(signed.outcome_id),
        "inputs": signed.outcome.inputs_sha256,
        "feedback": sealed(signed.feedback, signed.salt),
        "reason": sealed(signed.reason, signed.salt),
        "judged": list(judged),
        "provisional": signed.is_provisional,
        "supersedes": str(signed.supersedes_id) if signed.supersedes_id else None,
    }
    ledger.append(
        centre=signed.attempt.rig.centre,
        actor=signed.assessor,
        verb="attempt.sign-off",
        subject=signed.attempt_id,
        at=signed.at,
        facts=facts,
    )
