"""When a candidate may try again, and what is adjusted for one."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.models import DatedQuerySet
from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models import Person


class ResitRule(models.Model):
    """What a task asks for before it is assessed again. The centre's own, common practice, no source.

    ``wait_days`` after not yet competent, at least the next day where a safety-critical step was missed
    (``not_same_day``), another rig than last time (``other_rig``), and from ``most_attempts`` on a leave.
    """

    task = models.OneToOneField("assessments.Task", on_delete=models.PROTECT, related_name="resit_rule")
    wait_days = models.PositiveSmallIntegerField(default=0)
    not_same_day = models.BooleanField(default=True)
    other_rig = models.BooleanField(default=False)
    most_attempts = models.PositiveSmallIntegerField(null=True, blank=True)
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ("task__position",)
        constraints = (
            models.CheckConstraint(
                condition=Q(most_attempts=None) | Q(most_attempts__gte=1),
                name="a_resit_rule_allows_one_attempt",
            ),
        )

    def __str__(self) -> str:
        return f"resits of {self.task}"


class ResitLeaveQuerySet(models.QuerySet["ResitLeave"]):
    def unused(self) -> Self:
        return self.filter(used_by=None)


class ResitLeave(models.Model):
    """Leave for one more attempt than the rule of a task allows, or before it does. ``reason`` is kept."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="resit_leaves"
    )
    task = models.ForeignKey("assessments.Task", on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    used_by = models.OneToOneField(
        "assessments.Attempt", null=True, blank=True, on_delete=models.PROTECT, related_name="resit_leave"
    )
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = ResitLeaveQuerySet.as_manager()

    class Meta:
        ordering = ("at",)
        constraints = (
            models.UniqueConstraint(
                fields=("candidate", "task"), condition=Q(used_by=None), name="one_unused_leave_per_task"
            ),
            models.CheckConstraint(
                condition=~Q(candidate=F("given_by")), name="nobody_gives_themselves_leave_to_resit"
            ),
        )

    def __str__(self) -> str:
        return f"{self.candidate}: one more attempt at {self.task}"


class AdjustmentQuerySet(DatedQuerySet["Adjustment"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(candidate__centre=person.centre_id)


class Adjustment(models.Model):
    """What is done otherwise for a candidate; never why. The standard stays the same.

    ``extra_percent`` is time on top of the guide minutes, 0 for none.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="adjustments"
    )
    what = models.TextField()
    extra_percent = models.PositiveSmallIntegerField(default=0)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    agreed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    agreed_at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = AdjustmentQuerySet.as_manager()

    class Meta:
        ordering = ("candidate", "starts_on")
        constraints = (
            models.CheckConstraint(condition=~Q(what=""), name="an_adjustment_says_what_to_do"),
            models.CheckConstraint(
                condition=~Q(candidate=F("agreed_by")), name="an_adjustment_is_agreed_by_somebody_else"
            ),
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="an_adjustment_ends_on_or_after_its_start",
            ),
        )

    def __str__(self) -> str:
        return self.what
