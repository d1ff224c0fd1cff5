"""The characterisation of a rig, from which its expected ranges follow."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from rigs.models.rooms import RoomConditions

if TYPE_CHECKING:
    from academy.models import Person


class ReferenceReading(models.Model):
    """What a competent person read with a reference instrument: as typed, and in SI for the engine.

    ``correction`` (SI) is what the certificate in force then says is to be added, ``calibration`` that
    certificate; without one, or outside its points, nothing is added and the specification counts.
    ``instrument_u`` is the instrument's standard uncertainty (SI) either way; empty for a state.
    """

    measurand = models.ForeignKey("rigs.Measurand", on_delete=models.PROTECT, related_name="+")
    instrument = models.ForeignKey("rigs.Instrument", on_delete=models.PROTECT, related_name="+")
    repeat = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=40)
    unit = models.CharField(max_length=12)
    qualifier = models.CharField(max_length=16)
    si_value = models.FloatField(null=True, blank=True)
    si_resolution = models.FloatField(null=True, blank=True)
    calibration = models.ForeignKey(
        "rigs.Calibration", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    correction = models.FloatField(default=0)
    instrument_u = models.FloatField(null=True, blank=True)
    taken_at = models.DateTimeField()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.text} {self.unit}, run {self.repeat}"

    @property
    def corrected(self) -> float:
        """In SI, the certificate's error taken off. For levels, which are always numbers."""
        assert self.si_value is not None
        return self.si_value + self.correction


class BaselineStatus(models.TextChoices):
    OPEN = "open", "Being recorded"
    WAITING = "waiting", "Waiting for a second person"
    APPROVED = "approved", "Approved"
    REJECTED = "rejected", "Sent back"


class BaselineQuerySet(models.QuerySet["Baseline"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(rig__centre=person.centre_id)

    def unfinished(self) -> Self:
        return self.filter(status__in=(BaselineStatus.OPEN, BaselineStatus.WAITING))

    def approved(self) -> Self:
        """Approved ones, the newest first: the first is the one in force."""
        return self.filter(status=BaselineStatus.APPROVED).order_by("-number")


class Baseline(models.Model):
    """Repeats on one rig, and a second person's approval. A new number never touches the old one."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="baselines")
    number = models.PositiveIntegerField()
    status = models.CharField(max_length=10, choices=BaselineStatus, default=BaselineStatus.OPEN)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decision_note = models.TextField(blank=True)

    objects = BaselineQuerySet.as_manager()

    class Meta:
        ordering = ("rig", "-number")
        constraints = (
            models.UniqueConstraint(fields=("rig", "number"), name="one_baseline_per_number_and_rig"),
            models.UniqueConstraint(
                fields=("rig",),
                condition=Q(status__in=("open", "waiting")),
                name="one_unfinished_baseline_per_rig",
            ),
            models.CheckConstraint(
                condition=Q(decided_by=None) | ~Q(decided_by=F("made_by")),
                name="a_baseline_is_decided_by_a_second_person",
            ),
            models.CheckConstraint(
                condition=Q(status__in=("open", "waiting"))
                | Q(decided_by__isnull=False, decided_at__isnull=False),
                name="a_decided_baseline_names_who",
            ),
        )

    def __str__(self) -> str:
        return f"baseline {self.number} of {self.rig}"

    @property
    def is_decided(self) -> bool:
        return self.decided_at is not None


class Outlier(models.TextChoices):
    KEPT = "kept", "Kept"
    LEFT_OUT = "left-out", "Left out"


class BaselineReading(ReferenceReading):
    """One of a baseline's. A second person says, with a reason, what becomes of one that the screen flags."""

    baseline = models.ForeignKey(Baseline, on_delete=models.CASCADE, related_name="readings")
    outlier = models.CharField(max_length=8, choices=Outlier, blank=True)
    outlier_reason = models.TextField(blank=True)
    outlier_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("baseline", "repeat", "measurand")
        constraints = (
            models.CheckConstraint(
                condition=Q(outlier="", outlier_reason="", outlier_by=None)
                | ~Q(outlier="") & ~Q(outlier_reason="") & Q(outlier_by__isnull=False),
                name="an_outlier_that_is_decided_on_says_why_and_by_whom",
            ),
            models.UniqueConstraint(
                fields=("baseline", "measurand", "repeat"),
                name="one_baseline_reading_per_measurand_and_repeat",
            ),
        )


class BaselineRoom(RoomConditions):
    """The room's air at one run of a baseline."""

    baseline = models.ForeignKey(Baseline, on_delete=models.CASCADE, related_name="rooms")
    repeat = models.PositiveSmallIntegerField()

    class Meta(RoomConditions.Meta):
        abstract = False
        ordering = ("baseline", "repeat")
        constraints = (
            *RoomConditions.Meta.constraints,
            models.UniqueConstraint(fields=("baseline", "repeat"), name="one_room_per_baseline_and_run"),
        )

    def __str__(self) -> str:
        return f"room at run {self.repeat}"


class BaselineValue(models.Model):
    """What an approved baseline says of one measurand. SI units; empty numbers for a state.

    With ``air_u`` the figures are those that reference air would have given: it is the relative standard
    uncertainty which the air of those days adds to the mean. Empty: they are as they were read.
    """

    baseline = models.ForeignKey(Baseline, on_delete=models.CASCADE, related_name="values")
    measurand = models.ForeignKey("rigs.Measurand", on_delete=models.PROTECT, related_name="+")
    repeats = models.PositiveSmallIntegerField()
    days = models.PositiveSmallIntegerField()
    mean = models.FloatField(null=True, blank=True)
    repeat_sd = models.FloatField(null=True, blank=True)
    repeat_dof = models.PositiveSmallIntegerField(null=True, blank=True)
    between_sd = models.FloatField(null=True, blank=True)
    reference_u = models.FloatField(null=True, blank=True)
    air_u = models.FloatField(null=True, blank=True)
    flagged = models.JSONField(default=list, help_text="numbers of runs")
    state = models.CharField(max_length=16, blank=True)

    class Meta:
        ordering = ("baseline", "measurand")
        constraints = (
            models.UniqueConstraint(
                fields=("baseline", "measurand"), name="one_baseline_value_per_measurand"
            ),
        )

    def __str__(self) -> str:
        return f"{self.measurand}: {self.state or self.mean}"
