"""What takes an attempt out of its straight way: given back for one more reading, or void."""

import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt


class AttemptReturnQuerySet(models.QuerySet["AttemptReturn"]):
    def open(self) -> Self:
        """Those whose attempt wasn't handed in again yet."""
        return self.filter(done_at=None)


class AttemptReturn(models.Model):
    """An attempt given back by an assessor, who had looked at ``outcome``, to read ``steps`` once more.

    ``words`` are for the candidate. ``handed_in_at`` is when it was handed in before, ``done_at`` when again.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="returns")
    outcome = models.ForeignKey("assessments.Outcome", on_delete=models.PROTECT, related_name="+")
    steps = models.ManyToManyField("assessments.Step", related_name="+")
    words = models.TextField()
    returned_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    handed_in_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True, blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = AttemptReturnQuerySet.as_manager()

    class Meta:
        ordering = ("at",)
        constraints = (
            models.UniqueConstraint(
                fields=("attempt",), condition=Q(done_at=None), name="an_attempt_is_returned_once_at_a_time"
            ),
            models.CheckConstraint(condition=~Q(words=""), name="a_return_has_words_for_the_candidate"),
            models.CheckConstraint(
                condition=Q(at__gte=F("handed_in_at")) & (Q(done_at=None) | Q(done_at__gte=F("at"))),
                name="a_return_comes_after_handing_in_and_before_the_next",
            ),
        )

    def __str__(self) -> str:
        return f"return of {self.attempt}"


class VoidCause(models.TextChoices):
    RIG = "rig", "The rig was at fault"
    INSTRUMENT = "instrument", "An instrument was at fault"
    EMERGENCY = "emergency", "An emergency"
    OTHER = "other", "Something else"


class AttemptVoid(models.Model):
    """Why an attempt doesn't count. ``reason`` is for staff, ``words`` for the candidate.

    ``was`` is its status before, ``hold`` what was taken out of use with it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.OneToOneField("assessments.Attempt", on_delete=models.PROTECT, related_name="void")
    cause = models.CharField(max_length=12, choices=VoidCause)
    reason = models.TextField()
    words = models.TextField()
    was = models.CharField(max_length=12)
    hold = models.ForeignKey(
        "rigs.Hold", null=True, blank=True, on_delete=models.PROTECT, related_name="voided_attempts"
    )
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("at",)
        constraints = (
            models.CheckConstraint(
                condition=~Q(reason="") & ~Q(words=""), name="a_void_attempt_says_why_and_tells_the_candidate"
            ),
        )

    def __str__(self) -> str:
        return f"{self.attempt}: void"
