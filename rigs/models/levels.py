"""How fast the rigs of a design drift and how much a session adds, as set by a centre."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q


class FiguresSource(models.TextChoices):
    ESTIMATED = "estimated", "estimated from checks"
    SET = "set", "set by hand"


class LevelFigures(models.Model):
    """Level drift and session effect of one measurand, in force from ``set_at`` until others are set.

    Standard deviations in percent of the baseline: drift per square root of a week. Degrees of freedom where
    they were estimated; empty is infinitely many. ``rigs`` and ``checks`` are what an estimate rests on.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    measurand = models.ForeignKey("rigs.Measurand", on_delete=models.CASCADE, related_name="level_figures")
    drift_percent = models.FloatField()
    session_percent = models.FloatField()
    drift_dof = models.FloatField(null=True, blank=True)
    session_dof = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=10, choices=FiguresSource)
    rigs = models.PositiveIntegerField(default=0)
    checks = models.PositiveIntegerField(default=0)
    reason = models.TextField(blank=True)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ("measurand", "-set_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(drift_percent__gte=0, session_percent__gte=0),
                name="level_figures_are_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(source="estimated") | ~Q(reason=""), name="figures_set_by_hand_have_a_reason"
            ),
        )

    def __str__(self) -> str:
        return f"{self.measurand}: {self.drift_percent:g} % and {self.session_percent:g} %"
