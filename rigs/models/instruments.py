"""Instruments, what their makers promise, and what laboratories found."""

import uuid
from datetime import date
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Case, Exists, F, OuterRef, Q, Subquery, When

from rigs.models.holds import Hold

if TYPE_CHECKING:
    from academy.models import Person


class InstrumentKind(models.TextChoices):
    MULTIMETER = "multimeter", "Multimeter"
    MANOMETER = "manometer", "Manometer"
    VOLTAGE_INDICATOR = "voltage-indicator", "Voltage indicator"
    THERMOMETER = "thermometer", "Thermometer"
    STOPWATCH = "stopwatch", "Stopwatch"
    GAS_METER = "gas-meter", "Gas meter"


# A two-pole indicator is proved before and after each use, a stopwatch and an appliance’s own meter have no
# certificate of ours (common practice, no source).
CALIBRATED_KINDS = frozenset(
    {InstrumentKind.MULTIMETER, InstrumentKind.MANOMETER, InstrumentKind.THERMOMETER}
)


class InstrumentModel(models.Model):
    """A maker's type with its specification. Never edited once used: a new revision is a new row."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="instrument_models")
    kind = models.CharField(max_length=20, choices=InstrumentKind)
    name = models.CharField(max_length=120)

    class Meta:
        ordering = ("kind", "name")
        constraints = (
            models.UniqueConstraint(
                fields=("centre", "name"), name="one_instrument_model_per_name_and_centre"
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def is_calibrated(self) -> bool:
        return self.kind in CALIBRATED_KINDS


class SpecRange(models.Model):
    """One range of a specification: ±(percent of reading + percent of full scale + counts), in ``unit``."""

    model = models.ForeignKey(InstrumentModel, on_delete=models.CASCADE, related_name="ranges")
    quantity = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    full_scale = models.FloatField()
    resolution = models.FloatField()
    percent_reading = models.FloatField(default=0)
    percent_full_scale = models.FloatField(default=0)
    counts = models.FloatField(default=0)
    continuity_threshold = models.FloatField(null=True, blank=True, help_text="Ω at which the tone starts")

    class Meta:
        ordering = ("model", "quantity", "full_scale")
        constraints = (
            models.UniqueConstraint(
                fields=("model", "quantity", "full_scale", "unit"), name="one_spec_range_per_full_scale"
            ),
            models.CheckConstraint(
                condition=Q(full_scale__gt=0, resolution__gt=0, percent_reading__gte=0)
                & Q(percent_full_scale__gte=0, counts__gte=0),
                name="a_spec_range_has_a_scale_and_a_resolution",
            ),
        )

    def __str__(self) -> str:
        return f"{self.full_scale:g} {self.unit}"


class InstrumentQuerySet(models.QuerySet["Instrument"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def in_use(self) -> Self:
        return self.filter(retired_at=None)

    def with_state(self) -> Self:
        """Annotate ``held`` and ``due_on`` (the date of the latest certificate's next calibration)."""
        newest = Calibration.objects.filter(instrument=OuterRef("pk")).values("due_on")[:1]
        return self.annotate(
            held=Exists(Hold.objects.open().filter(instrument=OuterRef("pk"))), due_on=Subquery(newest)
        )

    def by_due_date(self) -> Self:
        """Put first what needs a certificate soonest. Needs ``with_state``.

        What isn't calibrated comes after what is, what is retired last.
        """
        not_calibrated = Case(When(model__kind__in=CALIBRATED_KINDS, then=0), default=1)
        return self.order_by(
            F("retired_at").asc(nulls_first=True), not_calibrated, F("due_on").asc(nulls_first=True), "tag"
        )

    def references(self) -> Self:
        """Those that baselines and checks are read with."""
        return self.filter(is_reference=True)

    def bench(self) -> Self:
        """Those in candidates' hands."""
        return self.filter(is_reference=False)


class Instrument(models.Model):
    """One instrument with its asset tag. A reference instrument is kept out of candidates' hands."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="instruments")
    model = models.ForeignKey(InstrumentModel, on_delete=models.PROTECT, related_name="instruments")
    tag = models.CharField(max_length=20)
    serial = models.CharField(max_length=60, blank=True)
    is_reference = models.BooleanField(default=False)
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_why = models.TextField(blank=True)

    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ("tag",)
        constraints = (
            models.UniqueConstraint(fields=("centre", "tag"), name="one_instrument_per_tag_and_centre"),
        )

    def __str__(self) -> str:
        return self.tag


class CalibrationQuerySet(models.QuerySet["Calibration"]):
    def in_force(self, *, on: date) -> Self:
        """Those whose interval covers a day, the latest first."""
        return self.filter(calibrated_on__lte=on, due_on__gte=on).order_by("-calibrated_on", "-recorded_at")


class Calibration(models.Model):
    """A certificate: what the laboratory found, what it left, and when the next one is due.

    ``late_note`` says why one came on record after a later one.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="calibrations")
    certificate = models.CharField(max_length=60)
    laboratory = models.CharField(max_length=120)
    calibrated_on = models.DateField()
    due_on = models.DateField()
    as_found_in_tolerance = models.BooleanField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    late_note = models.TextField(blank=True)

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ("-calibrated_on", "-recorded_at")
        constraints = (
            models.UniqueConstraint(
                fields=("instrument", "certificate"), name="one_calibration_per_certificate"
            ),
            models.CheckConstraint(
                condition=Q(due_on__gt=F("calibrated_on")), name="a_calibration_is_due_after_it_was_made"
            ),
        )

    def __str__(self) -> str:
        return self.certificate


class CalibrationPoint(models.Model):
    """One point of a certificate, errors and expanded uncertainty in ``unit``."""

    calibration = models.ForeignKey(Calibration, on_delete=models.CASCADE, related_name="points")
    quantity = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    nominal = models.FloatField()
    as_found_error = models.FloatField(null=True, blank=True)
    as_left_error = models.FloatField()
    expanded_u = models.FloatField()
    coverage_factor = models.FloatField(default=2)

    class Meta:
        ordering = ("calibration", "quantity", "nominal")
        constraints = (
            models.UniqueConstraint(
                fields=("calibration", "quantity", "nominal"), name="one_calibration_point_per_nominal"
            ),
            models.CheckConstraint(
                condition=Q(expanded_u__gt=0, coverage_factor__gt=0), name="a_point_states_its_uncertainty"
            ),
        )

    def __str__(self) -> str:
        return f"{self.nominal:g} {self.unit}"
