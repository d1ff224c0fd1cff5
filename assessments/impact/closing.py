"""Closing a review, when everything in it is marked again and resolved."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.impact.exposure import exposed
from assessments.models import ImpactReview


@transaction.atomic
def close(*, review: ImpactReview, closure: str, by: Person, at: datetime) -> ImpactReview:
    """Say what the cause was and what is done about it. Refused while anything in it waits.

    A review of no attempts is closed like any other, once it has been worked through.
    """
    found = ImpactReview.objects.select_for_update(of=("self",))
    held = found.select_related("centre", "instrument", "rig", "closed_by").get(pk=review.pk)
    may = Permission.IMPACT_CLOSE in permissions_of(by, on=held.centre.date_at(at))
    if by.centre_id != held.centre_id or not may:
        raise Refused("Only a verifier or a manager of this centre, in post today, closes an impact review.")
    if held.closed_by is not None:
        raise Refused(f"{held.closed_by.name} closed this review already.")
    if held.marked_at is None or held.items.unmarked().exists() or _has_more(held):
        raise Refused("Not every attempt in it is marked again yet: work through it first.")
    waiting = held.items.waiting().count()
    if waiting:
        raise Refused(
            "One attempt isn’t resolved yet." if waiting == 1 else f"{waiting} attempts aren’t resolved yet."
        )
    if not closure.strip():
        raise Refused("Say what the cause was and what is done about it.", field="closure")
    held.closure, held.closed_by, held.closed_at = closure.strip(), by, at
    held.save(update_fields=["closure", "closed_by", "closed_at"])
    ledger.append(
        centre=held.centre,
        actor=by,
        verb="impact.close",
        subject=held.pk,
        at=at,
        facts={"closure": sealed(held.closure, held.salt)},
    )
    return held


def _has_more(review: ImpactReview) -> bool:
    """Whether attempts that it reaches were handed in since it was worked through."""
    return bool(exposed(review).keys() - set(review.items.values_list("attempt", flat=True)))
