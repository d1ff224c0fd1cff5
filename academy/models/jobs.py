"""Work that takes longer than a request should: asked for on a page, done by a worker."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

if TYPE_CHECKING:
    from academy.models.people import Person


class JobState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    WORKING = "working", "Being worked on"
    DONE = "done", "Done"
    FAILED = "failed", "Failed"


class JobQuerySet(models.QuerySet["Job"]):
    def of(self, person: "Person") -> Self:
        """Those that the person asked for: a job is nobody else's business."""
        return self.filter(asked_by=person)

    def unfinished(self) -> Self:
        return self.filter(state__in=(JobState.WAITING, JobState.WORKING))


class Job(models.Model):
    """One piece of work. ``kind`` is a name in ``JOB_KINDS``; ``given`` what it is about, by ids alone.

    ``key`` tells what makes two of a kind the same. ``heard_at`` is the worker's last sign of life; ``made``
    the id of what came of it, and ``failure`` why nothing did, in words for whoever asked.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="jobs")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=200)
    given = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=JobState, default=JobState.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    asked_at = models.DateTimeField()
    heard_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    made = models.CharField(max_length=64, blank=True)
    failure = models.TextField(blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ("-asked_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("asked_by", "kind", "key"),
                condition=Q(state__in=("waiting", "working")),
                name="the_same_job_is_asked_for_once_at_a_time",
            ),
            models.CheckConstraint(
                condition=Q(state__in=("waiting", "working"), ended_at=None)
                | Q(state__in=("done", "failed"), ended_at__gte=F("asked_at")),
                name="a_job_that_is_over_says_when",
            ),
            models.CheckConstraint(
                condition=Q(state="failed") & ~Q(failure="") | ~Q(state="failed") & Q(failure=""),
                name="a_job_that_failed_says_why",
            ),
            models.CheckConstraint(condition=Q(done__lte=F("total")), name="a_job_does_no_more_than_all"),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
