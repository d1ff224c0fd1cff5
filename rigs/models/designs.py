"""Rig designs: the kinds of rig, as data."""

import uuid

from django.db import models
from django.db.models import Q


class RigDesign(models.Model):
    """A kind of rig: where it can be measured, and in which conditions.

    ``conductors`` is a list of {slug, label}: those that must be proved dead against each other.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="rig_designs")
    slug = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    description = models.TextField(blank=True)
    conductors = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("name",)
        constraints = (
            models.UniqueConstraint(fields=("centre", "slug"), name="one_rig_design_per_slug_and_centre"),
        )

    def __str__(self) -> str:
        return self.name


class TestPoint(models.Model):
    """Somewhere a quantity can be measured, such as the pressure difference across the venturi taps."""

    __test__ = False  # the name is the trade's; pytest is not to collect it

    design = models.ForeignKey(RigDesign, on_delete=models.CASCADE, related_name="test_points")
    slug = models.SlugField(max_length=60)
    label = models.CharField(max_length=120)
    quantity = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("design", "position")
        constraints = (models.UniqueConstraint(fields=("design", "slug"), name="one_test_point_per_slug"),)

    def __str__(self) -> str:
        return self.label


class Condition(models.Model):
    """The state that a rig is put into before something is measured."""

    design = models.ForeignKey(RigDesign, on_delete=models.CASCADE, related_name="conditions")
    slug = models.SlugField(max_length=60)
    label = models.CharField(max_length=120)
    energised = models.BooleanField()
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("design", "position")
        constraints = (models.UniqueConstraint(fields=("design", "slug"), name="one_condition_per_slug"),)

    def __str__(self) -> str:
        return self.label


class MeasurandKind(models.TextChoices):
    LEVEL = "level", "a level that is characterised by repeats"
    STATE = "state", "a state of contacts"


class ContactState(models.TextChoices):
    OPEN = "open", "open"
    CLOSED = "closed", "closed"


class Measurand(models.Model):
    """One test point in one condition: the quantity intended to be measured (JCGM 200, 2.3).

    ``tolerance_percent`` (of the present value; empty means the centre's) and ``tolerance_floor`` (SI)
    say how closely an instrument must be able to see, not how a reading is judged. ``drift_percent``
    (per square root of a week) and ``session_percent`` are the standard deviations of the level's drift
    and of the effect of a session, as a share of the baseline, until a centre sets others
    (`LevelFigures`). ``follows_density`` says that the level is in proportion to the air's density. One that
    isn't ``in_check`` is characterised in the baseline and not read in each check: its present value comes
    from the baseline alone.
    """

    design = models.ForeignKey(RigDesign, on_delete=models.CASCADE, related_name="measurands")
    test_point = models.ForeignKey(TestPoint, on_delete=models.CASCADE, related_name="+")
    condition = models.ForeignKey(Condition, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=8, choices=MeasurandKind)
    tolerance_percent = models.FloatField(null=True, blank=True)
    tolerance_floor = models.FloatField(default=0)
    drift_percent = models.FloatField(default=0)
    session_percent = models.FloatField(default=0)
    follows_density = models.BooleanField(default=False)
    expected_state = models.CharField(max_length=8, choices=ContactState, blank=True)
    closed_limit = models.FloatField(default=1.0, help_text="Ω, after lead resistance")
    open_limit = models.FloatField(default=1e6, help_text="Ω")
    in_check = models.BooleanField(default=True)
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("design", "position")
        constraints = (
            models.UniqueConstraint(
                fields=("test_point", "condition"), name="one_measurand_per_point_and_condition"
            ),
            models.CheckConstraint(
                condition=Q(kind="level", expected_state="")
                | Q(kind="state", expected_state__in=("open", "closed")),
                name="a_state_measurand_names_its_state",
            ),
        )

    def __str__(self) -> str:
        return f"{self.test_point}, {self.condition.label.lower()}"


class Fault(models.Model):
    """A fault of a design. ``conclusion`` is the right conclusion about the switch under this fault."""

    design = models.ForeignKey(RigDesign, on_delete=models.CASCADE, related_name="faults")
    slug = models.SlugField(max_length=60)
    label = models.CharField(max_length=160)
    how_to_set = models.TextField(blank=True)
    conclusion = models.SlugField(max_length=60)
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("design", "position")
        constraints = (models.UniqueConstraint(fields=("design", "slug"), name="one_fault_per_slug"),)

    def __str__(self) -> str:
        return self.label
