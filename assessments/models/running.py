"""What happens while a session runs: somebody asks for the assessor, or everything is stopped."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models import Person


class HelpCallQuerySet(models.QuerySet["HelpCall"]):
    def open(self) -> Self:
        return self.filter(ended_at=None)


class HelpCall(models.Model):
    """A candidate asks for the assessor. Ended by an assessor who came, or taken back: then nobody did."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="help_calls")
    step = models.ForeignKey(
        "assessments.Step", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = HelpCallQuerySet.as_manager()

    class Meta:
        ordering = ("asked_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("attempt",),
                condition=Q(ended_at=None),
                name="an_attempt_asks_for_help_once_at_a_time",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, answered_by=None) | Q(ended_at__gte=F("asked_at")),
                name="a_call_is_answered_after_it_was_made",
            ),
        )

    def __str__(self) -> str:
        return f"call for the assessor in {self.attempt}"


class SessionStopQuerySet(models.QuerySet["SessionStop"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def standing(self) -> Self:
        return self.filter(resumed_at=None)


class SessionStop(models.Model):
    """Everything on the bench stopped, from one moment until an assessor lets it go on.

    ``interrupted`` are the attempts that were being worked on. ``reason`` and ``words`` may be about people:
    the ledger has their digests.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="stops")
    session = models.ForeignKey(
        "rigs.Session", null=True, blank=True, on_delete=models.PROTECT, related_name="stops"
    )
    reason = models.TextField()
    stopped_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    stopped_at = models.DateTimeField()
    interrupted = models.ManyToManyField("assessments.Attempt", related_name="stops", blank=True)
    words = models.TextField(blank=True)
    resumed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    resumed_at = models.DateTimeField(null=True, blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = SessionStopQuerySet.as_manager()

    class Meta:
        ordering = ("-stopped_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("centre",), condition=Q(resumed_at=None), name="a_centre_is_stopped_once_at_a_time"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_stop_says_why"),
            models.CheckConstraint(
                condition=Q(resumed_at=None, resumed_by=None, words="")
                | Q(resumed_at__gte=F("stopped_at"), resumed_by__isnull=False) & ~Q(words=""),
                name="a_stop_that_is_over_says_by_whom_and_in_what_words",
            ),
        )

    def __str__(self) -> str:
        return f"stop of {self.stopped_at:%d %B %Y, %H:%M}"
