"""Practice on a virtual rig. Never an attempt, so that it can't become evidence of anything."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

if TYPE_CHECKING:
    from academy.models import Person


class Draw(models.TextChoices):
    """Which faults one is drawn from. Without one, the virtual rig is healthy."""

    NOTHING = "nothing", "Nothing: a healthy rig"
    ANY = "any", "Anything, or nothing at all"
    ELECTRICAL = "electrical", "Something electrical"
    PNEUMATIC = "pneumatic", "Something with the air"
    INSTRUMENT = "instrument", "Something with an instrument"


class VirtualPracticeQuerySet(models.QuerySet["VirtualPractice"]):
    def of(self, person: "Person") -> Self:
        """A person's own: nobody else's are shown to anybody."""
        return self.filter(candidate=person)


class VirtualPractice(models.Model):
    """One person doing one task version on a rig of its own that exists nowhere.

    ``drawn`` is that rig, as `assessments.virtual_rigs.VirtualBench` writes it; ``seed`` gives its noise.
    ``fault`` is hidden until a diagnosis is stated or the search is given up.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="virtual_practices"
    )
    version = models.ForeignKey(
        "assessments.TaskVersion", on_delete=models.PROTECT, related_name="virtual_practices"
    )
    seed = models.BigIntegerField()
    drawn = models.JSONField()
    draw = models.CharField(max_length=12, choices=Draw, default=Draw.NOTHING)
    fault = models.ForeignKey(
        "rigs.Fault", null=True, blank=True, on_delete=models.PROTECT, related_name="virtual_practices"
    )
    started_at = models.DateTimeField()
    given_up_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = VirtualPracticeQuerySet.as_manager()

    class Meta:
        ordering = ("-started_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(finished_at=None) | Q(finished_at__gte=F("started_at")),
                name="a_virtual_practice_ends_after_its_start",
            ),
            models.CheckConstraint(
                condition=Q(fault=None) | ~Q(draw="nothing"),
                name="a_healthy_virtual_rig_has_no_fault",
            ),
        )
        indexes = (models.Index(fields=("candidate", "-started_at"), name="virtual_practices_of_a_person"),)

    def __str__(self) -> str:
        return f"{self.version.task} on a virtual rig"

    @property
    def is_open(self) -> bool:
        return self.finished_at is None


class VirtualEntryQuerySet(models.QuerySet["VirtualEntry"]):
    def in_order(self) -> Self:
        return self.order_by("sequence")


class VirtualEntry(models.Model):
    """Something logged on a virtual rig. Entries are only added: the last one of a step is what counts.

    ``shown`` is what the display showed, ``text`` what was written down. A measurement of the person's own
    choice names its test point and condition.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    practice = models.ForeignKey(VirtualPractice, on_delete=models.CASCADE, related_name="entries")
    step = models.ForeignKey("assessments.Step", on_delete=models.PROTECT, related_name="+")
    sequence = models.PositiveIntegerField()
    at = models.DateTimeField()
    test_point = models.ForeignKey(
        "rigs.TestPoint", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    condition = models.ForeignKey(
        "rigs.Condition", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    shown = models.CharField(max_length=40, blank=True)
    text = models.CharField(max_length=60, blank=True)
    unit = models.CharField(max_length=12, blank=True)
    qualifier = models.CharField(max_length=16, blank=True)
    si_value = models.FloatField(null=True, blank=True)
    si_resolution = models.FloatField(null=True, blank=True)
    answer = models.CharField(max_length=60, blank=True)
    note = models.TextField(blank=True)

    objects = VirtualEntryQuerySet.as_manager()

    class Meta:
        ordering = ("practice", "sequence")
        verbose_name_plural = "virtual entries"
        constraints = (
            models.UniqueConstraint(fields=("practice", "sequence"), name="one_virtual_entry_per_sequence"),
            models.CheckConstraint(
                condition=Q(test_point=None, condition=None)
                | Q(test_point__isnull=False, condition__isnull=False),
                name="a_virtual_entry_names_point_and_condition_or_neither",
            ),
            models.CheckConstraint(
                condition=Q(qualifier="value", si_value__isnull=False)
                | ~Q(qualifier="value") & Q(si_value=None),
                name="a_virtual_entry_has_a_value_or_says_why_not",
            ),
        )

    def __str__(self) -> str:
        return f"{self.step}: {self.text or self.answer or 'done'}"

    @property
    def says(self) -> tuple[object, ...]:
        """What was logged, apart from when: the same id with something else is another entry."""
        return self.step_id, self.text, self.unit, self.answer, self.note

    @property
    def is_reading(self) -> bool:
        return bool(self.qualifier)
