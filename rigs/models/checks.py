"""Sessions, the checks that open them, and what a rig reads today."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models

from rigs.models.baselines import Baseline, ReferenceReading
from rigs.models.rooms import RoomConditions

if TYPE_CHECKING:
    from academy.models import Person


class Half(models.TextChoices):
    MORNING = "morning", "morning"
    AFTERNOON = "afternoon", "afternoon"
    EVENING = "evening", "evening"


class Session(RoomConditions):
    """A half-day on the bench. A check is good for one session."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="sessions")
    on = models.DateField()
    half = models.CharField(max_length=10, choices=Half)
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    class Meta(RoomConditions.Meta):
        abstract = False
        ordering = ("-on", "-opened_at")
        constraints = (
            *RoomConditions.Meta.constraints,
            models.UniqueConstraint(fields=("centre", "on", "half"), name="one_session_per_half_day"),
        )

    def __str__(self) -> str:
        return f"{self.on:%d %B %Y}, {self.half}"


class CheckVerdict(models.TextChoices):
    STEADY = "steady", "Steady"
    WATCH = "watch", "Watch"
    HOLD = "hold", "Hold proposed"


class CheckQuerySet(models.QuerySet["Check"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(rig__centre=person.centre_id)


class Check(models.Model):
    """Readings before a session that prove whether the rig still agrees with its baseline.

    ``reasons`` for its verdict have numbers in them; ``words`` say the same without, for pages that don't
    count as having seen what the rig reads.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="checks")
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="checks")
    baseline = models.ForeignKey(Baseline, on_delete=models.PROTECT, related_name="checks")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    verdict = models.CharField(max_length=8, choices=CheckVerdict)
    reasons = models.JSONField(default=list)
    words = models.JSONField(default=list)

    objects = CheckQuerySet.as_manager()

    class Meta:
        ordering = ("-made_at",)
        indexes = (models.Index(fields=("rig", "-made_at"), name="checks_of_a_rig_in_time"),)

    def __str__(self) -> str:
        return f"check of {self.rig}, {self.session}"


class CheckReading(ReferenceReading):
    rig_check = models.ForeignKey(Check, on_delete=models.CASCADE, related_name="readings")

    class Meta:
        ordering = ("rig_check", "repeat", "measurand")
        constraints = (
            models.UniqueConstraint(
                fields=("rig_check", "measurand", "repeat"), name="one_check_reading_per_measurand_and_repeat"
            ),
        )


class ValueSheet(models.Model):
    """A rig's present values as they stood at one moment. Attempts are pinned to it; it never changes."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="value_sheets")
    baseline = models.ForeignKey(Baseline, on_delete=models.PROTECT, related_name="value_sheets")
    rig_check = models.OneToOneField(
        Check, null=True, blank=True, on_delete=models.PROTECT, related_name="value_sheet"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ("-made_at",)
        indexes = (models.Index(fields=("rig", "-made_at"), name="value_sheets_of_a_rig"),)

    def __str__(self) -> str:
        return f"values of {self.rig} at {self.made_at:%Y-%m-%d %H:%M}"


class AirSource(models.TextChoices):
    AS_READ = "", "as read"
    ROOM = "room", "the session’s room"
    USUAL = "usual", "the usual air: this session’s room isn’t known"


class SheetValue(models.Model):
    """The present value of one measurand (SI), its uncertainty kept in parts.

    ``other_u`` leaves out the repeat noise; that is ``repeat_share`` × ``repeat_sd``². An empty number of
    degrees of freedom means infinitely many. A state has only its ``state``.

    What follows the air's density is carried in reference air from day to day and put back here to
    ``air_density`` (kg/m³, relative standard uncertainty ``air_u``, which is part of ``other_u`` unless the
    check saw that air). Empty where values are as read.
    """

    sheet = models.ForeignKey(ValueSheet, on_delete=models.CASCADE, related_name="values")
    measurand = models.ForeignKey("rigs.Measurand", on_delete=models.PROTECT, related_name="+")
    repeats = models.PositiveSmallIntegerField()
    value = models.FloatField(null=True, blank=True)
    other_u = models.FloatField(null=True, blank=True)
    other_dof = models.FloatField(null=True, blank=True)
    repeat_sd = models.FloatField(null=True, blank=True)
    repeat_dof = models.PositiveSmallIntegerField(null=True, blank=True)
    repeat_share = models.FloatField(null=True, blank=True)
    air_density = models.FloatField(null=True, blank=True)
    air_u = models.FloatField(null=True, blank=True)
    air_source = models.CharField(max_length=8, choices=AirSource, blank=True)
    state = models.CharField(max_length=16, blank=True)

    class Meta:
        ordering = ("sheet", "measurand")
        constraints = (
            models.UniqueConstraint(fields=("sheet", "measurand"), name="one_sheet_value_per_measurand"),
            models.CheckConstraint(
                condition=~models.Q(state="", value=None), name="a_sheet_value_says_something"
            ),
        )

    def __str__(self) -> str:
        return f"{self.measurand}: {self.state or self.value}"
