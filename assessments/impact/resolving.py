"""An assessor's word on one attempt of a review: its result is upheld, or it is to be assessed again."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import suspensions
from assessments.models import ImpactItem, SignOff, Suspension
from assessments.models.impact import Effect, Resolution


@transaction.atomic
def resolve(*, item: ImpactItem, resolution: Resolution, reason: str, by: Person, at: datetime) -> ImpactItem:
    """Uphold a result with a reason, which lifts its suspension; or invite the candidate to a new attempt.

    Then the sign-off stays out of account, and that of the new attempt takes its place. Refused where
    somebody was quicker, for one's own attempt, without a reason, and where nothing is to be resolved.
    """
    held = _locked(item)
    _require_right(held, by, at=at)
    if held.resolved_by is not None:
        said = held.get_resolution_display().lower()
        raise Refused(f"{held.resolved_by.name} has resolved this one already: {said}.")
    if held.review.closed_at is not None:
        raise Refused("This review is closed.")
    if held.effect in ("", Effect.UNAFFECTED):
        raise Refused(
            "Nothing is to be resolved here." if held.effect else "This one isn’t marked again yet."
        )
    if not reason.strip():
        raise Refused("Say why: what the result rests on, or why it doesn’t any more.", field="reason")
    signed = SignOff.objects.current().filter(attempt=held.attempt_id).first()
    if resolution == Resolution.REASSESS:
        _keep_out_of_account(held, signed, at=at)
    else:
        suspensions.lift(held, by=by, at=at)
    held.resolution, held.reason, held.resolved_by, held.resolved_at = resolution, reason.strip(), by, at
    held.save(update_fields=["resolution", "reason", "resolved_by", "resolved_at", "sign_off"])
    _log(held, by=by, at=at)
    return held


def _keep_out_of_account(item: ImpactItem, signed: SignOff | None, *, at: datetime) -> None:
    """One that was decided since it was marked again, or whose error isn't known, isn't suspended so far."""
    if signed is None:
        raise Refused(
            "This attempt isn’t decided yet: decide it with this review in view.", field="resolution"
        )
    if not Suspension.objects.filter(item=item).exists():
        item.sign_off = signed
        suspensions.suspend([item], at=at)


def _locked(item: ImpactItem) -> ImpactItem:
    return (
        ImpactItem.objects.select_for_update(of=("self",))
        .select_related("review__centre", "attempt", "resolved_by", "sign_off")
        .get(pk=item.pk)
    )


def _require_right(item: ImpactItem, person: Person, *, at: datetime) -> None:
    centre = item.review.centre
    if item.attempt.candidate_id == person.pk:
        raise Refused("Nobody resolves their own attempt.")
    may = Permission.IMPACT_RESOLVE in permissions_of(person, on=centre.date_at(at))
    if person.centre_id != centre.pk or not may:
        raise Refused("Only an assessor of this centre, in post today, can resolve this.")


def _log(item: ImpactItem, *, by: Person, at: datetime) -> None:
    ledger.append(
        centre=item.review.centre,
        actor=by,
        verb="impact.resolve",
        subject=item.pk,
        at=at,
        facts={
            "review": str(item.review_id),
            "attempt": str(item.attempt_id),
            "sign_off": None if item.sign_off_id is None else str(item.sign_off_id),
            "resolution": str(item.resolution),
            "reason": sealed(item.reason, item.review.salt),
        },
    )
