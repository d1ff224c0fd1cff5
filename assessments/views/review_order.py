"""The order in which somebody works through what waits, kept with their session from the list on.

So going on doesn't put everything in order again, and the next one is the one that the list showed next.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.http import HttpRequest

from academy.models import Centre, Person
from assessments import queue
from assessments.models import Attempt

KEPT_AS = "review_order"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where an attempt stands among those that still wait, itself counted, and which are beside it."""

    number: int
    count: int
    before: UUID | None
    after: UUID | None


def keep(request: HttpRequest, waiting: Sequence[queue.Waiting]) -> None:
    request.session[KEPT_AS] = [str(each.attempt.pk) for each in waiting]


def place_of(
    request: HttpRequest, attempt: Attempt, *, assessor: Person, centre: Centre, at: datetime
) -> Place | None:
    """None for one that waits for somebody else."""
    order = _order(request)
    if attempt.pk not in order:
        keep(request, queue.of_assessor(assessor=assessor, centre=centre, at=at).waiting)
        order = _order(request)
    if attempt.pk not in order:
        return None
    left = _still_waiting(order, assessor)
    if attempt.pk not in left:
        return None
    number = left.index(attempt.pk)
    return Place(
        number=number + 1,
        count=len(left),
        before=left[number - 1] if number else None,
        after=left[number + 1] if number + 1 < len(left) else None,
    )


def next_after(
    request: HttpRequest, attempt: Attempt, *, assessor: Person, centre: Centre, at: datetime
) -> tuple[UUID | None, int]:
    """The one to go on with when an attempt is decided, and how many still wait.

    That which stands next in the order; from the end of it back to its top, and then to what came since.
    """
    order = _order(request)
    left = _still_waiting(order, assessor)
    if left:
        passed = order.index(attempt.pk) if attempt.pk in order else -1
        behind = [pk for pk in left if order.index(pk) > passed]
        return (behind or left)[0], len(left)
    fresh = queue.of_assessor(assessor=assessor, centre=centre, at=at)
    keep(request, fresh.waiting)
    return (fresh.waiting[0].attempt.pk if fresh.waiting else None), fresh.count


def _order(request: HttpRequest) -> list[UUID]:
    return [UUID(each) for each in request.session.get(KEPT_AS, ())]


def _still_waiting(order: Sequence[UUID], assessor: Person) -> list[UUID]:
    waits = set(Attempt.objects.awaiting(assessor).filter(pk__in=order).values_list("pk", flat=True))
    return [pk for pk in order if pk in waits]
