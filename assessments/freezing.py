"""What an open appeal keeps as it is."""

from collections.abc import Collection
from uuid import UUID

from academy.refusals import Refused
from assessments.models import Appeal, Attempt

FROZEN = "An appeal against this decision is open: nothing of it changes until the appeal is decided."


def is_frozen(attempt: Attempt) -> bool:
    """Whether an appeal about this attempt is open."""
    return Appeal.objects.open().filter(sign_off__attempt=attempt).exists()


def frozen(attempts: Collection[UUID]) -> set[UUID]:
    """Those of the attempts, by id, about which an appeal is open. One query."""
    found = Appeal.objects.open().filter(sign_off__attempt__in=attempts)
    return set(found.values_list("sign_off__attempt", flat=True))


def require_unfrozen(attempt: Attempt) -> None:
    if is_frozen(attempt):
        raise Refused(FROZEN)
