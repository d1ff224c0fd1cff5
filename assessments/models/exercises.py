"""Standardisation: attempts decided by several assessors, each without knowing what the others decide."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt
from assessments.models.decisions import Decision

if TYPE_CHECKING:
    from academy.models import Person


class ExerciseQuerySet(models.QuerySet["Exercise"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def of(self, assessor: "Person") -> Self:
        """Those that an assessor decides in, or has to read afterwards."""
        return self.visible_to(assessor).filter(participants__assessor=assessor)


class Exercise(models.Model):
    """A standardisation exercise, open until a verifier closes it. Only then are decisions shown."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="exercises")
    title = models.CharField(max_length=120)
    due_on = models.DateField()
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = ExerciseQuerySet.as_manager()

    class Meta:
        ordering = ("-opened_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_by=None)
                | Q(closed_at__gte=F("opened_at"), closed_by__isnull=False),
                name="a_closed_exercise_says_by_whom",
            ),
        )

    def __str__(self) -> str:
        return self.title


class ExerciseItem(models.Model):
    """One attempt of an exercise, told by its ``position`` alone. ``outcome`` is the marking to look at."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    exercise = models.ForeignKey(Exercise, on_delete=models.PROTECT, related_name="items")
    attempt = models.ForeignKey(
        "assessments.Attempt", on_delete=models.PROTECT, related_name="exercise_items"
    )
    outcome = models.ForeignKey("assessments.Outcome", on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("exercise", "position")
        constraints = (
            models.UniqueConstraint(fields=("exercise", "attempt"), name="an_attempt_is_in_an_exercise_once"),
            models.UniqueConstraint(fields=("exercise", "position"), name="one_exercise_item_per_position"),
        )

    def __str__(self) -> str:
        return f"Attempt {self.position}"


class ExerciseParticipant(models.Model):
    """An assessor ``invited`` to decide, or added when the exercise closed, to read what was ruled.

    Whoever was away confirms that they have read it: ``read_at`` is the last time they did.
    """

    exercise = models.ForeignKey(Exercise, on_delete=models.PROTECT, related_name="participants")
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="exercises")
    invited = models.BooleanField(default=True)
    was_away = models.BooleanField(default=False)
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("exercise", "assessor__name")
        constraints = (
            models.UniqueConstraint(
                fields=("exercise", "assessor"), name="an_assessor_is_in_an_exercise_once"
            ),
            models.CheckConstraint(
                condition=Q(invited=True) | Q(was_away=True), name="who_was_not_invited_was_away"
            ),
        )

    def __str__(self) -> str:
        return f"{self.assessor} in {self.exercise}"


class ExerciseDecision(models.Model):
    """An assessor's own decision on one attempt, and what it rests on. It is never changed."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.ForeignKey(ExerciseItem, on_delete=models.PROTECT, related_name="decisions")
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decision = models.CharField(max_length=20, choices=Decision)
    reason = models.TextField()
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("item", "at")
        constraints = (
            models.UniqueConstraint(
                fields=("item", "assessor"), name="an_assessor_decides_once_on_an_exercise_item"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="an_exercise_decision_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.get_decision_display()}: {self.item}"


class Ruling(models.Model):
    """How such an attempt is to be decided from now on. The newest of an attempt stands."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    item = models.ForeignKey(ExerciseItem, on_delete=models.PROTECT, related_name="rulings")
    criterion = models.ForeignKey(
        "assessments.Criterion", null=True, blank=True, on_delete=models.PROTECT, related_name="rulings"
    )
    text = models.TextField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("item", "-at")
        constraints = (models.CheckConstraint(condition=~Q(text=""), name="a_ruling_says_something"),)

    def __str__(self) -> str:
        return self.text
