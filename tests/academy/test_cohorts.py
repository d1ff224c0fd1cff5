from datetime import date, timedelta

import pytest

from academy import cohorts, ledger, people
from academy.models import LedgerEntry, Membership
from academy.refusals import Refused
from tests.factories.academy import AT, DAY, FAR_DAY, CandidateFactory, CohortFactory, ManagerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager():
    return ManagerFactory()


@pytest.fixture
def cohort(manager):
    return CohortFactory(by=manager)


@pytest.fixture
def candidate(manager):
    return CandidateFactory(by=manager)


def last_verb(manager):
    assert isinstance(ledger.verify(centre=manager.centre), ledger.Intact)
    return LedgerEntry.objects.filter(centre=manager.centre).last().verb


def test_opening_a_cohort_is_one_entry(manager, cohort):
    assert cohort.centre == manager.centre
    assert last_verb(manager) == "cohort.open"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"name": " "}, "name"),
        ({"name": "C" * 121}, "name"),
        ({"ends_on": DAY - timedelta(days=1)}, "ends_on"),
    ],
)
def test_what_is_missing_or_wrong_is_named(manager, change, field):
    with pytest.raises(Refused) as refusal:
        CohortFactory(by=manager, **change)
    assert refusal.value.field == field


def test_a_name_is_taken_once_in_a_centre(manager, cohort):
    with pytest.raises(Refused, match="already"):
        CohortFactory(by=manager, name=cohort.name)
    assert LedgerEntry.objects.filter(verb="cohort.open").count() == 1


def test_another_centres_manager_opens_nothing(manager):
    with pytest.raises(Refused, match="own centre"):
        CohortFactory(by=ManagerFactory(), centre=manager.centre)


def test_a_person_joins_and_leaves(manager, cohort, candidate):
    membership = cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)
    assert last_verb(manager) == "membership.add"
    assert list(Membership.objects.in_force(on=DAY)) == [membership]
    left = cohorts.remove_member(membership=membership, on=date(2025, 2, 3), by=manager, at=AT)
    assert last_verb(manager) == "membership.end"
    assert left.left_on == date(2025, 2, 3)
    assert list(Membership.objects.in_force(on=date(2025, 2, 3))) == [membership]
    assert not Membership.objects.in_force(on=date(2025, 2, 4)).exists()


def test_one_who_left_comes_back_to_the_same_place(manager, cohort, candidate):
    membership = cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)
    cohorts.remove_member(membership=membership, on=DAY, by=manager, at=AT)
    again = cohorts.add_member(cohort=cohort, person=candidate, on=FAR_DAY, by=manager, at=AT)
    assert again == membership
    assert (again.joined_on, again.left_on) == (DAY, None)


def test_nobody_joins_twice(manager, cohort, candidate):
    cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)
    with pytest.raises(Refused, match="already"):
        cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)


def test_nobody_leaves_twice_or_before_joining(manager, cohort, candidate):
    membership = cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)
    with pytest.raises(Refused, match="before the first"):
        cohorts.remove_member(membership=membership, on=DAY - timedelta(days=1), by=manager, at=AT)
    cohorts.remove_member(membership=membership, on=DAY, by=manager, at=AT)
    with pytest.raises(Refused, match="left"):
        cohorts.remove_member(membership=membership, on=FAR_DAY, by=manager, at=AT)


def test_a_person_of_another_centre_does_not_join(manager, cohort):
    with pytest.raises(Refused, match="another centre"):
        cohorts.add_member(cohort=cohort, person=CandidateFactory(), on=DAY, by=manager, at=AT)


def test_a_person_without_access_does_not_join(manager, cohort, candidate):
    erased = people.erase(person=candidate, by=manager, at=AT)
    with pytest.raises(Refused, match="no longer"):
        cohorts.add_member(cohort=cohort, person=erased, on=DAY, by=manager, at=AT)


def test_another_centres_manager_moves_nobody(manager, cohort, candidate):
    other = ManagerFactory()
    with pytest.raises(Refused, match="own centre"):
        cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=other, at=AT)
    membership = cohorts.add_member(cohort=cohort, person=candidate, on=DAY, by=manager, at=AT)
    with pytest.raises(Refused, match="own centre"):
        cohorts.remove_member(membership=membership, on=DAY, by=other, at=AT)
