"""What the database itself refuses, whoever writes to it."""

from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from academy.models import Centre, Cohort, Membership, Person, Role
from tests.factories.academy import DAY, CohortFactory, ManagerFactory, PersonFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"tolerance_percent": Decimal(0)}, "centre_tolerance_is_above_zero"),
        ({"watch_percent": Decimal(11)}, "centre_watches_before_it_holds"),
        ({"floor_percent": Decimal(-1)}, "centre_floor_is_not_negative"),
        ({"afternoon_from": time(18)}, "centre_afternoon_is_before_evening"),
    ],
)
def test_a_centre_keeps_sane_limits(changes, constraint):
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Centre.objects.create(name="Harbour bench", time_zone="UTC", **changes)


def test_a_role_does_not_end_before_it_starts():
    with pytest.raises(IntegrityError, match="role_ends_on_or_after_its_start"), transaction.atomic():
        Role.objects.create(
            person=PersonFactory(), kind=Role.Kind.ASSESSOR, starts_on=DAY, ends_on=date(2025, 1, 5)
        )


def test_an_external_verifiers_role_has_an_end():
    with pytest.raises(IntegrityError, match="role_of_external_verifier_has_an_end"), transaction.atomic():
        Role.objects.create(person=PersonFactory(), kind=Role.Kind.EXTERNAL_VERIFIER, starts_on=DAY)


def test_a_role_without_an_end_is_held_once():
    person = PersonFactory(kinds=(Role.Kind.ASSESSOR,))
    with pytest.raises(IntegrityError), transaction.atomic():
        Role.objects.create(person=person, kind=Role.Kind.ASSESSOR, starts_on=date(2025, 2, 3))


def test_an_address_is_kept_in_lower_case():
    with pytest.raises(IntegrityError, match="person_email_is_lower_case"), transaction.atomic():
        Person.objects.create(name="Someone", email="Someone@example.org")


def test_an_erased_person_keeps_neither_salt_nor_access():
    person = PersonFactory()
    person.erased_at = datetime(2025, 2, 3, tzinfo=UTC)
    with pytest.raises(IntegrityError, match="person_erased_has_no_salt"), transaction.atomic():
        person.save()


def test_a_person_is_found_by_address_however_it_is_typed():
    person = PersonFactory(email="Tapley@Example.org")
    assert person.email == "tapley@example.org"
    assert Person.objects.get_by_natural_key(" TAPLEY@example.ORG ") == person


def test_a_cohorts_name_is_its_own_within_a_centre():
    cohort = CohortFactory()
    with pytest.raises(IntegrityError), transaction.atomic():
        Cohort.objects.create(centre=cohort.centre, name=cohort.name, starts_on=DAY, ends_on=DAY)
    assert CohortFactory(name=cohort.name).centre != cohort.centre


def test_a_cohort_does_not_end_before_it_starts():
    with pytest.raises(IntegrityError, match="cohort_ends_on_or_after_its_start"), transaction.atomic():
        Cohort.objects.create(
            centre=ManagerFactory().centre, name="Late", starts_on=DAY, ends_on=date(2025, 1, 5)
        )


def test_a_person_has_one_place_in_a_cohort():
    cohort = CohortFactory()
    person = PersonFactory(by=Person.objects.get(centre=cohort.centre))
    Membership.objects.create(cohort=cohort, person=person, joined_on=DAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        Membership.objects.create(cohort=cohort, person=person, joined_on=DAY)


def test_a_membership_does_not_end_before_it_starts():
    cohort = CohortFactory()
    with pytest.raises(IntegrityError, match="membership_ends_on_or_after_its_start"), transaction.atomic():
        Membership.objects.create(
            cohort=cohort, person=PersonFactory(), joined_on=DAY, left_on=date(2025, 1, 5)
        )


@pytest.mark.parametrize(
    ("time_zone", "on"),
    [("Pacific/Kiritimati", date(2025, 6, 2)), ("Pacific/Pago_Pago", date(2025, 6, 1))],
)
def test_a_moment_has_its_date_at_the_centre(time_zone, on):
    centre = Centre(name="Harbour bench", time_zone=time_zone)
    assert centre.date_at(datetime(2025, 6, 1, 12, tzinfo=UTC)) == on


def test_nobody_stands_above_the_roles():
    with pytest.raises(ValidationError, match="open_centre"):
        Person.objects.create_superuser(email="root@example.org", name="Root")
    with pytest.raises(CommandError, match="open_centre"):
        call_command("createsuperuser", interactive=False, email="root@example.org", name="Root")
