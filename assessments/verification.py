"""Internal verification: a sample of decisions, each looked at blind first, and what follows from it."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F, QuerySet, Window
from django.db.models.functions import RowNumber

from academy import ledger
from academy.models import Centre, Membership, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import decision_times, flags, phrases, rights
from assessments.models import SampledDecision, SamplingPlan, SignOff, Verification, VerifierAction
from assessments.models.decisions import Decision, Proposal, Strand
from assessments.models.verification import Agreement
from assessments.sampling.selection import (
    RATES,
    Coverage,
    Decided,
    Risk,
    Sample,
    SelectionError,
    Settings,
    select,
)

# How many decisions somebody or something counts as new for (common practice, no source).
NEW = {Risk.NEW_ASSESSOR: 20, Risk.NEW_TASK: 10, Risk.NEW_RIG: 5}


@transaction.atomic
def draw_plan(
    *,
    centre: Centre,
    starts_on: date,
    ends_on: date,
    seed: int,
    wrong_percent: float,
    chance_percent: float,
    by: Person,
    at: datetime,
    rates: Mapping[Risk, float] = RATES,
) -> SamplingPlan:
    """Draw a sample of the decisions on assessments that were made in those days, both included.

    Its random part is as large as it must be to find one of ``wrong_percent`` wrong decisions with a chance
    of ``chance_percent``. Refused where nothing was decided, and to whoever isn't a verifier today.
    """
    _require_verifier(by, centre, at=at)
    if ends_on < starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    try:
        settings = Settings(
            seed=seed, rates=rates, wrong_share=wrong_percent / 100, chance=chance_percent / 100
        )
        sample = select(_decided(centre, starts_on, ends_on), settings=settings)
    except SelectionError as error:
        raise Refused(str(error)) from error
    plan = SamplingPlan.objects.create(
        centre=centre,
        starts_on=starts_on,
        ends_on=ends_on,
        seed=seed,
        settings={"rates": dict(rates), "wrong_percent": wrong_percent, "chance_percent": chance_percent},
        stated=asdict(sample.stated),
        made_by=by,
        made_at=at,
    )
    _keep(plan, sample)
    facts: dict[str, ledger.Fact] = {
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat(),
        "seed": str(seed),
        "sampled": [chosen.key for chosen in sample.chosen],
    }
    ledger.append(centre=centre, actor=by, verb="sampling.draw", subject=plan.pk, at=at, facts=facts)
    return plan


def _keep(plan: SamplingPlan, sample: Sample) -> None:
    SampledDecision.objects.bulk_create(
        SampledDecision(
            plan=plan,
            sign_off_id=UUID(chosen.key),
            position=position,
            risks=[risk.value for risk in chosen.risks],
            covers=[part.value for part in chosen.covers],
            is_random=chosen.is_random,
        )
        for position, chosen in enumerate(sample.chosen, start=1)
    )


@transaction.atomic
def decide_blind(
    *, sampled: SampledDecision, verifier: Person, decision: Decision, note: str, at: datetime
) -> Verification:
    """A verifier's own decision, before the assessor's is shown. Refused to whoever had part in it."""
    centre = sampled.plan.centre
    _require_verifier(verifier, centre, at=at)
    _require_apart(sampled.sign_off, verifier, on=centre.date_at(at))
    note = note.strip()
    if not note:
        raise Refused("Say in a sentence what you decided it by.", field="note")
    list(SampledDecision.objects.select_for_update().filter(pk=sampled.pk))
    known = Verification.objects.filter(sampled=sampled).select_related("verifier").first()
    if known is not None:
        raise Refused(f"{known.verifier.name} has decided on this one already.")
    verification = Verification.objects.create(
        sampled=sampled, verifier=verifier, own_decision=decision, own_note=note, decided_at=at
    )
    _log("verification.decide", verification, by=verifier, at=at, decision=str(decision), note=note)
    return verification


@transaction.atomic
def compare(
    *, verification: Verification, verifier: Person, agreement: Agreement, note: str, at: datetime
) -> Verification:
    """Whether the verifier agrees with the assessor's decision, having seen it. Not agreeing says why."""
    held = _locked(verification)
    if held.verifier_id != verifier.pk:
        raise Refused(f"{held.verifier.name} decided on this one: they compare it.")
    if held.compared_at is not None:
        raise Refused("This one is compared already.")
    note = note.strip()
    differs = held.own_decision != held.sampled.sign_off.decision
    if not note and (differs or agreement == Agreement.NOT_AGREED):
        raise Refused("Say why: your own decision or your view isn't the assessor's.", field="note")
    held.agreement, held.note, held.compared_at = agreement, note, at
    held.save(update_fields=["agreement", "note", "compared_at"])
    _log("verification.compare", held, by=verifier, at=at, agreement=str(agreement), note=note)
    return held


@transaction.atomic
def raise_action(
    *, verification: Verification, text: str, owner: Person, due_on: date, by: Person, at: datetime
) -> VerifierAction:
    """Note what is to be put right, by whom and by when."""
    centre = verification.sampled.plan.centre
    _require_verifier(by, centre, at=at)
    if not text.strip():
        raise Refused("Say what is to be put right.", field="text")
    if owner.centre_id != centre.pk:
        raise Refused("Choose somebody of this centre.", field="owner")
    if due_on < centre.date_at(at):
        raise Refused("That day has passed already.", field="due_on")
    action = VerifierAction.objects.create(
        verification=verification, text=text.strip(), owner=owner, due_on=due_on, raised_by=by, raised_at=at
    )
    facts = {"verification": str(verification.pk), "owner": str(owner.pk), "due_on": due_on.isoformat()}
    ledger.append(centre=centre, actor=by, verb="action.raise", subject=action.pk, at=at, facts=facts)
    return action


@transaction.atomic
def close_action(*, action: VerifierAction, closure: str, by: Person, at: datetime) -> VerifierAction:
    """Say how it was put right: a verifier closes it, not whoever had to do it."""
    held = (
        VerifierAction.objects.select_for_update(of=("self",))
        .select_related("verification__sampled__plan__centre", "closed_by")
        .get(pk=action.pk)
    )
    centre = held.verification.sampled.plan.centre
    _require_verifier(by, centre, at=at)
    if held.closed_by is not None:
        raise Refused(f"{held.closed_by.name} closed this already.")
    if held.owner_id == by.pk:
        raise Refused("Somebody else closes what you had to put right.")
    if not closure.strip():
        raise Refused("Say what was done, and what you saw of it.", field="closure")
    held.closure, held.closed_by, held.closed_at = closure.strip(), by, at
    held.save(update_fields=["closure", "closed_by", "closed_at"])
    ledger.append(centre=centre, actor=by, verb="action.close", subject=held.pk, at=at)
    return held


def may_verify(*, sign_off: SignOff, person: Person, on: date) -> bool:
    """Whether somebody had no part in what was decided, and no conflict of interest with its candidate."""
    return _why_not_apart(sign_off, person, on=on) is None


def to_verify(*, person: Person, on: date) -> QuerySet[SampledDecision]:
    """The sampled decisions that somebody may verify: `may_verify` of each, as one query."""
    with_part = rights.with_part(person=person).values("attempt")
    apart = rights.candidates_apart(person=person, on=on).values("candidate")
    return (
        SampledDecision.objects.visible_to(person)
        .exclude(sign_off__attempt__candidate=person)
        .exclude(sign_off__attempt__in=with_part)
        .exclude(sign_off__attempt__candidate__in=apart)
    )


def _require_apart(sign_off: SignOff, verifier: Person, *, on: date) -> None:
    reason = _why_not_apart(sign_off, verifier, on=on)
    if reason is not None:
        raise Refused(reason)


def _why_not_apart(sign_off: SignOff, verifier: Person, *, on: date) -> str | None:
    candidate = sign_off.attempt.candidate_id
    if candidate == verifier.pk:
        return "Nobody verifies a decision about themselves."
    if verifier.pk in rights.had_part(attempt=sign_off.attempt_id):
        return "Nobody verifies a decision of their own, nor one that they countersigned."
    return rights.CONFLICT if rights.conflicted(person=verifier, candidate=candidate, on=on) else None


def _require_verifier(person: Person, centre: Centre, *, at: datetime) -> None:
    may = Permission.VERIFICATION_DO in permissions_of(person, on=centre.date_at(at))
    if person.centre_id != centre.pk or not may:
        raise Refused("Only an internal verifier of this centre, in post today, can do that.")


def _locked(verification: Verification) -> Verification:
    return (
        Verification.objects.select_for_update(of=("self",))
        .select_related("sampled__plan__centre", "sampled__sign_off", "verifier")
        .get(pk=verification.pk)
    )


def _log(verb: str, verification: Verification, *, by: Person, at: datetime, note: str, **facts: str) -> None:
    ledger.append(
        centre=verification.sampled.plan.centre,
        actor=by,
        verb=verb,
        subject=verification.pk,
        at=at,
        facts={"sampled": str(verification.sampled_id), "note": sealed(note, verification.salt), **facts},
    )


def _decided(centre: Centre, starts_on: date, ends_on: date) -> list[Decided]:
    """The decisions of those days that stand, with what makes each of them worth a look."""
    begins = datetime.combine(starts_on, time.min, tzinfo=centre.zone)
    ends = datetime.combine(ends_on + timedelta(days=1), time.min, tzinfo=centre.zone)
    everything = _numbered(centre)
    found = [each for each in everything if begins <= each.at < ends]
    raised = flags.of_attempts([each.attempt_id for each in found])
    cohorts = _cohorts(each.attempt.candidate_id for each in found)
    same_words = phrases.repeated(found, centre=centre)
    return [
        Decided(
            key=str(each.pk),
            risks=frozenset(
                (
                    *_risks(each, flagged=bool(raised.get(each.attempt_id))),
                    *_risks_of_desk(each, repeated=each.pk in same_words, centre=centre),
                )
            ),
            parts={
                Coverage.ASSESSOR: str(each.assessor_id),
                Coverage.TASK: str(each.attempt.version.task_id),
                Coverage.RIG: str(each.attempt.rig_id),
                Coverage.COHORT: cohorts.get(each.attempt.candidate_id, ""),
            },
        )
        for each in found
    ]


def _numbered(centre: Centre) -> QuerySet[Any]:
    """Each decision that stands on an assessment: which of its assessor's, its task's, its baseline's."""

    def nth(*of: str) -> Window:
        return Window(RowNumber(), partition_by=[F(each) for each in of], order_by=F("at").asc())

    return (
        SignOff.objects.current()
        .filter(attempt__rig__centre=centre, attempt__purpose="assessment")
        .select_related("attempt__version", "outcome", "look")
        .annotate(
            nth_of_assessor=nth("assessor"),
            nth_of_version=nth("attempt__version"),
            nth_of_baseline=nth("attempt__sheet__baseline"),
        )
        .defer("outcome__inputs", "outcome__result")
        .order_by("at", "pk")
    )


def _risks(each: Any, *, flagged: bool) -> Iterable[Risk]:
    outcome = each.outcome
    if outcome.proposal not in {Proposal.ASSESSOR, each.decision}:
        yield Risk.OVERRIDE
    if flagged:
        yield Risk.FLAGGED
    if outcome.procedure == Strand.NOT_MET:
        yield Risk.BREACH
    if each.nth_of_assessor <= NEW[Risk.NEW_ASSESSOR]:
        yield Risk.NEW_ASSESSOR
    if each.nth_of_version <= NEW[Risk.NEW_TASK]:
        yield Risk.NEW_TASK
    if each.attempt.sheet_id is not None and each.nth_of_baseline <= NEW[Risk.NEW_RIG]:
        yield Risk.NEW_RIG
    if outcome.proposal == Proposal.ASSESSOR:
        yield Risk.BORDERLINE
    if each.decision == Decision.NOT_YET_COMPETENT:
        yield Risk.NOT_YET


def _risks_of_desk(signed: SignOff, *, repeated: bool, centre: Centre) -> Iterable[Risk]:
    """What the circumstances of the decision make worth a look, whatever was decided."""
    if decision_times.is_hasty(signed, centre=centre):
        yield Risk.HASTY
    if repeated:
        yield Risk.SAME_WORDS
    if decision_times.lag(attempt=signed.attempt, at=signed.at, centre=centre).is_late:
        yield Risk.LATE


def _cohorts(candidates: Iterable[UUID]) -> dict[UUID, str]:
    rows = Membership.objects.filter(person__in=set(candidates)).order_by("joined_on")
    return {row.person_id: str(row.cohort_id) for row in rows}
