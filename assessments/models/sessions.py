"""Who works at which rig in which slot of a session, and what was changed about it."""

import uuid
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt
from assessments.models.attempts import Purpose
from assessments.rotation.timing import Timing
from rigs.models.checks import Half

if TYPE_CHECKING:
    from academy.models import Person


class SessionPlanQuerySet(models.QuerySet["SessionPlan"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)


class SessionPlan(models.Model):
    """The rotation of one half-day: ``minutes`` at the rigs from ``starts_at``, in slots with change-over.

    ``alone`` are tasks for which an assessor stays with the one candidate; ``per_assessor`` candidates at the
    most share one in all others. It may be made before the half-day's session is opened.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="session_plans")
    on = models.DateField()
    half = models.CharField(max_length=10, choices=Half)
    purpose = models.CharField(max_length=12, choices=Purpose)
    starts_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField()
    slots = models.PositiveSmallIntegerField()
    change_over = models.PositiveSmallIntegerField()
    per_assessor = models.PositiveSmallIntegerField()
    assessors = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="+")
    tasks = models.ManyToManyField("assessments.Task", related_name="+")
    alone = models.ManyToManyField("assessments.Task", related_name="+", blank=True)

    objects = SessionPlanQuerySet.as_manager()

    class Meta:
        ordering = ("-on", "-starts_at")
        constraints = (
            models.UniqueConstraint(fields=("centre", "on", "half"), name="one_plan_per_half_day"),
            models.CheckConstraint(
                condition=Q(slots__gte=1, per_assessor__gte=1, minutes__gte=1),
                name="a_plan_has_slots_and_somebody_to_see_them",
            ),
        )

    def __str__(self) -> str:
        return f"rotation of {self.on:%d %B %Y}, {self.half}"

    @property
    def timing(self) -> Timing:
        return Timing(minutes=self.minutes, slots=self.slots, change_over=self.change_over)

    def begins(self, slot: int) -> datetime:
        return self.starts_at + timedelta(minutes=self.timing.minute_of(slot))

    def slot_at(self, at: datetime) -> int:
        """The slot that a moment falls in: 0 before the first, one more than there are after the last."""
        minutes = int((at - self.starts_at).total_seconds() // 60)
        if minutes < 0:
            return 0
        return min(minutes // self.timing.slot_minutes, self.slots) + 1


class PlanRig(models.Model):
    """A rig of a plan; out of use ``out_from`` a slot on."""

    plan = models.ForeignKey(SessionPlan, on_delete=models.PROTECT, related_name="rigs")
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="+")
    out_from = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("plan", "rig__tag")
        constraints = (models.UniqueConstraint(fields=("plan", "rig"), name="a_rig_is_planned_once"),)

    def __str__(self) -> str:
        return f"{self.rig} in {self.plan}"


class PlanMember(models.Model):
    """A candidate of a plan, absent from a slot on. Those of one ``team`` go round together."""

    plan = models.ForeignKey(SessionPlan, on_delete=models.PROTECT, related_name="members")
    candidate = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    team = models.PositiveSmallIntegerField()
    absent_from = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("plan", "team", "candidate__name")
        constraints = (
            models.UniqueConstraint(fields=("plan", "candidate"), name="a_candidate_is_planned_once"),
        )

    def __str__(self) -> str:
        return f"{self.candidate} in {self.plan}"


class ChangeKind(models.TextChoices):
    MADE = "made", "Made"
    REPLANNED = "replanned", "Made again"
    SWAPPED = "swapped", "Two changed places"


class PlanChange(models.Model):
    """What made a plan as it is: planned, planned again from a slot on, or two who changed places."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    plan = models.ForeignKey(SessionPlan, on_delete=models.PROTECT, related_name="changes")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=ChangeKind)
    from_slot = models.PositiveSmallIntegerField()
    reason = models.TextField(blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("plan", "number")
        constraints = (
            models.UniqueConstraint(fields=("plan", "number"), name="one_plan_change_per_number"),
            models.CheckConstraint(
                condition=Q(kind="swapped") | Q(kind="made") | ~Q(reason=""),
                name="a_plan_made_again_says_why",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.plan}"


class PlannedSlotQuerySet(models.QuerySet["PlannedSlot"]):
    def standing(self) -> Self:
        """Those that no later change has taken back."""
        return self.filter(until=None)


class PlannedSlot(models.Model):
    """One candidate at one rig in one slot. A task of several slots has a row for each, from ``begins``."""

    plan = models.ForeignKey(SessionPlan, on_delete=models.PROTECT, related_name="planned")
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="planned_slots"
    )
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="+")
    version = models.ForeignKey("assessments.TaskVersion", on_delete=models.PROTECT, related_name="+")
    slot = models.PositiveSmallIntegerField()
    begins = models.PositiveSmallIntegerField()
    since = models.ForeignKey(PlanChange, on_delete=models.PROTECT, related_name="added")
    until = models.ForeignKey(
        PlanChange, null=True, blank=True, on_delete=models.PROTECT, related_name="removed"
    )

    objects = PlannedSlotQuerySet.as_manager()

    class Meta:
        ordering = ("plan", "slot", "rig__tag", "candidate__name")
        constraints = (
            models.UniqueConstraint(
                fields=("plan", "candidate", "slot"),
                condition=Q(until=None),
                name="nobody_is_planned_at_two_places",
            ),
            models.CheckConstraint(
                condition=Q(begins__gte=1, begins__lte=F("slot")), name="a_planned_slot_follows_its_first"
            ),
        )

    def __str__(self) -> str:
        return f"{self.candidate} on {self.rig}, slot {self.slot}"
