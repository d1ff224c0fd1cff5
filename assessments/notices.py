"""What waits of people's attempts, to carry on with, read, decide or verify; and of the tasks themselves."""

from collections.abc import Iterator
from datetime import timedelta

from django.db.models import Count, Min, Q
from django.db.models.functions import Coalesce
from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments import limits, rights, verification
from assessments.models import Attempt, SignOff, TaskDraft, VerifierAction
from assessments.models.attempts import AttemptStatus

NEWS_FOR = timedelta(days=3)  # a result is told until then: Friday's is still there on Monday morning


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.ATTEMPT_WORK):
        yield from _to_carry_on(reader)
        yield from _results(reader)
    if reader.may(Permission.ATTEMPT_DECIDE):
        yield from _to_decide(reader)
    if reader.may(Permission.VERIFICATION_DO):
        yield from _to_verify(reader)
    if reader.may(Permission.TASK_MANAGE):
        yield from _limits(reader)
        yield from _drafts(reader)
    yield from _to_put_right(reader)


def _to_carry_on(reader: Reader) -> Iterator[Notice]:
    begun = Attempt.objects.of(reader.person).filter(status=AttemptStatus.OPEN)
    for attempt in begun.select_related("version__task", "rig"):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"Carry on with {attempt}",
            url=reverse("attempt-overview", args=[attempt.pk]),
            on=reader.centre.date_at(attempt.started_at),
        )


def _results(reader: Reader) -> Iterator[Notice]:
    signed = (
        SignOff.objects.current()
        .annotate(stands_since=Coalesce("countersignature__at", "at"))
        .filter(
            attempt__candidate=reader.person,
            stands_since__gt=reader.at - NEWS_FOR,
            stands_since__lte=reader.at,
        )
    )
    for each in signed.select_related("attempt__version__task", "attempt__rig"):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"Your result is ready: {each.attempt}",
            url=reverse("attempt-result", args=[each.attempt_id]),
            on=reader.centre.date_at(each.stands_since),  # type: ignore[attr-defined]  # annotated above
        )


def _to_decide(reader: Reader) -> Iterator[Notice]:
    waiting = rights.decidable(
        Attempt.objects.awaiting(reader.person).order_by(), person=reader.person, on=reader.today
    )
    found = waiting.aggregate(count=Count("pk"), oldest=Min("submitted_at"))
    if found["count"]:
        one = found["count"] == 1
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{found['count']} attempt{' waits' if one else 's wait'} for a decision",
            url=reverse("review-list"),
            on=reader.centre.date_at(found["oldest"]),
        )


def _to_verify(reader: Reader) -> Iterator[Notice]:
    """Sampled decisions that nobody has begun to verify, and those that the reader has yet to compare."""
    sampled = verification.to_verify(person=reader.person, on=reader.today)
    mine = Q(verification__verifier=reader.person, verification__compared_at=None)
    found = sampled.filter(Q(verification=None) | mine).aggregate(
        count=Count("pk"), oldest=Min("plan__made_at")
    )
    if found["count"]:
        one = found["count"] == 1
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{found['count']} sampled decision{' waits' if one else 's wait'} to be verified",
            url=reverse("sampling-list"),
            on=reader.centre.date_at(found["oldest"]),
        )


def _limits(reader: Reader) -> Iterator[Notice]:
    found = limits.in_force(centre=reader.centre)
    unconfirmed = sum(each.confirmation is None for each in found)
    if unconfirmed:
        said = " waits to be confirmed: its" if unconfirmed == 1 else "s wait to be confirmed: their"
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{unconfirmed} limit{said} tasks are for practice only until then",
            url=reverse("limit-list"),
        )
    elsewhen = sum(not each.limit.holds_on(reader.today) for each in found)
    if elsewhen:
        said = " doesn’t apply today: its" if elsewhen == 1 else "s don’t apply today: their"
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{elsewhen} limit{said} tasks are for practice only",
            url=reverse("limit-list"),
        )


def _drafts(reader: Reader) -> Iterator[Notice]:
    """Told to whoever wrote in it last."""
    for draft in TaskDraft.objects.visible_to(reader.person).open().filter(changed_by=reader.person):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"The {draft} isn’t published",
            url=reverse("draft-detail", args=[draft.pk]),
            on=reader.centre.date_at(draft.changed_at),
        )


def _to_put_right(reader: Reader) -> Iterator[Notice]:
    """What a verifier asked of the reader, whatever their roles are."""
    actions = VerifierAction.objects.visible_to(reader.person).open().filter(owner=reader.person)
    for action in actions.select_related("verification__sampled__sign_off"):
        overdue = action.due_on < reader.today
        yield Notice(
            urgency=Urgency.NOW if overdue else Urgency.WAITING,
            text=f"To put right{', overdue' if overdue else ''}: {action.text}",
            url=_page_of(action, reader=reader),
            on=action.due_on,
        )


def _page_of(action: VerifierAction, *, reader: Reader) -> str:
    """The page about it that the reader may open."""
    sampled = action.verification.sampled
    if reader.may(Permission.VERIFICATION_READ):
        return reverse("sampled-detail", args=[sampled.pk])
    if reader.may(Permission.ATTEMPT_READ):
        return reverse("review-detail", args=[sampled.sign_off.attempt_id])
    return reverse("today")
