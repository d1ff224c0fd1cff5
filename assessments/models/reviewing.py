"""What an assessor leaves behind at the review desk: points judged one by one, times, phrases."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from assessments.models.decisions import Strand

if TYPE_CHECKING:
    from academy.models import Person


class Judgement(models.Model):
    """What an assessor decided on one thing that the marking had left to them, and by what.

    It is about a step of one of the strands; where it is about one reading, ``reading`` names it.
    """

    class Of(models.TextChoices):
        PROCEDURE = "procedure", "Procedure"
        READINGS = "readings", "Readings"
        CONCLUSION = "conclusion", "Conclusion"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_off = models.ForeignKey("assessments.SignOff", on_delete=models.PROTECT, related_name="judgements")
    position = models.PositiveSmallIntegerField()
    strand = models.CharField(max_length=10, choices=Of)
    step = models.ForeignKey("assessments.Step", on_delete=models.PROTECT, related_name="+")
    reading = models.ForeignKey(
        "assessments.Reading", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    met = models.BooleanField()
    reason = models.TextField()

    class Meta:
        ordering = ("sign_off", "position")
        constraints = (
            models.UniqueConstraint(
                fields=("sign_off", "position"), name="judgements_of_a_sign_off_are_in_order"
            ),
            models.UniqueConstraint(fields=("sign_off", "reading"), name="a_reading_is_judged_once"),
            models.UniqueConstraint(
                fields=("sign_off", "strand", "step"),
                condition=Q(reading=None),
                name="a_step_is_judged_once_a_sign_off_and_strand",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_judgement_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.step.title}: {self.verdict.label}"

    @property
    def verdict(self) -> Strand:
        return Strand.MET if self.met else Strand.NOT_MET


class Look(models.Model):
    """From when on an assessor had an attempt before them, up to the decision that they came to.

    ``visible_seconds`` is how long the page was in sight, where the browser could tell; idle hours with the
    page shut aren't in it. Without ``sign_off`` nothing is decided yet.
    """

    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="looks")
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    visible_seconds = models.PositiveIntegerField(null=True, blank=True)
    sign_off = models.OneToOneField(
        "assessments.SignOff", null=True, blank=True, on_delete=models.PROTECT, related_name="look"
    )

    class Meta:
        ordering = ("opened_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("attempt", "assessor"), condition=Q(sign_off=None), name="one_open_look_per_assessor"
            ),
        )

    def __str__(self) -> str:
        return f"{self.assessor} at {self.attempt_id}"


class PhraseQuerySet(models.QuerySet["Phrase"]):
    def of(self, assessor: "Person") -> Self:
        return self.filter(assessor=assessor)

    def for_task(self, task: uuid.UUID) -> Self:
        """Those kept for the task, then those for any."""
        return self.filter(Q(task=task) | Q(task=None)).order_by(
            models.F("task").asc(nulls_last=True), "text"
        )


class Phrase(models.Model):
    """A sentence of feedback that an assessor wrote and keeps for themselves, for one task or for any."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="phrases")
    task = models.ForeignKey(
        "assessments.Task", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    text = models.CharField(max_length=500)
    kept_at = models.DateTimeField()

    objects = PhraseQuerySet.as_manager()

    class Meta:
        ordering = ("text",)
        constraints = (
            models.UniqueConstraint(fields=("assessor", "task", "text"), name="a_phrase_is_kept_once_a_task"),
            models.UniqueConstraint(
                fields=("assessor", "text"), condition=Q(task=None), name="a_phrase_for_any_task_is_kept_once"
            ),
            models.CheckConstraint(condition=~Q(text=""), name="a_phrase_has_words"),
        )

    def __str__(self) -> str:
        return self.text
