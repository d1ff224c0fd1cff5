"""What takes a rig or an instrument out of use, and the faults that assessors set."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

if TYPE_CHECKING:
    from academy.models import Person


class HoldQuerySet(models.QuerySet["Hold"]):
    def visible_to(self, person: "Person") -> Self:
        mine = person.centre_id
        return self.filter(Q(rig__centre=mine) | Q(instrument__centre=mine))

    def open(self) -> Self:
        return self.filter(released_at=None)


class Hold(models.Model):
    """A rig or an instrument out of use, with a reason, until a named person releases it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    rig = models.ForeignKey("rigs.Rig", null=True, blank=True, on_delete=models.PROTECT, related_name="holds")
    instrument = models.ForeignKey(
        "rigs.Instrument", null=True, blank=True, on_delete=models.PROTECT, related_name="holds"
    )
    reason = models.TextField()
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    released_at = models.DateTimeField(null=True, blank=True)
    release_evidence = models.TextField(blank=True)

    objects = HoldQuerySet.as_manager()

    class Meta:
        ordering = ("-placed_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(rig=None, instrument__isnull=False) | Q(rig__isnull=False, instrument=None),
                name="a_hold_is_on_one_thing",
            ),
            models.UniqueConstraint(
                fields=("rig",), condition=Q(released_at=None), name="one_open_hold_per_rig"
            ),
            models.UniqueConstraint(
                fields=("instrument",), condition=Q(released_at=None), name="one_open_hold_per_instrument"
            ),
            models.CheckConstraint(
                condition=Q(released_at=None, released_by=None)
                | Q(released_at__gte=F("placed_at"), released_by__isnull=False),
                name="a_released_hold_names_who",
            ),
        )

    def __str__(self) -> str:
        return f"hold on {self.rig or self.instrument}"


class FaultSettingQuerySet(models.QuerySet["FaultSetting"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(rig__centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(removed_at=None)


class FaultSetting(models.Model):
    """A fault that an assessor put on a rig, from when to when, and who took it off again.

    ``pattern`` is what the model predicted for this rig when it was set, a row for each condition and test
    point: see `rigs.faults.Foreseen`. ``lookalikes`` are the design's faults, by slug, that the readings of
    its fault-finding tasks can't tell it from on this rig; “none” is a rig with nothing wrong.
    With ``practice_only`` nobody is assessed on the rig while it is set.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="fault_settings")
    fault = models.ForeignKey("rigs.Fault", on_delete=models.PROTECT, related_name="+")
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    practice_only = models.BooleanField(default=False)
    pattern = models.JSONField(default=list, blank=True)
    lookalikes = models.JSONField(default=list, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = FaultSettingQuerySet.as_manager()

    class Meta:
        ordering = ("-set_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("rig",), condition=Q(removed_at=None), name="one_fault_set_on_a_rig_at_a_time"
            ),
            models.CheckConstraint(
                condition=Q(removed_at=None, removed_by=None)
                | Q(removed_at__gte=F("set_at"), removed_by__isnull=False),
                name="a_removed_fault_names_who",
            ),
        )

    def __str__(self) -> str:
        return f"{self.fault} on {self.rig}"
