"""What waits besides decisions: readings to take again, countersignatures, appeals; and what became void."""

from collections.abc import Iterator
from datetime import timedelta

from django.db.models import Count, Min
from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments import appeals, countersigning
from assessments.models import Appeal, AttemptReturn, AttemptVoid, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.notices import NEWS_FOR

SOON = timedelta(days=2)


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.ATTEMPT_WORK):
        yield from _to_read_again(reader)
        yield from _void(reader)
        yield from _answered(reader)
    if reader.may(Permission.ATTEMPT_DECIDE):
        yield from _to_countersign(reader)
        yield from _mine_to_be_countersigned(reader)
    if reader.may(Permission.APPEAL_DECIDE):
        yield from _to_answer(reader)


def _to_read_again(reader: Reader) -> Iterator[Notice]:
    found = AttemptReturn.objects.open().filter(attempt__candidate=reader.person)
    for each in found.select_related("attempt__version__task", "attempt__rig"):
        yield Notice(
            urgency=Urgency.NOW,
            text=f"Returned for one more reading: {each.attempt}",
            url=reverse("attempt-overview", args=[each.attempt_id]),
            on=reader.centre.date_at(each.at),
        )


def _void(reader: Reader) -> Iterator[Notice]:
    found = AttemptVoid.objects.filter(
        attempt__candidate=reader.person, at__gt=reader.at - NEWS_FOR, at__lte=reader.at
    )
    for each in found.select_related("attempt__version__task", "attempt__rig"):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"Void, it doesn’t count: {each.attempt}",
            url=reverse("attempt-overview", args=[each.attempt_id]),
            on=reader.centre.date_at(each.at),
        )


def _answered(reader: Reader) -> Iterator[Notice]:
    found = Appeal.objects.filter(
        sign_off__attempt__candidate=reader.person,
        decided_at__gt=reader.at - NEWS_FOR,
        decided_at__lte=reader.at,
    ).exclude(decided_by=reader.person)
    for each in found.select_related("sign_off__attempt__version__task", "sign_off__attempt__rig"):
        assert each.decided_at is not None  # asked for
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"Your appeal is answered: {each.sign_off.attempt}",
            url=reverse("appeal-own", args=[each.sign_off.attempt_id]),
            on=reader.centre.date_at(each.decided_at),
        )


def _to_countersign(reader: Reader) -> Iterator[Notice]:
    waiting = countersigning.waiting(person=reader.person, at=reader.at).order_by()
    found = waiting.aggregate(count=Count("pk"), oldest=Min("at"))
    if not found["count"]:
        return
    since = reader.centre.date_at(found["oldest"])
    late = since + timedelta(days=reader.centre.countersign_days) < reader.today
    one = found["count"] == 1
    yield Notice(
        urgency=Urgency.NOW if late else Urgency.WAITING,
        text=f"{found['count']} decision{' waits' if one else 's wait'} for a countersignature",
        url=reverse("countersign-list"),
        on=since,
    )


def _mine_to_be_countersigned(reader: Reader) -> Iterator[Notice]:
    """Told to the assessor in training once one has waited too long, so that they can ask."""
    mine = SignOff.objects.newest().filter(
        assessor=reader.person, attempt__status=AttemptStatus.COUNTERSIGN, is_provisional=True
    )
    found = mine.order_by().aggregate(count=Count("pk"), oldest=Min("at"))
    if not found["count"]:
        return
    since = reader.centre.date_at(found["oldest"])
    if since + timedelta(days=reader.centre.countersign_days) < reader.today:
        one = found["count"] == 1
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{found['count']} of your decisions {'waits' if one else 'wait'} for a countersignature",
            url=reverse("review-list"),
            on=since,
        )


def _to_answer(reader: Reader) -> Iterator[Notice]:
    """Each open appeal to whoever may decide it, with the last day for an answer."""
    found = appeals.to_answer(person=reader.person, on=reader.today)
    related = ("sign_off__attempt__candidate", "sign_off__attempt__version__task", "sign_off__attempt__rig")
    for each in found.select_related(*related):
        overdue = each.due_on < reader.today
        said = "Appeal to answer, overdue" if overdue else "Appeal to answer"
        yield Notice(
            urgency=Urgency.NOW if overdue or each.due_on <= reader.today + SOON else Urgency.WAITING,
            text=f"{said}: {each.sign_off.attempt.candidate}, {each.sign_off.attempt}",
            url=reverse("appeal-detail", args=[each.pk]),
            on=each.due_on,
        )
