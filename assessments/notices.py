"""What waits of people's attempts: to carry on with, to decide, to read."""

from collections.abc import Iterator

from django.db.models import Count, Min
from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments.models import Attempt
from assessments.models.attempts import AttemptStatus


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.ATTEMPT_WORK):
        yield from _to_carry_on(reader)
    if reader.may(Permission.ATTEMPT_DECIDE):
        yield from _to_decide(reader)


def _to_carry_on(reader: Reader) -> Iterator[Notice]:
    begun = Attempt.objects.of(reader.person).filter(status=AttemptStatus.OPEN)
    for attempt in begun.select_related("version__task", "rig"):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"Carry on with {attempt}",
            url=reverse("attempt-overview", args=[attempt.pk]),
            on=reader.centre.date_at(attempt.started_at),
        )


def _to_decide(reader: Reader) -> Iterator[Notice]:
    waiting = Attempt.objects.awaiting(reader.person).order_by()
    found = waiting.aggregate(count=Count("pk"), oldest=Min("submitted_at"))
    if found["count"]:
        one = found["count"] == 1
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{found['count']} attempt{' waits' if one else 's wait'} for a decision",
            url=reverse("review-list"),
            on=reader.centre.date_at(found["oldest"]),
        )
