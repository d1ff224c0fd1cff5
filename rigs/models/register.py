"""The rigs that a centre owns."""

import uuid
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Subquery

from rigs.models.baselines import Baseline
from rigs.models.checks import Check, Session
from rigs.models.designs import Measurand
from rigs.models.holds import FaultSetting, Hold

if TYPE_CHECKING:
    from academy.models import Person


class RigQuerySet(models.QuerySet["Rig"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def lock(self, rig: "Rig") -> None:
        """Make others wait who start on this rig, check it or set a fault, until this transaction ends."""
        self.select_for_update().get(pk=rig.pk)

    def in_use(self) -> Self:
        return self.filter(retired_at=None)

    def with_state(self) -> Self:
        """Annotate ``held`` and ``fault_set``, for lists, without a query a row."""
        return self.annotate(
            held=Exists(Hold.objects.open().filter(rig=OuterRef("pk"))),
            fault_set=Exists(FaultSetting.objects.open().filter(rig=OuterRef("pk"))),
        )

    def with_board(self, *, session: Session | None) -> Self:
        """Annotate what the rig board says of each, those in use first.

        ``held``; ``is_characterised`` if its design says by what; ``baseline_number`` of the one in force and
        the status of an ``unfinished`` one; of the latest check its ``check_verdict`` and ``checked_at``;
        ``checked_now`` if in this session, against the baseline in force.
        """
        baselines = Baseline.objects.filter(rig=OuterRef("pk"))
        checks = Check.objects.filter(rig=OuterRef("pk"))
        return self.annotate(
            held=Exists(Hold.objects.open().filter(rig=OuterRef("pk"))),
            baseline_in_force=Subquery(baselines.approved().values("pk")[:1]),
            baseline_number=Subquery(baselines.approved().values("number")[:1]),
            unfinished=Subquery(baselines.unfinished().values("status")[:1]),
            check_verdict=Subquery(checks.values("verdict")[:1]),
            checked_at=Subquery(checks.values("made_at")[:1]),
            is_characterised=Exists(Measurand.objects.filter(design=OuterRef("design"))),
            checked_now=Exists(checks.filter(session=session, baseline=OuterRef("baseline_in_force"))),
        ).order_by(F("retired_at").asc(nulls_first=True), "tag")


class Rig(models.Model):
    """One physical training board, known at the bench by its tag."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="rigs")
    design = models.ForeignKey("rigs.RigDesign", on_delete=models.PROTECT, related_name="rigs")
    tag = models.CharField(max_length=20)
    place = models.CharField(max_length=80, blank=True)
    electrical_inspection_due = models.DateField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_why = models.TextField(blank=True)

    objects = RigQuerySet.as_manager()

    class Meta:
        ordering = ("tag",)
        constraints = (models.UniqueConstraint(fields=("centre", "tag"), name="one_rig_per_tag_and_centre"),)

    def __str__(self) -> str:
        return self.tag
