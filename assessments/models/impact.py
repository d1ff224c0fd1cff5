"""Impact reviews: what an instrument out of tolerance, or a drifted rig, did to results recorded with it."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt
from assessments.models.decisions import Proposal, Strand
from assessments.models.suspensions import Suspension

if TYPE_CHECKING:
    from academy.models import Person


class Trigger(models.TextChoices):
    CERTIFICATE = "certificate", "A certificate out of tolerance as found"
    HOLD = "hold", "A rig put on hold"
    HAND = "hand", "By hand"


class EvidenceKind(models.TextChoices):
    """What shows that all was well at the beginning of the time in doubt."""

    CERTIFICATE = "certificate", "Certificate"
    CHECK = "check", "Check of the rig"
    BASELINE = "baseline", "Baseline"
    TOLD = "told", "Cross-check or other evidence"


class ImpactReviewQuerySet(models.QuerySet["ImpactReview"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(closed_at=None)


class ImpactReview(models.Model):
    """One finding about an instrument or a rig, and the time for which it puts results in doubt.

    The time runs from ``since``, when ``evidence`` still showed all to be well, to ``found_at``. ``points``
    are the instrument's errors as found, in SI: ``[quantity, nominal, error]``. ``event_at`` is when
    something happened to it, if that is known. ``marked_at`` is when the last attempt in it had been marked
    again. ``salt`` seals the free text's digests in the ledger.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="impact_reviews")
    number = models.PositiveIntegerField()
    trigger = models.CharField(max_length=12, choices=Trigger)
    instrument = models.ForeignKey(
        "rigs.Instrument", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    rig = models.ForeignKey("rigs.Rig", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    calibration = models.OneToOneField(
        "rigs.Calibration", null=True, blank=True, on_delete=models.PROTECT, related_name="impact_review"
    )
    hold = models.OneToOneField(
        "rigs.Hold", null=True, blank=True, on_delete=models.PROTECT, related_name="impact_review"
    )
    finding = models.TextField()
    found_at = models.DateTimeField()
    since = models.DateTimeField()
    evidence_kind = models.CharField(max_length=12, choices=EvidenceKind)
    evidence = models.TextField()
    event_at = models.DateTimeField(null=True, blank=True)
    event = models.TextField(blank=True)
    points = models.JSONField(default=list, blank=True)
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    marked_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closure = models.TextField(blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = ImpactReviewQuerySet.as_manager()

    class Meta:
        ordering = ("-opened_at",)
        constraints = (
            models.UniqueConstraint(fields=("centre", "number"), name="one_impact_review_per_number"),
            models.CheckConstraint(
                condition=Q(rig=None, instrument__isnull=False) | Q(rig__isnull=False, instrument=None),
                name="an_impact_review_is_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(found_at__gt=F("since")), name="an_impact_review_runs_from_evidence_to_finding"
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_by=None, closure="")
                | Q(closed_at__gte=F("opened_at"), closed_by__isnull=False, marked_at__isnull=False)
                & ~Q(closure=""),
                name="a_closed_impact_review_says_who_and_what",
            ),
        )

    def __str__(self) -> str:
        return f"impact review {self.number}"

    @property
    def tag(self) -> str:
        """Of the instrument or the rig."""
        thing = self.instrument or self.rig
        assert thing is not None  # the database sees to it
        return str(thing.tag)


class Effect(models.TextChoices):
    """What the finding may have done to one attempt's result."""

    UNAFFECTED = "unaffected", "Unaffected"
    BORDERLINE = "borderline", "Would be, or was, for the assessor to decide"
    WOULD_NOT = "would-not", "Competent would become not yet competent"
    WOULD_BE = "would-be", "Not yet competent would become competent"
    CANNOT_JUDGE = "cannot-judge", "Can’t be judged"


class Resolution(models.TextChoices):
    UPHELD = "upheld", "Upheld"
    REASSESS = "re-assess", "To be assessed again"


class ImpactItemQuerySet(models.QuerySet["ImpactItem"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(review__centre=person.centre_id)

    def unmarked(self) -> Self:
        return self.filter(effect="")

    def affected(self) -> Self:
        """Those that a person must look at."""
        return self.exclude(effect__in=("", Effect.UNAFFECTED))

    def waiting(self) -> Self:
        return self.affected().filter(resolution="")


class ImpactItem(models.Model):
    """An attempt that a review reaches. ``through`` says how: its own readings, a baseline, checks.

    ``outcome`` is the marking that is compared: that which was decided on, or the latest. ``sign_off`` is the
    decision that stood when it was marked again. ``unknown`` are the steps whose error can't be told.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    review = models.ForeignKey(ImpactReview, on_delete=models.PROTECT, related_name="items")
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="impact_items")
    through = models.JSONField(default=list)
    effect = models.CharField(max_length=12, choices=Effect, blank=True)
    outcome = models.ForeignKey(
        "assessments.Outcome", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    sign_off = models.ForeignKey(
        "assessments.SignOff", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    unknown = models.JSONField(default=list, blank=True)
    resolution = models.CharField(max_length=12, choices=Resolution, blank=True)
    reason = models.TextField(blank=True)
    resolved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    resolved_at = models.DateTimeField(null=True, blank=True)

    objects = ImpactItemQuerySet.as_manager()

    class Meta:
        ordering = ("review", "attempt__submitted_at", "attempt")
        constraints = (
            models.UniqueConstraint(fields=("review", "attempt"), name="an_attempt_is_in_a_review_once"),
            models.CheckConstraint(
                condition=Q(effect="") | Q(outcome__isnull=False),
                name="an_attempt_marked_again_is_compared_with_a_marking",
            ),
            models.CheckConstraint(
                condition=Q(resolution="", resolved_by=None, resolved_at=None, reason="")
                | ~Q(resolution="") & Q(resolved_by__isnull=False, resolved_at__isnull=False) & ~Q(reason=""),
                name="a_resolved_attempt_says_who_and_why",
            ),
        )
        indexes = (models.Index(fields=("review", "effect"), name="impact_items_by_effect"),)

    def __str__(self) -> str:
        return f"{self.attempt} in {self.review}"

    @property
    def suspended(self) -> Suspension | None:
        """Its suspension, open or ended, if the finding led to one."""
        return getattr(self, "suspension", None)


class ErrorModel(models.TextChoices):
    """How the error is taken to have come about."""

    FULL = "full", "In full over the whole time"
    GROWTH = "growth", "Growing in proportion to time"
    STEP = "step", "All at once, from the event on"
    SMOOTHED = "smoothed", "From the rig’s level, with later checks"


class ModelOutcome(models.Model):
    """What one attempt's marking would be under one model. Never an outcome of the attempt.

    ``changes`` are the readings whose verdict differs: ``step``, ``title``, ``unit``, ``read``,
    ``corrected``, ``before``, ``after``.
    """

    item = models.ForeignKey(ImpactItem, on_delete=models.CASCADE, related_name="outcomes")
    model = models.CharField(max_length=10, choices=ErrorModel)
    inputs_sha256 = models.CharField(max_length=64)
    procedure = models.CharField(max_length=10, choices=Strand)
    readings = models.CharField(max_length=10, choices=Strand)
    conclusion = models.CharField(max_length=10, choices=Strand)
    proposal = models.CharField(max_length=20, choices=Proposal)
    changes = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("item", "pk")
        constraints = (
            models.UniqueConstraint(fields=("item", "model"), name="one_outcome_per_item_and_error_model"),
        )

    def __str__(self) -> str:
        return f"{self.item}: {self.get_model_display()}"
