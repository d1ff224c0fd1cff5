"""What belongs to a candidate or a cohort rather than to one attempt."""

import uuid

from django.conf import settings
from django.db import models


class CohortTask(models.Model):
    """A task that a cohort is to be assessed on."""

    cohort = models.ForeignKey("academy.Cohort", on_delete=models.CASCADE, related_name="planned_tasks")
    task = models.ForeignKey("assessments.Task", on_delete=models.PROTECT, related_name="planned_for")

    class Meta:
        ordering = ("cohort", "task__position")
        constraints = (models.UniqueConstraint(fields=("cohort", "task"), name="a_task_is_planned_once"),)

    def __str__(self) -> str:
        return f"{self.task} for {self.cohort}"


class PriorAchievement(models.Model):
    """A task that a candidate was found competent in before, on the word of a named person."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="prior_achievements"
    )
    task = models.ForeignKey("assessments.Task", on_delete=models.PROTECT, related_name="+")
    achieved_on = models.DateField()
    evidence = models.TextField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ("candidate", "task")
        constraints = (
            models.UniqueConstraint(fields=("candidate", "task"), name="one_prior_achievement_per_task"),
            models.CheckConstraint(
                condition=~models.Q(candidate=models.F("recorded_by")),
                name="a_prior_achievement_is_recorded_by_somebody_else",
            ),
        )

    def __str__(self) -> str:
        return f"{self.task}, before"


class RangeSeen(models.Model):
    """A person was shown this rig's ranges, in whatever role: they can't be assessed on it afterwards."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="+")
    first_seen_at = models.DateTimeField()

    class Meta:
        ordering = ("rig", "first_seen_at")
        constraints = (
            models.UniqueConstraint(fields=("person", "rig"), name="first_sight_of_a_rig_is_kept"),
        )

    def __str__(self) -> str:
        return f"{self.person} saw {self.rig}"
