"""Working an attempt without a network: tickets fetched before, and what arrived from devices."""

import uuid
from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from assessments.models.attempts import Purpose, TakenInstrument

if TYPE_CHECKING:
    from academy.models import Person


class TicketQuerySet(models.QuerySet["Ticket"]):
    def of(self, person: "Person") -> Self:
        """A candidate's own."""
        return self.filter(candidate=person)

    def outstanding(self, *, at: datetime) -> Self:
        """Those that an attempt may be at work under: not used, not ended, not run out."""
        return self.filter(attempt=None, ended_at=None, expires_at__gt=at)

    def get_locked(self, *, pk: uuid.UUID) -> "Ticket":
        return (
            self.select_for_update(of=("self",))
            .select_related("rig__centre", "version__task", "candidate", "sheet", "fault")
            .get(pk=pk)
        )


class Ticket(models.Model):
    """Leave to start one attempt without a network, fetched while there was one.

    It pins what an attempt started at that moment would be marked against. ``attempt`` is the one that it was
    used for; ``ended_at`` is when it was given back or withdrawn.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="tickets")
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="tickets")
    version = models.ForeignKey("assessments.TaskVersion", on_delete=models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=12, choices=Purpose)
    session = models.ForeignKey(
        "rigs.Session", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    sheet = models.ForeignKey(
        "rigs.ValueSheet", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fault = models.ForeignKey(
        "rigs.FaultSetting", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    issued_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    attempt = models.OneToOneField(
        "assessments.Attempt", null=True, blank=True, on_delete=models.PROTECT, related_name="ticket"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = TicketQuerySet.as_manager()

    class Meta:
        ordering = ("issued_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(purpose="practice") | Q(session__isnull=False),
                name="a_ticket_for_assessment_belongs_to_a_session",
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("issued_at")), name="a_ticket_runs_out_after_its_issue"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None)
                | Q(ended_at__isnull=False, ended_by__isnull=False, attempt=None),
                name="a_ticket_is_ended_by_somebody_or_used",
            ),
        )
        indexes = (models.Index(fields=("rig", "expires_at"), name="tickets_for_a_rig"),)

    def __str__(self) -> str:
        return f"ticket for {self.version.task} on {self.rig}"


class TicketInstrument(TakenInstrument):
    """One that is named on a ticket, pinned when it was issued."""

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="instruments")

    class Meta:
        ordering = ("ticket", "kind")
        constraints = (
            models.UniqueConstraint(fields=("ticket", "kind"), name="one_instrument_per_kind_on_a_ticket"),
        )


class Arrival(models.Model):
    """An entry that came from a device's queue, once. ``id`` is the entry's own.

    ``skew`` is how many seconds the device's clock was behind the site's when it was sent; ``digest`` is of
    what it said, sealed under its attempt's salt.
    """

    id = models.UUIDField(primary_key=True, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="arrivals")
    device = models.UUIDField()
    kind = models.CharField(max_length=10)
    sequence = models.PositiveIntegerField()
    device_at = models.DateTimeField()
    skew = models.FloatField()
    digest = models.CharField(max_length=64)
    received_at = models.DateTimeField()

    class Meta:
        ordering = ("received_at", "sequence")

    def __str__(self) -> str:
        return f"{self.kind} {self.sequence} from {self.device}"
