"""People, what they may do, and who trains with whom."""

import uuid
from datetime import date
from typing import NoReturn, Self

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from academy.models.centres import Centre
from academy.models.dated import DatedQuerySet
from academy.seals import new_salt


class PersonQuerySet(models.QuerySet["Person"]):
    def visible_to(self, person: "Person") -> Self:
        """People of the same centre."""
        return self.filter(centre__isnull=False, centre_id=person.centre_id)

    def holding(self, kind: str, *, on: date) -> Self:
        """People with that role on that day."""
        held = Role.objects.in_force(on=on).filter(kind=kind)
        return self.filter(is_active=True, pk__in=held.values("person_id"))


class PersonManager(BaseUserManager["Person"].from_queryset(PersonQuerySet)):  # type: ignore[misc]
    def get_by_natural_key(self, email: str | None) -> "Person":
        person: Person = self.get(email=normal_email(email or ""))
        return person

    def create_user(
        self, *, email: str, name: str, password: str | None = None, centre: Centre | None = None
    ) -> "Person":
        """Create a person who can sign in but holds no role: `people.add_person` does the whole of it."""
        person: Person = self.model(email=normal_email(email), name=name.strip(), centre=centre)
        person.set_password(password)
        person.save()
        return person

    def create_superuser(self, **_fields: object) -> NoReturn:
        """Refuse: nobody stands above the roles."""
        raise ValidationError("There are no superusers here: set up a centre with “manage.py open_centre”.")


def normal_email(email: str) -> str:
    """Return the one spelling that an address is kept and looked up under."""
    return email.strip().lower()


class Person(AbstractBaseUser):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=200)
    centre = models.ForeignKey(Centre, null=True, blank=True, on_delete=models.PROTECT, related_name="people")
    is_active = models.BooleanField(default=True)
    wants_digest = models.BooleanField(default=True)
    salt = models.CharField(max_length=64, default=new_salt, blank=True, editable=False)
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = PersonManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        verbose_name_plural = "people"
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(name="person_email_is_lower_case", condition=Q(email=Lower("email"))),
            models.CheckConstraint(
                name="person_erased_has_no_salt_and_no_access",
                condition=Q(erased_at__isnull=True) | Q(is_active=False, salt=""),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Digest(models.Model):
    """A daily email that was sent: there is one a day at most."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="digests")
    on = models.DateField()
    sent_at = models.DateTimeField()

    class Meta:
        ordering = ["-on"]
        constraints = [
            models.UniqueConstraint(name="digest_is_sent_once_a_day", fields=["person", "on"]),
        ]

    def __str__(self) -> str:
        return f"digest of {self.on:%Y-%m-%d}"


class RoleQuerySet(DatedQuerySet["Role"]):
    pass


class Role(models.Model):
    class Kind(models.TextChoices):
        CANDIDATE = "candidate", "Candidate"
        ASSESSOR = "assessor", "Assessor"
        VERIFIER = "verifier", "Internal verifier"
        EXTERNAL_VERIFIER = "external-verifier", "External verifier"
        TECHNICIAN = "technician", "Technician"
        MANAGER = "manager", "Centre manager"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="roles")
    kind = models.CharField(max_length=20, choices=Kind)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)

    objects = RoleQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on", "kind", "id"]
        constraints = [
            models.CheckConstraint(
                name="role_ends_on_or_after_its_start",
                condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
            ),
            models.CheckConstraint(
                name="role_of_external_verifier_has_an_end",
                condition=~Q(kind="external-verifier") | Q(ends_on__isnull=False),
            ),
            models.UniqueConstraint(
                name="role_without_end_is_held_once",
                fields=["person", "kind"],
                condition=Q(ends_on__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return self.get_kind_display()


class CohortQuerySet(models.QuerySet["Cohort"]):
    def visible_to(self, person: Person) -> Self:
        """Cohorts of the person's centre."""
        return self.filter(centre_id=person.centre_id)


class Cohort(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey(Centre, on_delete=models.PROTECT, related_name="cohorts")
    name = models.CharField(max_length=120)
    starts_on = models.DateField()
    ends_on = models.DateField()
    people = models.ManyToManyField(Person, through="Membership", related_name="cohorts")

    objects = CohortQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on", "name"]
        constraints = [
            models.UniqueConstraint(name="cohort_name_is_unique_in_its_centre", fields=["centre", "name"]),
            models.CheckConstraint(
                name="cohort_ends_on_or_after_its_start", condition=Q(ends_on__gte=F("starts_on"))
            ),
        ]

    def __str__(self) -> str:
        return self.name


class MembershipQuerySet(models.QuerySet["Membership"]):
    def in_force(self, *, on: date) -> Self:
        """Memberships that count on that day: first and last day included."""
        return self.filter(Q(left_on__isnull=True) | Q(left_on__gte=on), joined_on__lte=on)


class Membership(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cohort = models.ForeignKey(Cohort, on_delete=models.PROTECT, related_name="memberships")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    joined_on = models.DateField()
    left_on = models.DateField(null=True, blank=True)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        ordering = ["joined_on", "id"]
        constraints = [
            models.UniqueConstraint(name="membership_is_unique_in_its_cohort", fields=["cohort", "person"]),
            models.CheckConstraint(
                name="membership_ends_on_or_after_its_start",
                condition=Q(left_on__isnull=True) | Q(left_on__gte=F("joined_on")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} in {self.cohort}"
