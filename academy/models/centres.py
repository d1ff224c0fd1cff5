"""A centre, with the values that are its own."""

import uuid
from datetime import date, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import F, Q


def _percent(default: str) -> "models.DecimalField[Decimal, Decimal]":
    return models.DecimalField(max_digits=5, decimal_places=2, default=Decimal(default))


class Centre(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64)
    tolerance_percent = _percent("10")
    watch_percent = _percent("6")
    hold_percent = _percent("10")
    # The least that running Δp may be of the make point: centre value, common practice, no source.
    least_margin = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("1.10"))
    floor_percent = _percent("0")
    baseline_months = models.PositiveSmallIntegerField(default=12)
    # What is pointed out to an assessor as hardly plausible: centre values, common practice, no source.
    hands_seconds = models.PositiveSmallIntegerField(default=4)
    hurried_percent = _percent("25")
    photo_slack_minutes = models.PositiveSmallIntegerField(default=10)
    coincidence = models.FloatField(default=0.001)
    afternoon_from = models.TimeField(default=time(13))
    evening_from = models.TimeField(default=time(17, 30))
    # Days after a decision to appeal in, and for an answer at each stage: common practice, no source.
    appeal_within_days = models.PositiveSmallIntegerField(default=20)
    appeal_informal_days = models.PositiveSmallIntegerField(default=5)  # working days
    appeal_written_days = models.PositiveSmallIntegerField(default=20)
    # How long a provisional decision may wait for its countersignature: common practice, no source.
    countersign_days = models.PositiveSmallIntegerField(default=5)
    # How an assessor's decisions are looked after: common practice, no source.
    decide_days = models.PositiveSmallIntegerField(default=2)  # after handing in; later is pointed out
    hasty_seconds = models.PositiveSmallIntegerField(default=60)  # decided in less is pointed out
    same_words_times = models.PositiveSmallIntegerField(default=5)  # the same feedback so often in a day
    sitting_minutes = models.PositiveSmallIntegerField(default=30)  # without a decision: password again

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="centre_tolerance_is_above_zero", condition=Q(tolerance_percent__gt=0)
            ),
            models.CheckConstraint(
                name="centre_watches_before_it_holds",
                condition=Q(watch_percent__gt=0, watch_percent__lte=F("hold_percent")),
            ),
            models.CheckConstraint(
                name="centre_margin_is_of_the_make_point",
                condition=Q(least_margin__gte=1, least_margin__lt=10),
            ),
            models.CheckConstraint(name="centre_floor_is_not_negative", condition=Q(floor_percent__gte=0)),
            models.CheckConstraint(
                name="centre_hurried_share_is_at_most_the_whole", condition=Q(hurried_percent__range=(0, 100))
            ),
            models.CheckConstraint(
                name="centre_coincidence_is_a_probability", condition=Q(coincidence__range=(0, 1))
            ),
            models.CheckConstraint(name="centre_baselines_run_out", condition=Q(baseline_months__gte=1)),
            models.CheckConstraint(
                name="centre_same_words_are_given_more_than_once", condition=Q(same_words_times__gte=2)
            ),
            models.CheckConstraint(name="centre_sitting_lasts", condition=Q(sitting_minutes__gte=1)),
            models.CheckConstraint(
                name="centre_afternoon_is_before_evening", condition=Q(afternoon_from__lt=F("evening_from"))
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def date_at(self, at: datetime) -> date:
        """Return the date on the centre's own calendar at that moment."""
        return at.astimezone(self.zone).date()
