"""How long what is kept about people is kept, what holds it longer, and what was disposed of."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models.people import Person


class RetentionPeriod(models.Model):
    """A centre's own period for one kind of record, in place of the usual one. ``source`` says whose rule."""

    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="retention_periods")
    kind = models.CharField(max_length=40)
    months = models.PositiveSmallIntegerField()
    source = models.CharField(max_length=200)
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ("centre", "kind")
        constraints = (
            models.UniqueConstraint(fields=("centre", "kind"), name="one_retention_period_per_kind"),
            models.CheckConstraint(
                condition=Q(months__range=(1, 1200)), name="a_retention_period_is_a_month_to_a_century"
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind}: {self.months} months"


class RecordHoldQuerySet(models.QuerySet["RecordHold"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(person__centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(lifted_at=None)


class RecordHold(models.Model):
    """Nothing about this person may be disposed of or erased for now. ``salt`` seals the reason."""

    class Cause(models.TextChoices):
        APPEAL = "appeal", "An appeal or a complaint"
        MALPRACTICE = "malpractice", "Suspected malpractice"
        REVIEW = "review", "A review of results"
        LAW = "law", "Asked for by law or by a funder"
        OTHER = "other", "Something else"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="record_holds"
    )
    cause = models.CharField(max_length=12, choices=Cause)
    reason = models.TextField()
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_why = models.TextField(blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = RecordHoldQuerySet.as_manager()

    class Meta:
        ordering = ("-placed_at", "id")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="a_record_hold_says_why"),
            models.CheckConstraint(
                condition=Q(lifted_at=None, lifted_by=None, lifted_why="")
                | Q(lifted_at__gte=F("placed_at"), lifted_by__isnull=False) & ~Q(lifted_why=""),
                name="a_lifted_record_hold_says_by_whom_and_why",
            ),
            models.CheckConstraint(
                condition=~Q(person=F("placed_by")), name="nobody_holds_their_own_records"
            ),
        )

    def __str__(self) -> str:
        return f"hold since {self.placed_at:%Y-%m-%d}"


class Disposal(models.Model):
    """One batch of one kind that was disposed of. ``before`` is the day up to which it had come.

    ``ledger_number`` is the entry with the ids.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="disposals")
    kind = models.CharField(max_length=40)
    count = models.PositiveIntegerField()
    before = models.DateField()
    months = models.PositiveSmallIntegerField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ledger_number = models.PositiveBigIntegerField()

    class Meta:
        ordering = ("-at", "-ledger_number")
        constraints = (models.CheckConstraint(condition=Q(count__gte=1), name="a_disposal_is_of_something"),)

    def __str__(self) -> str:
        return f"{self.count} {self.kind}, {self.at:%Y-%m-%d}"
