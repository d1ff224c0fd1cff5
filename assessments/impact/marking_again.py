"""Working through a review: every attempt on its list is marked under each model, a batch at a time.

A batch is one transaction with one ledger entry. What was stored before an interruption stays; going on takes
up where it stopped.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import suspensions
from assessments.gathering import gather
from assessments.impact.changed_inputs import PutRight, put_right
from assessments.impact.effects import changes_between, effect_of, titles_of
from assessments.impact.exposure import list_exposed
from assessments.marking.canonical import digest
from assessments.marking.inputs import AttemptInputs, canonical
from assessments.marking.mark import ENGINE, mark_many
from assessments.marking.results import Marking
from assessments.models import Attempt, ImpactItem, ImpactReview, ModelOutcome, Outcome, SignOff, Suspension
from assessments.models.decisions import Proposal
from assessments.models.impact import ErrorModel
from assessments.remarking import no_search_for_cycles

BATCH = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a review is: attempts on its list, and how many were marked under the models."""

    listed: int
    marked: int

    @property
    def is_done(self) -> bool:
        return self.marked == self.listed


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compared:
    """The marking that stands for an attempt so far, and the decision on it, if there is one."""

    sign_off: UUID | None
    outcome: UUID
    proposal: Proposal


@no_search_for_cycles()
@transaction.atomic
def work_through(*, review: ImpactReview, by: Person, at: datetime, batch: int = BATCH) -> Progress:
    """Mark the next batch. When none is left, attempts handed in since are listed; with none of those, done.

    A sign-off whose proposal changes under any model is suspended. Refused for a review that is closed.
    """
    held = _locked(review)
    _require_right(by, held, at=at)
    if held.closed_at is not None:
        raise Refused("This review is closed.")
    if not held.items.unmarked().exists():
        list_exposed(held)
    items = list(held.items.unmarked().select_related("attempt")[:batch])
    if items:
        # Nothing is decided on them meanwhile.
        list(
            Attempt.objects.select_for_update()
            .filter(pk__in=[each.attempt_id for each in items])
            .order_by("pk")
        )
        _mark(items, review=held, by=by, at=at)
    progress = progress_of(held)
    if progress.is_done and held.marked_at is None:
        held.marked_at = at
        held.save(update_fields=["marked_at"])
    return progress


def progress_of(review: ImpactReview) -> Progress:
    listed = review.items.count()
    return Progress(listed=listed, marked=listed - review.items.unmarked().count())


def _locked(review: ImpactReview) -> ImpactReview:
    found = ImpactReview.objects.select_for_update(of=("self",)).select_related("centre", "instrument", "rig")
    return found.get(pk=review.pk)


def _require_right(person: Person, review: ImpactReview, *, at: datetime) -> None:
    may = permissions_of(person, on=review.centre.date_at(at))
    wanted = {Permission.IMPACT_OPEN, Permission.IMPACT_RESOLVE, Permission.IMPACT_CLOSE}
    if person.centre_id != review.centre_id or not wanted & may:
        raise Refused("Only those who open, resolve or close impact reviews of this centre work through one.")


def _mark(items: Sequence[ImpactItem], *, review: ImpactReview, by: Person, at: datetime) -> None:
    attempts = [item.attempt_id for item in items]
    inputs = dict(zip(attempts, gather(attempts), strict=True))
    right = put_right(items, inputs, review=review)
    as_they_were = dict(zip(attempts, mark_many([inputs[pk] for pk in attempts]), strict=True))
    under = _under_models(attempts, right)
    compared = _compared(attempts)
    outcomes: list[ModelOutcome] = []
    changed: list[ImpactItem] = []
    for item in items:
        pk = item.attempt_id
        found = compared[pk]
        item.outcome_id, item.sign_off_id = found.outcome, found.sign_off
        proposals = [Proposal(each.proposal) for each in under[pk].values()]
        item.effect = effect_of(
            before=found.proposal,
            as_it_was=Proposal(as_they_were[pk].proposal),
            under_models=proposals,
            unknown=bool(right[pk].unknown),
        )
        item.unknown = list(titles_of(right[pk].unknown, inputs=inputs[pk]))
        outcomes += [
            _row(item, model, right[pk].by_model[model], marking, before=as_they_were[pk])
            for model, marking in under[pk].items()
        ]
        if set(proposals) - {found.proposal}:
            changed.append(item)
    ImpactItem.objects.bulk_update(items, ["outcome", "sign_off", "effect", "unknown"])
    ModelOutcome.objects.bulk_create(outcomes)
    suspended = suspensions.suspend(changed, at=at)
    _log(review, items, outcomes, suspended, by=by, at=at)


def _log(
    review: ImpactReview,
    items: Sequence[ImpactItem],
    outcomes: Sequence[ModelOutcome],
    suspended: Sequence[Suspension],
    *,
    by: Person,
    at: datetime,
) -> None:
    ledger.append(
        centre=review.centre,
        actor=by,
        verb="impact.mark",
        subject=review.pk,
        at=at,
        facts={
            "engine": ENGINE,
            "attempts": [[str(item.attempt_id), str(item.effect)] for item in items],
            "outcomes": [
                [str(each.item_id), str(each.model), each.inputs_sha256, str(each.proposal)]
                for each in outcomes
            ],
            "suspended": [str(each.sign_off_id) for each in suspended],
        },
    )


def _compared(attempts: Sequence[UUID]) -> dict[UUID, _Compared]:
    """With what each attempt is compared: the marking that was decided on, or the latest."""
    signed = SignOff.objects.current().filter(attempt__in=attempts)
    decided = {
        attempt: _Compared(sign_off=pk, outcome=outcome, proposal=Proposal(proposal))
        for attempt, pk, outcome, proposal in signed.values_list(
            "attempt_id", "pk", "outcome_id", "outcome__proposal"
        )
    }
    latest = Outcome.objects.filter(attempt__in=attempts).latest_of_each()
    undecided = {
        attempt: _Compared(sign_off=None, outcome=pk, proposal=Proposal(proposal))
        for attempt, pk, proposal in latest.values_list("attempt_id", "pk", "proposal")
    }
    return undecided | decided


def _under_models(
    attempts: Sequence[UUID], right: Mapping[UUID, PutRight]
) -> dict[UUID, dict[ErrorModel, Marking]]:
    """Every attempt under every model. A pass for each: in one, a reading has one verdict."""
    found: dict[UUID, dict[ErrorModel, Marking]] = {pk: {} for pk in attempts}
    for model in ErrorModel:
        those = [pk for pk in attempts if model in right[pk].by_model]
        marked = mark_many([right[pk].by_model[model] for pk in those])
        for pk, marking in zip(those, marked, strict=True):
            found[pk][model] = marking
    return found


def _row(
    item: ImpactItem, model: ErrorModel, inputs: AttemptInputs, marking: Marking, *, before: Marking
) -> ModelOutcome:
    return ModelOutcome(
        item=item,
        model=model,
        inputs_sha256=digest(canonical(inputs)),
        procedure=str(marking.procedure.verdict),
        readings=str(marking.readings.verdict),
        conclusion=str(marking.conclusion.verdict),
        proposal=str(marking.proposal),
        changes=changes_between(before, marking, inputs=inputs),
    )
