"""Appeals against decisions: opened by or for a candidate, answered by somebody who had no part in it.

While one is open, what was decided on stays as it was: see `freezing`.
"""

import json
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from academy import confirmations, ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import rights, signoff
from assessments.marking.canonical import differences, digest
from assessments.models import Appeal, Attempt, SignOff
from assessments.models.appeals import AppealResult, AppealStage
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision

SATURDAY = 5


@transaction.atomic
def open_appeal(*, signed: SignOff, grounds: str, by: Person, at: datetime) -> Appeal:
    """Open an appeal against the decision that stands, and list what it was decided on.

    Refused after the centre's days for it, for practice, and where one is open or was answered already.
    """
    attempt = Attempt.objects.get_locked(pk=signed.attempt_id)
    _require_party(attempt, by, at=at)
    reason = why_not(signed=signed, at=at)
    if reason is not None:
        raise Refused(reason)
    grounds = grounds.strip()
    if not grounds:
        raise Refused("Say what you don't agree with, and why.", field="grounds")
    centre = attempt.rig.centre
    document = evidence_of(signed)
    appeal = Appeal.objects.create(
        sign_off=signed,
        grounds=grounds,
        opened_by=by,
        opened_at=at,
        due_on=working_days_after(centre.date_at(at), centre.appeal_informal_days),
        evidence=document,
        evidence_sha256=digest(document.encode()),
    )
    facts = {
        "sign_off": str(signed.pk),
        "evidence": appeal.evidence_sha256,
        "grounds": sealed(grounds, appeal.salt),
        "due_on": appeal.due_on.isoformat(),
    }
    _log("appeal.open", appeal, centre=centre, by=by, at=at, facts=facts)
    return appeal


@transaction.atomic
def take_further(*, appeal: Appeal, by: Person, at: datetime) -> Appeal:
    """Ask for a written answer, where the informal talk didn't settle it."""
    held = _locked(appeal)
    attempt = held.sign_off.attempt
    _require_party(attempt, by, at=at)
    if held.stage == AppealStage.WRITTEN:
        raise Refused("A written answer was asked for already.")
    centre = attempt.rig.centre
    held.stage, held.written_at = AppealStage.WRITTEN, at
    held.due_on = centre.date_at(at) + timedelta(days=centre.appeal_written_days)
    held.save(update_fields=["stage", "written_at", "due_on"])
    facts = {"due_on": held.due_on.isoformat()}
    _log("appeal.take-further", held, centre=centre, by=by, at=at, facts=facts)
    return held


@transaction.atomic
def uphold(*, appeal: Appeal, reason: str, by: Person, confirmed_at: datetime | None, at: datetime) -> Appeal:
    """Let the decision stand, and say why: the candidate reads it. ``confirmed_at`` as for a sign-off."""
    held = _locked(appeal)
    _require_decider(held, by, at=at)
    reason = _given(reason)
    _require_fresh(held, confirmed_at, at=at)
    return _settle(held, result=AppealResult.UPHELD, reason=reason, by=by, at=at)


@transaction.atomic
def change(
    *,
    appeal: Appeal,
    decision: Decision,
    feedback: str,
    reason: str,
    by: Person,
    confirmed_at: datetime | None,
    at: datetime,
) -> Appeal:
    """Put another decision in the place of the one appealed against, which stays readable."""
    held = _locked(appeal)
    _require_decider(held, by, at=at)
    signed = held.sign_off
    if decision == signed.decision:
        raise Refused("That is what was decided: let the decision stand instead.", field="decision")
    if signed.is_suspended:  # type: ignore[attr-defined]  # annotated where it is read
        raise Refused("An impact review has suspended this decision: resolve that first.")
    reason = _given(reason)
    held.changed_to = signoff.supersede(
        signed=signed, decision=decision, feedback=feedback, reason=reason, by=by, at=at
    )
    _require_fresh(held, confirmed_at, at=at)
    return _settle(held, result=AppealResult.CHANGED, reason=reason, by=by, at=at)


@transaction.atomic
def withdraw(*, appeal: Appeal, by: Person, at: datetime) -> Appeal:
    """Take an appeal back: its candidate alone does that."""
    held = _locked(appeal)
    if held.sign_off.attempt.candidate_id != by.pk:
        raise Refused("Only the candidate takes an appeal back.")
    return _settle(held, result=AppealResult.WITHDRAWN, reason="", by=by, at=at)


def why_not(*, signed: SignOff, at: datetime) -> str | None:
    """Why no appeal can be opened against a decision, in words for its candidate; None where one can."""
    attempt = signed.attempt
    if attempt.purpose != Purpose.ASSESSMENT:
        return "Practice counts nowhere: there is nothing to appeal against."
    current = signoff.current(attempt)
    if current is None or current.pk != signed.pk:
        return "This decision doesn't stand any more."
    known = Appeal.objects.filter(sign_off=signed).exclude(result=AppealResult.WITHDRAWN).first()
    if known is not None:
        answered = known.decided_at is not None
        return f"An appeal against this decision {'was answered' if answered else 'is open'} already."
    if attempt.rig.centre.date_at(at) > last_day(signed):
        return f"The {attempt.rig.centre.appeal_within_days} days for an appeal are over."
    return None


def last_day(signed: SignOff) -> date:
    """The last day on which an appeal can be opened."""
    centre = signed.attempt.rig.centre
    return centre.date_at(signed.at) + timedelta(days=centre.appeal_within_days)


def why_not_decided(*, appeal: Appeal, person: Person, at: datetime) -> str | None:
    """Why somebody may not decide an appeal, in their words; None where they may."""
    attempt = appeal.sign_off.attempt
    centre = attempt.rig.centre
    on = centre.date_at(at)
    if attempt.candidate_id == person.pk:
        return "Nobody decides an appeal of their own."
    if person.pk in rights.had_part(attempt=attempt.pk):
        return "You had part in the decision: somebody else decides the appeal."
    if rights.conflicted(person=person, candidate=attempt.candidate_id, on=on):
        return rights.CONFLICT
    if person.centre_id != centre.pk or Permission.APPEAL_DECIDE not in permissions_of(person, on=on):
        return "Only a verifier or a manager of this centre, in post today, decides an appeal."
    return None


def to_answer(*, person: Person, on: date) -> QuerySet[Appeal]:
    """The open appeals that somebody may decide, as far as their part in the decisions and conflicts go."""
    with_part = rights.with_part(person=person).values("attempt")
    apart = rights.candidates_apart(person=person, on=on).values("candidate")
    return (
        Appeal.objects.visible_to(person)
        .open()
        .exclude(sign_off__attempt__candidate=person)
        .exclude(sign_off__attempt__in=with_part)
        .exclude(sign_off__attempt__candidate__in=apart)
        .order_by("due_on", "pk")
    )


def evidence_of(signed: SignOff) -> str:
    """Canonical JSON (RFC 8785) of the ids and digests of everything that a decision was made on."""
    attempt, outcome = signed.attempt, signed.outcome
    salt = attempt.salt

    def entries(found: Iterable[Any]) -> list[dict[str, str]]:
        return [{"id": str(each.pk), "sha256": each.digest(salt=salt)} for each in found]

    listed = {
        "attempt": str(attempt.pk),
        "decision": {"by": str(signed.assessor_id), "id": str(signed.pk), "is": str(signed.decision)},
        "outcome": {
            "id": str(outcome.pk),
            "inputs": outcome.inputs_sha256,
            "result": digest(outcome.result.encode()),
        },
        "photos": [
            {"file": each.sha256, "id": str(each.pk)} for each in attempt.photos.order_by("sequence", "pk")
        ],
        "readings": entries(attempt.readings.order_by("sequence", "pk")),
        "records": entries(attempt.records.order_by("sequence", "pk")),
    }
    return json.dumps(listed, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def changed_since(appeal: Appeal) -> list[str]:
    """What of the evidence isn't any more as it was when the appeal was opened. Empty when nothing."""
    if digest(appeal.evidence.encode()) != appeal.evidence_sha256:
        return ["the list of the evidence itself"]
    return list(differences(json.loads(appeal.evidence), json.loads(evidence_of(appeal.sign_off))))


def working_days_after(on: date, days: int) -> date:
    """The day so many working days later: Mondays to Fridays, public holidays counted among them."""
    while days > 0:
        on += timedelta(days=1)
        days -= on.weekday() < SATURDAY
    return on


def _settle(appeal: Appeal, *, result: AppealResult, reason: str, by: Person, at: datetime) -> Appeal:
    appeal.result, appeal.reason, appeal.decided_by, appeal.decided_at = result, reason, by, at
    appeal.save(update_fields=["result", "reason", "decided_by", "decided_at", "changed_to"])
    facts = {
        "result": str(result),
        "reason": sealed(reason, appeal.salt),
        "changed_to": str(appeal.changed_to_id) if appeal.changed_to_id else None,
    }
    centre = appeal.sign_off.attempt.rig.centre
    _log("appeal.decide", appeal, centre=centre, by=by, at=at, facts=facts)
    return appeal


def _locked(appeal: Appeal) -> Appeal:
    held = Appeal.objects.select_for_update(of=("self",)).select_related("decided_by").get(pk=appeal.pk)
    if held.decided_by is not None:
        raise Refused(f"{held.decided_by} settled this appeal already: {held.get_result_display().lower()}.")
    held.sign_off = (
        SignOff.objects.with_suspension().select_related("outcome", "assessor").get(pk=held.sign_off_id)
    )
    held.sign_off.attempt = Attempt.objects.get_locked(pk=held.sign_off.attempt_id)
    return held


def _require_party(attempt: Attempt, by: Person, *, at: datetime) -> None:
    if by.pk == attempt.candidate_id:
        return
    may = permissions_of(by, on=attempt.rig.centre.date_at(at))
    if by.centre_id != attempt.rig.centre_id or Permission.APPEAL_READ not in may:
        raise Refused("Only the candidate, or staff of the centre for them, can do that.")


def _require_decider(appeal: Appeal, by: Person, *, at: datetime) -> None:
    reason = why_not_decided(appeal=appeal, person=by, at=at)
    if reason is not None:
        raise Refused(reason)


def _require_fresh(appeal: Appeal, confirmed_at: datetime | None, *, at: datetime) -> None:
    centre = appeal.sign_off.attempt.rig.centre
    confirmations.require_fresh(centre=centre, confirmed_at=confirmed_at, at=at)


def _given(reason: str) -> str:
    reason = reason.strip()
    if not reason:
        raise Refused("Say why: the candidate reads it.", field="reason")
    return reason


def _log(
    verb: str, appeal: Appeal, *, centre: Centre, by: Person, at: datetime, facts: dict[str, Any]
) -> None:
    ledger.append(centre=centre, actor=by, verb=verb, subject=appeal.pk, at=at, facts=facts)
