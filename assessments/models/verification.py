"""Sampling of decisions by the internal verifier: plans, what they chose, and what was found."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt
from assessments.models.decisions import Decision

if TYPE_CHECKING:
    from academy.models import Person


class SamplingPlanQuerySet(models.QuerySet["SamplingPlan"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(centre=person.centre_id)


class SamplingPlan(models.Model):
    """A sample of the decisions of a period. ``seed`` and ``settings`` draw the same one again.

    ``stated`` is what its random part says: population, size, wrong, chance.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="sampling_plans")
    starts_on = models.DateField()
    ends_on = models.DateField()
    seed = models.PositiveBigIntegerField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    settings = models.JSONField()
    stated = models.JSONField()

    objects = SamplingPlanQuerySet.as_manager()

    class Meta:
        ordering = ("-made_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")), name="a_sampling_plan_ends_after_its_start"
            ),
        )

    def __str__(self) -> str:
        return f"sample of {self.starts_on:%Y-%m-%d} to {self.ends_on:%Y-%m-%d}"


class SampledDecisionQuerySet(models.QuerySet["SampledDecision"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(plan__centre=person.centre_id)


class SampledDecision(models.Model):
    """A decision in a sample, and why: by risk, to cover somebody or something, or at random."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    plan = models.ForeignKey(SamplingPlan, on_delete=models.PROTECT, related_name="sampled")
    sign_off = models.ForeignKey("assessments.SignOff", on_delete=models.PROTECT, related_name="sampled")
    position = models.PositiveIntegerField()
    risks = models.JSONField(default=list, blank=True)
    covers = models.JSONField(default=list, blank=True)
    is_random = models.BooleanField()

    objects = SampledDecisionQuerySet.as_manager()

    class Meta:
        ordering = ("plan", "position")
        constraints = (
            models.UniqueConstraint(fields=("plan", "sign_off"), name="a_decision_is_sampled_once_in_a_plan"),
        )

    def __str__(self) -> str:
        return f"{self.plan}, {self.position}"


class Agreement(models.TextChoices):
    AGREED = "agreed", "Agreed"
    NOT_AGREED = "not-agreed", "Not agreed"


class Verification(models.Model):
    """What a verifier found: their own decision before they saw the assessor's, then the comparison.

    ``salt`` seals the free text's digests in the ledger.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sampled = models.OneToOneField(SampledDecision, on_delete=models.PROTECT, related_name="verification")
    verifier = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    own_decision = models.CharField(max_length=20, choices=Decision)
    own_note = models.TextField()
    decided_at = models.DateTimeField()
    agreement = models.CharField(max_length=12, choices=Agreement, blank=True)
    note = models.TextField(blank=True)
    compared_at = models.DateTimeField(null=True, blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("-decided_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(agreement="", compared_at=None)
                | ~Q(agreement="") & Q(compared_at__gte=F("decided_at")),
                name="a_verification_is_compared_after_its_own_decision",
            ),
            models.CheckConstraint(
                condition=~Q(agreement="not-agreed") | ~Q(note=""), name="a_disagreement_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"verification of {self.sampled}"


class ActionQuerySet(models.QuerySet["VerifierAction"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(verification__sampled__plan__centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(closed_at=None)


class VerifierAction(models.Model):
    """Something to put right, by whom and by when, until somebody says how it was."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    verification = models.ForeignKey(Verification, on_delete=models.PROTECT, related_name="actions")
    text = models.TextField()
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField()
    raised_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closure = models.TextField(blank=True)

    objects = ActionQuerySet.as_manager()

    class Meta:
        ordering = ("due_on", "raised_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_by=None, closure="")
                | Q(closed_at__gte=F("raised_at"), closed_by__isnull=False) & ~Q(closure=""),
                name="a_closed_action_says_who_and_how",
            ),
        )

    def __str__(self) -> str:
        return self.text
