from datetime import date

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from academy import cohorts, people
from academy.models import Cohort, Person, Role
from tests.factories.academy import (
    AT,
    DAY,
    CandidateFactory,
    CohortFactory,
    ManagerFactory,
    PersonFactory,
    person_with,
)

pytestmark = pytest.mark.django_db

PASSWORD = "seven wet flanges"


@pytest.fixture
def manager():
    return ManagerFactory(manager_name="Ada Tapley", manager_email="ada@example.org")


@pytest.fixture
def candidate(manager):
    return CandidateFactory(by=manager, name="Barnaby Thrupp", email="thrupp@example.org")


@pytest.fixture
def membership(manager, candidate):
    return cohorts.add_member(
        cohort=CohortFactory(by=manager, name="Winter block"), person=candidate, on=DAY, by=manager, at=AT
    )


@pytest.fixture
def pages(candidate, membership):
    """Every page of this package that a person may or may not have, by URL name."""
    role = candidate.roles.get()
    about = {"role-end": [candidate.pk, role.pk], "membership-end": [candidate.pk, membership.pk]}
    names = (
        "home",
        "password-change",
        "person-list",
        "person-create",
        "person-detail",
        "person-password",
        "person-erase",
        "role-grant",
        "role-end",
        "membership-create",
        "membership-end",
        "cohort-create",
    )
    own = {"home", "password-change", "person-list", "person-create", "cohort-create"}
    return {
        name: reverse(name, args=about.get(name, [] if name in own else [candidate.pk])) for name in names
    }


@pytest.fixture
def as_manager(client, manager):
    client.force_login(manager)
    return client


FOR_ANYONE_SIGNED_IN = {"home", "password-change"}


@pytest.mark.parametrize("kind", Role.Kind)
def test_each_page_opens_to_managers_alone_but_for_ones_own(client, manager, pages, kind):
    client.force_login(person_with(kind, by=manager))
    for name, url in pages.items():
        status = client.get(url).status_code
        if name in FOR_ANYONE_SIGNED_IN or kind == Role.Kind.MANAGER:
            assert status in {200, 302}, name
        else:
            assert status == 403, name


def test_a_stranger_is_sent_to_sign_in_from_each(client, pages):
    for url in pages.values():
        assert client.get(url)["Location"].startswith("/sign-in/?next=")


def test_another_centres_manager_finds_nobody_here(client, pages):
    client.force_login(ManagerFactory())
    for name in ("person-detail", "person-password", "person-erase", "role-grant", "role-end"):
        assert client.get(pages[name]).status_code == 404, name
    assert "Thrupp" not in client.get(pages["person-list"]).text


@pytest.mark.parametrize(
    ("kinds", "screen"),
    [
        (["candidate"], "bench-home"),
        (["assessor"], "review-list"),
        (["verifier"], "today"),
        (["technician"], "today"),
        (["manager"], "today"),
        (["manager", "assessor"], "review-list"),
        (["technician", "candidate"], "bench-home"),
    ],
    ids=lambda value: " and ".join(value) if isinstance(value, list) else value,
)
def test_home_is_the_first_screen_of_a_persons_roles(client, manager, kinds, screen):
    client.force_login(PersonFactory(by=manager, kinds=tuple(kinds)))
    assert client.get("/")["Location"] == reverse(screen)


def test_home_is_the_list_of_visits_for_an_external_verifier(client, manager):
    client.force_login(person_with(Role.Kind.EXTERNAL_VERIFIER, by=manager))
    assert client.get("/")["Location"] == reverse("visit-list")


def test_without_a_role_home_says_whom_to_ask(client, manager):
    client.force_login(PersonFactory(by=manager))
    page = client.get("/").text
    assert "You have no role today" in page
    assert "Ada Tapley" in page
    assert "ada@example.org" in page


def test_without_a_centre_home_still_says_something(client):
    client.force_login(Person.objects.create_user(email="nobody@example.org", name="Nobody"))
    assert "Ask whoever set this site up" in client.get("/").text


def test_a_page_that_is_not_open_says_so_in_plain_words(client, manager):
    client.force_login(PersonFactory(by=manager))
    response = client.get(reverse("person-list"))
    assert response.status_code == 403
    assert "This page isn’t open to you" in response.text


def test_a_page_that_is_not_there_says_so_in_plain_words(client):
    response = client.get("/no-such-page/")
    assert response.status_code == 404
    assert "There is no such page" in response.text


def test_a_fault_of_ours_says_so_in_plain_words(client, manager, monkeypatch):
    def fail(*_args, **_options):
        raise ZeroDivisionError

    client.force_login(manager)
    client.raise_request_exception = False
    monkeypatch.setattr("academy.views.people.PersonList.get", fail)
    response = client.get(reverse("person-list"))
    assert response.status_code == 500
    assert "Something went wrong here" in response.text


def test_a_form_that_was_open_too_long_says_so_in_plain_words(manager):
    client = Client(enforce_csrf_checks=True)
    client.force_login(manager)
    response = client.post(reverse("cohort-create"), {"name": "Spring block"})
    assert response.status_code == 403
    assert "This page had been open too long" in response.text


def test_pages_may_load_nothing_from_elsewhere_and_be_framed_by_nobody(client):
    policy = client.get(reverse("sign-in"))["Content-Security-Policy"]
    assert {part.strip() for part in policy.split(";")} == {
        "default-src 'self'",
        "style-src 'self'",
        "script-src 'self'",
        "worker-src 'self'",
        "img-src 'self' data: blob:",
        "frame-ancestors 'none'",
        "base-uri 'self'",
        "form-action 'self'",
    }


class TestPeoplePages:
    def test_the_list_names_people_with_todays_roles_and_cohorts(self, as_manager, membership):
        page = as_manager.get(reverse("person-list")).text
        for shown in ("Barnaby Thrupp", "thrupp@example.org", "Candidate", "Winter block"):
            assert shown in page

    def test_the_list_leaves_out_who_was_erased(self, as_manager, manager, candidate):
        people.erase(person=candidate, by=manager, at=AT)
        assert people.ERASED_NAME not in as_manager.get(reverse("person-list")).text

    def test_the_list_is_narrowed_by_part_of_a_name_or_address(self, as_manager, manager, candidate):
        PersonFactory(by=manager, name="Someone Else")
        for part in ("thru", "THRUPP@"):
            page = as_manager.get(reverse("person-list"), {"q": part}).text
            assert "Barnaby Thrupp" in page
            assert "Someone Else" not in page
        assert "Nobody by that name" in as_manager.get(reverse("person-list"), {"q": "zzz\0"}).text

    def test_the_list_takes_as_many_queries_for_thirty_as_for_three(self, as_manager, manager):
        cohort = CohortFactory(by=manager)

        def queries():
            with CaptureQueriesContext(connection) as captured:
                as_manager.get(reverse("person-list"))
            return len(captured)

        for _ in range(3):
            PersonFactory(by=manager, kinds=("candidate", "technician"), cohort=cohort)
        few = queries()
        for _ in range(27):
            PersonFactory(by=manager, kinds=("candidate", "technician"), cohort=cohort)
        assert queries() == few

    def test_a_person_is_added_and_shown(self, as_manager, manager, membership):
        response = as_manager.post(
            reverse("person-create"),
            {
                "name": "Cora Vint",
                "email": "Vint@example.org",
                "kinds": ["assessor", "technician"],
                "starts_on": "2025-01-06",
                "cohort": membership.cohort_id,
                "password": PASSWORD,
            },
        )
        person = Person.objects.get(email="vint@example.org")
        assert response["Location"] == reverse("person-detail", args=[person.pk])
        page = as_manager.get(response["Location"]).text
        for shown in ("Cora Vint", "Assessor", "Technician", "Winter block"):
            assert shown in page

    def test_what_is_refused_is_said_beside_its_field_and_nothing_is_lost(self, as_manager, candidate):
        response = as_manager.post(
            reverse("person-create"),
            {
                "name": "Cora Vint",
                "email": candidate.email,
                "kinds": ["assessor"],
                "starts_on": "2025-01-06",
                "password": PASSWORD,
            },
        )
        assert response.context["form"].errors["email"] == [
            "Somebody with that email address is here already."
        ]
        assert 'value="Cora Vint"' in response.text

    def test_another_centres_cohort_is_not_offered(self, as_manager):
        other = CohortFactory(name="Elsewhere")
        assert "Elsewhere" not in as_manager.get(reverse("person-create")).text
        response = as_manager.post(reverse("person-create"), {"cohort": other.pk})
        assert "cohort" in response.context["form"].errors

    def test_a_role_is_granted_and_ended(self, as_manager, candidate):
        where = reverse("person-detail", args=[candidate.pk])
        granted = as_manager.post(
            reverse("role-grant", args=[candidate.pk]), {"kind": "technician", "starts_on": "2025-01-06"}
        )
        assert granted["Location"] == where
        role = candidate.roles.get(kind="technician")
        ended = as_manager.post(reverse("role-end", args=[candidate.pk, role.pk]), {"ends_on": "2099-12-31"})
        assert ended["Location"] == where
        role.refresh_from_db()
        assert role.ends_on == date(2099, 12, 31)

    def test_a_role_that_is_held_already_is_refused_beside_its_field(self, as_manager, candidate):
        response = as_manager.post(
            reverse("role-grant", args=[candidate.pk]), {"kind": "candidate", "starts_on": "2025-02-03"}
        )
        assert "already holds that role" in response.context["form"].errors["kind"][0]

    def test_a_password_is_set_for_somebody(self, as_manager, candidate):
        as_manager.post(reverse("person-password", args=[candidate.pk]), {"password": PASSWORD})
        candidate.refresh_from_db()
        assert candidate.check_password(PASSWORD)

    def test_erasing_is_confirmed_first_and_shown_afterwards(self, as_manager, candidate):
        where = reverse("person-erase", args=[candidate.pk])
        assert as_manager.post(where, {}).status_code == 200
        assert not Person.objects.get(pk=candidate.pk).erased_at
        assert as_manager.post(where, {"sure": "on"})["Location"] == reverse("person-list")
        page = as_manager.get(reverse("person-detail", args=[candidate.pk])).text
        assert "Erased on" in page
        assert "Thrupp" not in page

    def test_a_cohort_is_opened_joined_and_left(self, as_manager, candidate):
        opened = as_manager.post(
            reverse("cohort-create"),
            {"name": "Spring block", "starts_on": "2025-01-06", "ends_on": "2025-06-27"},
        )
        assert opened["Location"] == reverse("cohort-matrix")
        cohort = Cohort.objects.get(name="Spring block")
        as_manager.post(
            reverse("membership-create", args=[candidate.pk]),
            {"cohort": cohort.pk, "joined_on": "2025-01-06"},
        )
        membership = candidate.memberships.get(cohort=cohort)
        as_manager.post(
            reverse("membership-end", args=[candidate.pk, membership.pk]), {"left_on": "2025-01-31"}
        )
        membership.refresh_from_db()
        assert membership.left_on == date(2025, 1, 31)
