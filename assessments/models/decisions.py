"""What the engine proposed, and what people decided."""

import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q, Subquery

from assessments.models.suspensions import Suspension


class Strand(models.TextChoices):
    """How one strand of an attempt came out."""

    MET = "met", "Met"
    NOT_MET = "not-met", "Not met"
    TO_DECIDE = "to-decide", "For the assessor to decide"


class Decision(models.TextChoices):
    COMPETENT = "competent", "Competent"
    NOT_YET_COMPETENT = "not-yet-competent", "Not yet competent"


class Proposal(models.TextChoices):
    COMPETENT = "competent", "Competent"
    NOT_YET_COMPETENT = "not-yet-competent", "Not yet competent"
    ASSESSOR = "assessor", "For the assessor to decide"


class OutcomeQuerySet(models.QuerySet["Outcome"]):
    def latest_of_each(self) -> Self:
        """Of each attempt the one with the highest number."""
        newest = Outcome.objects.filter(attempt=OuterRef("attempt")).order_by("-number")
        return self.filter(number=Subquery(newest.values("number")[:1]))


class Outcome(models.Model):
    """A marking of one attempt: the frozen inputs, their digest, and what the engine made of them.

    ``inputs`` and ``result`` are RFC 8785 canonical JSON. A re-marking adds a row with the next number.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="outcomes")
    number = models.PositiveIntegerField()
    engine = models.CharField(max_length=20)
    inputs = models.TextField()
    inputs_sha256 = models.CharField(max_length=64)
    result = models.TextField()
    procedure = models.CharField(max_length=10, choices=Strand)
    readings = models.CharField(max_length=10, choices=Strand)
    conclusion = models.CharField(max_length=10, choices=Strand)
    proposal = models.CharField(max_length=20, choices=Proposal)
    made_at = models.DateTimeField()

    objects = OutcomeQuerySet.as_manager()

    class Meta:
        ordering = ("attempt", "-number")
        constraints = (
            models.UniqueConstraint(fields=("attempt", "number"), name="one_outcome_per_number_and_attempt"),
        )

    def __str__(self) -> str:
        return f"marking {self.number} of {self.attempt}"


class SignOffQuerySet(models.QuerySet["SignOff"]):
    def newest(self) -> Self:
        """Those that no later decision on the same attempt has taken the place of, provisional ones too."""
        return self.exclude(Exists(SignOff.objects.filter(supersedes=OuterRef("pk"))))

    def current(self) -> Self:
        """Those that stand: the newest, and one that was made in training only once it is countersigned."""
        return self.newest().filter(Q(is_provisional=False) | Q(countersignature__isnull=False))

    def of_competence(self) -> Self:
        """Those that stand and count, of assessments, that found the candidate competent."""
        return (
            self.current()
            .exclude(suspended())
            .filter(attempt__purpose="assessment", decision=Decision.COMPETENT)
        )

    def with_suspension(self) -> Self:
        """Annotate ``is_suspended``: left out of account by an impact review.

        And ``is_superseded`` where a later sign-off of another attempt has taken its place.
        """
        superseded = Suspension.objects.open().filter(sign_off=OuterRef("pk"), superseded_by__isnull=False)
        return self.annotate(is_suspended=suspended(), is_superseded=Exists(superseded))


def suspended(sign_off: str = "pk") -> Exists:
    """Whether a sign-off is left out of account, by its id in a query."""
    return Exists(Suspension.objects.open().filter(sign_off=OuterRef(sign_off)))


class SignOff(models.Model):
    """An assessor's decision on an attempt. ``salt`` seals the free text's digest in the ledger.

    One that is provisional was made in training: it counts from its countersignature on.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="sign_offs")
    outcome = models.ForeignKey(Outcome, on_delete=models.PROTECT, related_name="sign_offs")
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decision = models.CharField(max_length=20, choices=Decision)
    feedback = models.TextField()
    reason = models.TextField(blank=True)
    salt = models.CharField(max_length=64)
    at = models.DateTimeField()
    is_provisional = models.BooleanField(default=False)
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="superseded_by"
    )

    objects = SignOffQuerySet.as_manager()

    class Meta:
        ordering = ("-at",)
        constraints = (
            models.UniqueConstraint(
                fields=("attempt",), condition=Q(supersedes=None), name="one_first_sign_off_per_attempt"
            ),
            models.CheckConstraint(condition=~Q(feedback=""), name="a_sign_off_has_feedback"),
        )

    def __str__(self) -> str:
        return f"{self.get_decision_display()}: {self.attempt}"
