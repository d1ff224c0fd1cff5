from datetime import date, timedelta

import pytest
from axes.models import AccessAttempt

from academy import ledger, people
from academy.models import Centre, LedgerEntry, Membership, Person, Role
from academy.refusals import Refused
from tests.factories.academy import (
    AT,
    DAY,
    FAR_DAY,
    AssessorFactory,
    CandidateFactory,
    CohortFactory,
    ExternalVerifierFactory,
    ManagerFactory,
    PersonFactory,
)

pytestmark = pytest.mark.django_db

PASSWORD = "seven wet flanges"


@pytest.fixture
def manager():
    return ManagerFactory()


def verbs(centre):
    return list(LedgerEntry.objects.filter(centre=centre).values_list("verb", flat=True))


def intact(centre):
    return isinstance(ledger.verify(centre=centre), ledger.Intact)


class TestOpeningACentre:
    def test_its_first_manager_can_sign_in_and_manage(self):
        manager = people.open_centre(
            name=" Harbour bench ",
            time_zone="Europe/London",
            manager_name="Ada Tapley",
            manager_email="Ada@Example.org",
            password=PASSWORD,
            at=AT,
        )
        assert manager.centre.name == "Harbour bench"
        assert manager.check_password(PASSWORD)
        assert list(manager.roles.values_list("kind", "starts_on", "ends_on")) == [("manager", DAY, None)]
        assert verbs(manager.centre) == ["centre.open"]

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": " "}, "name"),
            ({"name": "H" * 201}, "name"),
            ({"time_zone": "Harbour"}, "time_zone"),
            ({"manager_name": ""}, "name"),
            ({"manager_email": "not an address"}, "email"),
            ({"password": "short"}, "password"),
        ],
    )
    def test_what_is_missing_or_wrong_is_named_and_nothing_is_left(self, change, field):
        given = {
            "name": "Harbour bench",
            "time_zone": "UTC",
            "manager_name": "Ada Tapley",
            "manager_email": "ada@example.org",
            "password": PASSWORD,
        }
        with pytest.raises(Refused) as refusal:
            people.open_centre(**given | change, at=AT)
        assert refusal.value.field == field
        assert not Centre.objects.exists()
        assert not Person.objects.exists()


class TestAddingAPerson:
    def test_one_entry_covers_the_person_the_roles_and_the_cohort(self, manager):
        cohort = CohortFactory(by=manager)
        person = PersonFactory(by=manager, kinds=("assessor", "candidate"), cohort=cohort)
        assert sorted(person.roles.values_list("kind", flat=True)) == ["assessor", "candidate"]
        assert list(person.cohorts.all()) == [cohort]
        assert verbs(manager.centre) == ["centre.open", "cohort.open", "person.add"]
        assert intact(manager.centre)

    def test_an_address_is_taken_once_however_it_is_typed(self, manager):
        PersonFactory(by=manager, email="tapley@example.org")
        with pytest.raises(Refused, match="already") as refusal:
            PersonFactory(by=manager, email="Tapley@example.org")
        assert refusal.value.field == "email"
        assert verbs(manager.centre) == ["centre.open", "person.add"]

    def test_another_centres_manager_is_refused(self, manager):
        with pytest.raises(Refused, match="own centre"):
            PersonFactory(by=ManagerFactory(), centre=manager.centre)

    def test_another_centres_cohort_is_refused(self, manager):
        with pytest.raises(Refused, match="another centre"):
            PersonFactory(by=manager, cohort=CohortFactory())

    def test_an_unknown_role_is_refused(self, manager):
        with pytest.raises(Refused, match="no role “plumber”"):
            PersonFactory(by=manager, kinds=("plumber",))

    def test_an_external_verifier_needs_a_last_day(self, manager):
        with pytest.raises(Refused, match="last day") as refusal:
            ExternalVerifierFactory(by=manager, until=None)
        assert refusal.value.field == "ends_on"
        assert ExternalVerifierFactory(by=manager).roles.get().ends_on == FAR_DAY

    @pytest.mark.parametrize("password", ["short", "1234567890123", "password123456", "tapley@example.org"])
    def test_a_password_that_is_easily_guessed_is_refused(self, manager, password):
        with pytest.raises(Refused) as refusal:
            PersonFactory(by=manager, email="tapley@example.org", password=password)
        assert refusal.value.field == "password"

    def test_a_name_that_is_too_long_is_refused(self, manager):
        with pytest.raises(Refused) as refusal:
            PersonFactory(by=manager, name="T" * 201)
        assert refusal.value.field == "name"


class TestGrantingARole:
    def test_it_is_in_force_on_its_days(self, manager):
        person = PersonFactory(by=manager)
        role = people.grant_role(
            person=person, kind="assessor", starts_on=DAY, ends_on=FAR_DAY, by=manager, at=AT
        )
        assert (role.starts_on, role.ends_on) == (DAY, FAR_DAY)
        assert verbs(manager.centre)[-1] == "role.grant"

    @pytest.mark.parametrize(
        ("starts_on", "ends_on", "overlaps"),
        [
            (date(2025, 1, 1), date(2025, 2, 2), False),  # before
            (date(2025, 1, 1), date(2025, 2, 3), True),  # touches the first day
            (date(2025, 2, 10), date(2025, 2, 14), True),  # within
            (date(2025, 1, 1), None, True),  # round it
            (date(2025, 2, 28), None, True),  # touches the last day
            (date(2025, 3, 1), None, False),  # after
        ],
    )
    def test_the_same_role_is_not_held_twice_on_a_day(self, manager, starts_on, ends_on, overlaps):
        person = PersonFactory(by=manager, kinds=("assessor",), on=date(2025, 2, 3), until=date(2025, 2, 28))
        grant = {"kind": "assessor", "starts_on": starts_on, "ends_on": ends_on, "by": manager, "at": AT}
        if overlaps:
            with pytest.raises(Refused, match="already holds"):
                people.grant_role(person=person, **grant)
        else:
            people.grant_role(person=person, **grant)
        assert person.roles.count() == (1 if overlaps else 2)

    def test_another_role_may_be_held_beside_it(self, manager):
        person = CandidateFactory(by=manager)
        people.grant_role(person=person, kind="technician", starts_on=DAY, by=manager, at=AT)
        assert person.roles.count() == 2

    def test_its_last_day_is_not_before_its_first(self, manager):
        with pytest.raises(Refused, match="before the first"):
            people.grant_role(
                person=PersonFactory(by=manager),
                kind="assessor",
                starts_on=DAY,
                ends_on=DAY - timedelta(days=1),
                by=manager,
                at=AT,
            )

    def test_another_centres_manager_is_refused(self):
        with pytest.raises(Refused, match="own centre"):
            people.grant_role(
                person=PersonFactory(), kind="assessor", starts_on=DAY, by=ManagerFactory(), at=AT
            )

    def test_a_person_without_a_centre_is_refused(self, manager):
        person = Person.objects.create_user(email="nobody@example.org", name="Nobody")
        with pytest.raises(Refused, match="no centre"):
            people.grant_role(person=person, kind="assessor", starts_on=DAY, by=manager, at=AT)


class TestEndingARole:
    def end(self, role, on, by, at=AT):
        return people.end_role(role=role, on=on, by=by, at=at)

    def test_its_last_day_is_recorded(self, manager):
        role = AssessorFactory(by=manager).roles.get()
        assert self.end(role, FAR_DAY, manager).ends_on == FAR_DAY
        assert Role.objects.get(pk=role.pk).ends_on == FAR_DAY
        assert verbs(manager.centre)[-1] == "role.end"

    def test_it_can_end_with_yesterday_so_that_access_is_gone_now(self, manager):
        role = AssessorFactory(by=manager).roles.get()
        yesterday = date(2025, 3, 2)
        assert self.end(role, yesterday, manager, at=AT.replace(month=3, day=3)).ends_on == yesterday

    def test_days_already_worked_stay_on_record(self, manager):
        role = AssessorFactory(by=manager).roles.get()
        with pytest.raises(Refused, match="stays on record"):
            self.end(role, date(2025, 3, 1), manager, at=AT.replace(month=3, day=3))

    def test_it_does_not_end_before_it_began(self, manager):
        role = AssessorFactory(by=manager).roles.get()
        with pytest.raises(Refused, match="before the first"):
            self.end(role, date(2025, 1, 5), manager)

    def test_it_ends_once(self, manager):
        role = AssessorFactory(by=manager, until=date(2025, 1, 31)).roles.get()
        with pytest.raises(Refused, match="ended already"):
            self.end(role, date(2025, 2, 28), manager, at=AT.replace(month=2))

    def test_a_centre_is_not_left_without_a_manager(self, manager):
        with pytest.raises(Refused, match="without a manager"):
            self.end(manager.roles.get(), FAR_DAY, manager)
        PersonFactory(by=manager, kinds=("manager",))
        self.end(manager.roles.get(), FAR_DAY, manager)

    def test_a_manager_whose_own_time_is_up_by_then_does_not_count(self, manager):
        PersonFactory(by=manager, kinds=("manager",), until=date(2025, 3, 31))
        with pytest.raises(Refused, match="without a manager"):
            self.end(manager.roles.get(), date(2025, 3, 31), manager)

    def test_another_centres_manager_is_refused(self):
        with pytest.raises(Refused, match="own centre"):
            self.end(AssessorFactory().roles.get(), FAR_DAY, ManagerFactory())


class TestSettingAPassword:
    def test_the_new_one_counts_and_the_ledger_says_who_set_it(self, manager):
        person = people.set_password(person=PersonFactory(by=manager), password=PASSWORD, by=manager, at=AT)
        assert Person.objects.get(pk=person.pk).check_password(PASSWORD)
        entry = LedgerEntry.objects.filter(centre=manager.centre).last()
        assert (entry.verb, entry.subject, entry.actor) == ("person.set-password", str(person.pk), manager.pk)

    def test_one_that_is_easily_guessed_is_refused(self, manager):
        with pytest.raises(Refused):
            people.set_password(person=manager, password="12345", by=manager, at=AT)


class TestErasing:
    @pytest.fixture
    def person(self, manager):
        return CandidateFactory(
            by=manager,
            name="Barnaby Thrupp",
            email="thrupp@example.org",
            password=PASSWORD,
            cohort=CohortFactory(by=manager),
        )

    def test_nothing_is_left_that_says_who_it_was(self, manager, person):
        salt = person.salt
        AccessAttempt.objects.create(username=person.email, failures_since_start=1)
        people.erase(person=person, by=manager, at=AT)
        row = Person.objects.filter(pk=person.pk).values().get()
        for personal in ("Barnaby", "Thrupp", "thrupp", salt):
            assert personal not in str(row)
        assert not AccessAttempt.objects.exists()

    def test_the_ledger_still_verifies(self, manager, person):
        before = ledger.head(centre=manager.centre)
        people.erase(person=person, by=manager, at=AT)
        found = ledger.verify(centre=manager.centre, known=before)
        assert isinstance(found, ledger.Intact)
        assert found.count == before.number + 1
        assert verbs(manager.centre)[-1] == "person.erase"

    def test_access_is_gone(self, manager, person, client):
        client.force_login(person)
        people.erase(person=person, by=manager, at=AT)
        assert client.get("/").status_code == 302
        assert not Person.objects.get(pk=person.pk).has_usable_password()

    def test_roles_and_cohorts_end_that_day(self, manager, person):
        people.grant_role(person=person, kind="technician", starts_on=FAR_DAY, by=manager, at=AT)
        people.erase(person=person, by=manager, at=AT)
        ends = dict(Role.objects.filter(person=person).values_list("kind", "ends_on"))
        assert ends == {"candidate": DAY, "technician": FAR_DAY}
        assert Membership.objects.get(person=person).left_on == DAY

    def test_a_second_time_is_refused(self, manager, person):
        people.erase(person=person, by=manager, at=AT)
        for stale_or_fresh in (person, Person.objects.get(pk=person.pk)):
            with pytest.raises(Refused, match="been erased"):
                people.erase(person=stale_or_fresh, by=manager, at=AT)

    def test_several_people_can_be_erased(self, manager, person):
        people.erase(person=person, by=manager, at=AT)
        people.erase(person=CandidateFactory(by=manager), by=manager, at=AT)
        assert Person.objects.filter(erased_at=AT).count() == 2

    def test_an_erased_person_is_given_nothing_more(self, manager, person):
        erased = people.erase(person=person, by=manager, at=AT)
        with pytest.raises(Refused, match="erased"):
            people.grant_role(person=erased, kind="assessor", starts_on=DAY, by=manager, at=AT)

    def test_nobody_erases_themselves(self, manager):
        with pytest.raises(Refused, match="yourself"):
            people.erase(person=manager, by=manager, at=AT)

    def test_a_centre_is_not_left_without_a_manager(self, manager):
        # The doer's own role is over by the day of the erasure: only the other manager is left.
        other = PersonFactory(by=manager, kinds=("manager",))
        people.end_role(role=manager.roles.get(), on=DAY, by=manager, at=AT)
        with pytest.raises(Refused, match="without a manager"):
            people.erase(person=other, by=manager, at=AT + timedelta(days=1))

    def test_another_centres_manager_is_refused(self, person):
        with pytest.raises(Refused, match="own centre"):
            people.erase(person=person, by=ManagerFactory(), at=AT)
