import uuid
from collections.abc import Iterable
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, NoReturn, Self
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from academy.seals import new_salt


def _percent(default: str) -> "models.DecimalField[Decimal, Decimal]":
    return models.DecimalField(max_digits=5, decimal_places=2, default=Decimal(default))


class Centre(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64)
    tolerance_percent = _percent("10")
    watch_percent = _percent("6")
    hold_percent = _percent("10")
    # The least that running Δp may be of the make point: centre value, common practice, no source.
    least_margin = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("1.10"))
    floor_percent = _percent("0")
    baseline_months = models.PositiveSmallIntegerField(default=12)
    # What is pointed out to an assessor as hardly plausible: centre values, common practice, no source.
    hands_seconds = models.PositiveSmallIntegerField(default=4)
    hurried_percent = _percent("25")
    photo_slack_minutes = models.PositiveSmallIntegerField(default=10)
    coincidence = models.FloatField(default=0.001)
    afternoon_from = models.TimeField(default=time(13))
    evening_from = models.TimeField(default=time(17, 30))

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="centre_tolerance_is_above_zero", condition=Q(tolerance_percent__gt=0)
            ),
            models.CheckConstraint(
                name="centre_watches_before_it_holds",
                condition=Q(watch_percent__gt=0, watch_percent__lte=F("hold_percent")),
            ),
            models.CheckConstraint(
                name="centre_margin_is_of_the_make_point",
                condition=Q(least_margin__gte=1, least_margin__lt=10),
            ),
            models.CheckConstraint(name="centre_floor_is_not_negative", condition=Q(floor_percent__gte=0)),
            models.CheckConstraint(
                name="centre_hurried_share_is_at_most_the_whole", condition=Q(hurried_percent__range=(0, 100))
            ),
            models.CheckConstraint(
                name="centre_coincidence_is_a_probability", condition=Q(coincidence__range=(0, 1))
            ),
            models.CheckConstraint(name="centre_baselines_run_out", condition=Q(baseline_months__gte=1)),
            models.CheckConstraint(
                name="centre_afternoon_is_before_evening", condition=Q(afternoon_from__lt=F("evening_from"))
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def date_at(self, at: datetime) -> date:
        """Return the date on the centre's own calendar at that moment."""
        return at.astimezone(self.zone).date()


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


class RoleQuerySet(models.QuerySet["Role"]):
    def in_force(self, *, on: date) -> Self:
        """Roles that count on that day: first and last day included."""
        return self.filter(Q(ends_on__isnull=True) | Q(ends_on__gte=on), starts_on__lte=on)


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


class AppendOnlyError(TypeError):
    """An entry of the ledger was about to be changed or deleted: a correction is a new entry."""

    def __init__(self) -> None:
        super().__init__("The ledger only grows: append a new entry instead.")


class LedgerEntryQuerySet(models.QuerySet["LedgerEntry"]):
    def update(self, **_fields: object) -> NoReturn:
        raise AppendOnlyError

    def delete(self) -> NoReturn:
        raise AppendOnlyError

    def bulk_update(self, *_args: object, **_options: object) -> NoReturn:
        raise AppendOnlyError

    def bulk_create(self, objs: Iterable["LedgerEntry"], *args: Any, **options: Any) -> list["LedgerEntry"]:
        if options.get("update_conflicts") or options.get("ignore_conflicts"):
            raise AppendOnlyError
        return super().bulk_create(objs, *args, **options)


class LedgerEntry(models.Model):
    """One link of a centre's chain. Written by `ledger.append` alone, which documents the format."""

    centre = models.ForeignKey(Centre, on_delete=models.PROTECT, related_name="ledger_entries")
    number = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.UUIDField(null=True)
    verb = models.CharField(max_length=80)
    subject = models.CharField(max_length=80)
    body = models.TextField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    objects = LedgerEntryQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "ledger entries"
        ordering = ["centre", "number"]
        base_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(
                name="ledger_number_is_unique_in_its_centre", fields=["centre", "number"]
            ),
            models.CheckConstraint(name="ledger_number_starts_at_one", condition=Q(number__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.verb} {self.subject}"

    def save(self, **options: Any) -> None:
        if not self._state.adding:
            raise AppendOnlyError
        # Without it a given key would be looked for first, and updated where found.
        super().save(**options | {"force_insert": True})

    def delete(self, *_args: object, **_options: object) -> NoReturn:
        raise AppendOnlyError
