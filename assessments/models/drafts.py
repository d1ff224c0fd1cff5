"""Tasks being written. A draft holds a task's data, as a file would, until it is published or set aside."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

if TYPE_CHECKING:
    from academy.models import Person


class Ending(models.TextChoices):
    """How a draft came to its end. Empty while it is being written."""

    PUBLISHED = "published", "published"
    SET_ASIDE = "set-aside", "set aside"


class TaskDraftQuerySet(models.QuerySet["TaskDraft"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(ending="")


class TaskDraft(models.Model):
    """The data of a task as they stand in the draft, incomplete or wrong as they may be.

    ``slug`` and ``title`` are copies from ``data``, for lists. ``revision`` grows with every save: who saves
    names the one that they saw. ``task`` is the task that it changes, None for a new one.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="task_drafts")
    task = models.ForeignKey(
        "assessments.Task", null=True, blank=True, on_delete=models.PROTECT, related_name="drafts"
    )
    slug = models.SlugField(max_length=60)
    title = models.CharField(max_length=120)
    data = models.JSONField()
    revision = models.PositiveIntegerField(default=1)
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()
    ending = models.CharField(max_length=10, choices=Ending, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = TaskDraftQuerySet.as_manager()

    class Meta:
        ordering = ("title", "begun_at")
        constraints = (
            models.UniqueConstraint(
                fields=("centre", "slug"), condition=Q(ending=""), name="one_open_draft_per_task"
            ),
            models.CheckConstraint(
                condition=Q(ending="", ended_at=None) | ~Q(ending="") & Q(ended_at__isnull=False),
                name="a_draft_that_ended_says_when",
            ),
        )

    def __str__(self) -> str:
        return f"draft of {self.title}"
