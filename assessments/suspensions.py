"""Leaving a sign-off out of account, and what ends that. The sign-off itself is never changed."""

from collections.abc import Iterable
from datetime import datetime

from academy.models import Person
from assessments.models import ImpactItem, SignOff, Suspension
from assessments.models.attempts import Purpose
from assessments.models.impact import Resolution


def suspend(items: Iterable[ImpactItem], *, at: datetime) -> list[Suspension]:
    """Suspend the sign-offs of items that have one. Part of the transaction that found out about them."""
    return Suspension.objects.bulk_create(
        Suspension(item=item, sign_off=item.sign_off, since=at) for item in items if item.sign_off is not None
    )


def is_invited(signed: SignOff) -> bool:
    """Whether an assessor has asked for a new attempt in its place, and none was signed off yet."""
    return Suspension.objects.waiting().filter(sign_off=signed, item__resolution=Resolution.REASSESS).exists()


def lift(item: ImpactItem, *, by: Person, at: datetime) -> None:
    Suspension.objects.waiting().filter(item=item).update(lifted_at=at, lifted_by=by)


def take_place(signed: SignOff) -> None:
    """Let a new sign-off take the place of a suspended one, if its attempt is the one that was asked for.

    That is an assessment of the same task, by the same candidate, begun since an assessor asked for it.
    """
    attempt = signed.attempt
    if attempt.purpose != Purpose.ASSESSMENT:
        return
    asked_for = Suspension.objects.waiting().filter(
        item__resolution=Resolution.REASSESS,
        item__resolved_at__lte=attempt.started_at,
        sign_off__attempt__candidate=attempt.candidate_id,
        sign_off__attempt__version__task=attempt.version.task_id,
    )
    asked_for.exclude(sign_off=signed).update(superseded_by=signed)
