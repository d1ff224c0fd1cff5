"""Who may decide on whom and on what: scopes of assessors, countersignatures, conflicts of interest."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.models import DatedQuerySet
from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models import Person


class AssessorScopeQuerySet(DatedQuerySet["AssessorScope"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(assessor__centre=person.centre_id)


class AssessorScope(models.Model):
    """The tasks that an assessor may decide on, from ``starts_on`` to ``ends_on``, both included.

    One ``in_training`` decides provisionally. As soon as anything is recorded of an assessor, what isn't
    recorded isn't theirs.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    assessor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="scopes")
    every_task = models.BooleanField(default=False)
    tasks = models.ManyToManyField("assessments.Task", related_name="+", blank=True)
    in_training = models.BooleanField(default=False)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    objects = AssessorScopeQuerySet.as_manager()

    class Meta:
        ordering = ("assessor", "starts_on", "recorded_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="a_scope_ends_on_or_after_its_start",
            ),
            models.CheckConstraint(
                condition=~Q(assessor=F("recorded_by")), name="nobody_records_their_own_scope"
            ),
        )

    def __str__(self) -> str:
        return f"scope of {self.assessor}"


class Countersignature(models.Model):
    """A qualified assessor's agreement with a provisional sign-off."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_off = models.OneToOneField(
        "assessments.SignOff", on_delete=models.PROTECT, related_name="countersignature"
    )
    countersigned_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("at",)

    def __str__(self) -> str:
        return f"countersignature of {self.sign_off_id}"


class ConflictKind(models.TextChoices):
    """Common practice, no source."""

    RELATIVE = "relative", "Relative or partner"
    FRIEND = "friend", "Close friend"
    EMPLOYMENT = "employment", "Employer or employee"
    TUTOR = "tutor", "Own tutor"
    MONEY = "money", "Something to gain"
    OTHER = "other", "Something else"


class ConflictQuerySet(DatedQuerySet["ConflictOfInterest"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(candidate__centre=person.centre_id)


class ConflictOfInterest(models.Model):
    """A pairing that may not decide: an assessor or verifier, and a candidate. ``words`` stay with staff."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="conflicts")
    candidate = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12, choices=ConflictKind)
    words = models.TextField(blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    declared_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    declared_at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = ConflictQuerySet.as_manager()

    class Meta:
        ordering = ("person", "starts_on")
        constraints = (
            models.CheckConstraint(
                condition=~Q(person=F("candidate")), name="a_conflict_is_between_two_people"
            ),
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="a_conflict_ends_on_or_after_its_start",
            ),
        )

    def __str__(self) -> str:
        return f"{self.person} and {self.candidate}"
