"""What waits of standardisation exercises: to decide in, to close, to read."""

from collections.abc import Iterator

from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments import exercises
from assessments.models import Exercise


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.ATTEMPT_DECIDE):
        yield from _to_decide(reader)
        yield from _to_read(reader)
    if reader.may(Permission.VERIFICATION_DO):
        yield from _to_close(reader)


def _to_decide(reader: Reader) -> Iterator[Notice]:
    for each in exercises.to_decide(reader.person):
        left = f"{each.left} attempt{'' if each.left == 1 else 's'}"
        yield Notice(
            urgency=Urgency.NOW if each.exercise.due_on < reader.today else Urgency.WAITING,
            text=f"Decide on {left} in the exercise “{each.exercise}”",
            url=reverse("exercise-detail", args=[each.exercise_id]),
            on=each.exercise.due_on,
        )


def _to_read(reader: Reader) -> Iterator[Notice]:
    for each in exercises.to_read(reader.person):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"You were away: read what came of the exercise “{each.exercise}”",
            url=reverse("exercise-detail", args=[each.exercise_id]),
            on=reader.centre.date_at(each.exercise.closed_at) if each.exercise.closed_at else None,
        )


def _to_close(reader: Reader) -> Iterator[Notice]:
    """Exercises whose last day has passed, to a verifier who doesn't decide in them."""
    due = Exercise.objects.visible_to(reader.person).filter(closed_at=None, due_on__lt=reader.today)
    for exercise in due.exclude(participants__assessor=reader.person):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"The exercise “{exercise}” can be closed and compared",
            url=reverse("exercise-detail", args=[exercise.pk]),
            on=exercise.due_on,
        )
