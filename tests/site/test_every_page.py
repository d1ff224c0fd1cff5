"""Each address by each role: the site answers what the permissions say, whatever state things are in."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.db import transaction
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone

from academy.models import Person, Role
from academy.permissions import Permission
from tests.factories.academy import DAY, FAR_DAY, CandidateFactory, ManagerFactory, PersonFactory
from tests.factories.centres import NOON, BusyCentre, busy_centre, empty_centre
from tests.site.owners import owners
from tests.site.pages import ASKED, PAGES, STATES, Page, every_address
from tests.site.reading import faults_of

KINDS = tuple(Role.Kind)
FOR_THOSE_KNOWN = tuple(page for page in PAGES if page.needs != Permission.PUBLIC)
FOR_CANDIDATES = tuple(
    page for page in FOR_THOSE_KNOWN if page.things and page.is_open_to(Role.Kind.CANDIDATE)
)
OF_A_CENTRE = tuple(page for page in FOR_THOSE_KNOWN if page.things)
LISTS = tuple(page for page in FOR_THOSE_KNOWN if not page.about and page.shows)
METHODS = ("get", "post")


def labels(value: object) -> str:
    return value.label if isinstance(value, Page) else str(value)


@pytest.fixture(scope="module")
def _made(django_db_setup, django_db_blocker) -> Iterator[BusyCentre]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield busy_centre()
        transaction.set_rollback(True)


@pytest.fixture
def centre(_made, db, noon) -> BusyCentre:
    """One centre for all of these, each of which finds it as it was."""
    return _made


@pytest.fixture
def noon(monkeypatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOON)


@pytest.fixture
def as_role(client, centre):
    def as_role(kind: Role.Kind) -> Client:
        client.force_login(centre.people[kind])
        return client

    return as_role


@pytest.fixture
def as_person(client, centre):
    def as_person(person: Person) -> Client:
        client.force_login(person)
        return client

    return as_person


def expected(page: Page, kind: Role.Kind) -> int:
    if not page.is_open_to(kind):
        return 403
    if page.takes_posts:
        return 405
    if kind not in page.only:
        return 404
    # Whoever is signed in already needs no second time.
    return 302 if page.leads_on or page.name == "sign-in" else 200


def takes(address: str, method: str) -> bool:
    """Whether what is at an address answers a method at all."""
    view = resolve(address).func.view_class
    return hasattr(view, method) and method in view.http_method_names


def answers(client: Client, address: str) -> dict[str, int]:
    return {method: status_of(client, method, address) for method in METHODS}


def status_of(client: Client, method: str, address: str) -> int:
    """Read to its end, as a browser would: what streams is closed then."""
    response = getattr(client, method)(address)
    if response.streaming:
        response.getvalue()
    return int(response.status_code)


def not_there(address: str) -> dict[str, int]:
    return {method: 404 if takes(address, method) else 405 for method in METHODS}


def test_no_page_is_missing_here():
    assert {page.key for page in PAGES} == every_address()


@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_each_role_gets_to_what_it_may(as_role, centre, page):
    address = page.address(centre)
    for kind in KINDS:
        response = as_role(kind).get(address)

        assert response.status_code == expected(page, kind), kind
        if response.status_code == 200 and response["Content-Type"].startswith("text/html"):
            assert faults_of(response.text) == [], kind


@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_each_role_sends_nothing_to_what_it_may_not(as_role, centre, page):
    address = page.address(centre)
    for kind in KINDS:
        if not page.is_open_to(kind):
            assert as_role(kind).post(address).status_code == 403, kind


@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_an_empty_form_is_answered(as_role, centre, page):
    """Whoever may send it is told what is missing, or led on: nothing breaks on it."""
    kind = next((kind for kind in KINDS if page.is_open_to(kind) and kind in page.only), None)
    if kind is None:
        pytest.skip("nobody finds what this row is about")
    address = page.address(centre)

    status = status_of(as_role(kind), "post", address)

    assert status in {200, 302, 400, 404, 409, 422} if takes(address, "post") else status == 405


@pytest.mark.parametrize("page", STATES, ids=labels)
def test_a_page_has_a_face_for_every_state(as_role, centre, page):
    address = page.address(centre)
    for kind in KINDS:
        response = as_role(kind).get(address, follow=True)

        sound = page.is_open_to(kind) and kind in page.only
        assert response.status_code == (200 if sound else 404 if page.is_open_to(kind) else 403), kind
        assert faults_of(response.text) == [], kind


@pytest.mark.parametrize(("page", "query"), ASKED, ids=labels)
def test_a_page_has_a_face_for_every_question(as_role, page, query):
    for kind in KINDS:
        response = as_role(kind).get(reverse(page.name, query=query))

        assert response.status_code == (200 if page.is_open_to(kind) else 403), kind
        assert faults_of(response.text) == [], kind


@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_a_stranger_is_sent_to_sign_in_and_comes_back(client, centre, page):
    address = page.address(centre)
    response = client.get(address)

    if page.needs == Permission.PUBLIC:
        assert response.status_code == (405 if page.takes_posts else 200)
    else:
        assert response.status_code == 302
        assert response["Location"] == f"{reverse('sign-in')}?next={address}"
        assert client.post(address)["Location"].startswith(reverse("sign-in"))


@pytest.mark.parametrize("page", OF_A_CENTRE, ids=labels)
def test_what_belongs_to_another_centre_is_not_there(as_person, centre, page):
    anything = PersonFactory(by=ManagerFactory(), kinds=KINDS, until=FAR_DAY)
    address = page.address(centre)

    assert answers(as_person(anything), address) == not_there(address)


@pytest.mark.parametrize("page", FOR_CANDIDATES, ids=labels)
def test_what_is_another_candidates_is_not_there(as_person, centre, page):
    """Nor to one of the same centre, who may work, and read, what is their own."""
    if not owners(centre, page):
        pytest.skip("it is the centre’s, not a candidate’s")
    another = CandidateFactory(by=centre.bench.manager)
    address = page.address(centre)

    assert answers(as_person(another), address) == not_there(address)


def test_another_candidates_own_copy_is_not_there(as_person, centre):
    address = reverse("portfolio-download", args=[centre.id_of("own-copy")])

    assert as_person(centre.things["other"]).get(address).status_code == 404


@pytest.mark.parametrize("page", FOR_THOSE_KNOWN, ids=labels)
def test_whose_role_ended_yesterday_gets_to_nothing(as_person, centre, page):
    """They sign in, and find no more than their own pages; a visit that goes on lets no visitor in."""
    before, yesterday = DAY - timedelta(days=30), DAY - timedelta(days=1)
    visitor = centre.people[Role.Kind.EXTERNAL_VERIFIER]
    Role.objects.filter(person=visitor).update(starts_on=before, ends_on=yesterday)
    left = PersonFactory(by=centre.bench.manager, kinds=KINDS, on=before, until=yesterday)
    address = page.address(centre)
    for person in (left, visitor):
        found = answers(as_person(person), address)

        if page.needs != Permission.SIGNED_IN:
            assert found == {"get": 403, "post": 403}
        elif page.things:
            assert set(found.values()) <= {403, 404, 405}


def test_a_candidate_is_sent_from_their_portfolio_to_their_own_page(as_role, centre):
    response = as_role(Role.Kind.CANDIDATE).get(reverse("portfolio-detail", args=[centre.id_of("person")]))

    assert response["Location"] == reverse("portfolio-own")


def test_an_attempt_is_not_reviewed_before_it_is_handed_in(as_role, centre):
    address = reverse("review-detail", args=[centre.id_of("unfinished")])

    assert as_role(Role.Kind.ASSESSOR).get(address).status_code == 404


@pytest.mark.parametrize("name", ["attempt-result", "attempt-step"])
def test_a_page_of_another_state_of_an_attempt_leads_to_its_steps(as_role, centre, name):
    waiting = centre.id_of("waiting")
    address = reverse(name, args=[waiting, 1] if name == "attempt-step" else [waiting])

    response = as_role(Role.Kind.CANDIDATE).get(address)

    assert response["Location"] == reverse("attempt-overview", args=[waiting])


class TestACentreJustOpened:
    @pytest.fixture
    def people(self, db, noon):
        return empty_centre()

    @pytest.mark.parametrize("kind", KINDS)
    def test_every_page_says_what_to_do_next(self, client, people, kind):
        client.force_login(people[kind])
        for page in LISTS:
            response = client.get(reverse(page.name))

            assert response.status_code == (200 if page.is_open_to(kind) else 403), page.name
            if response["Content-Type"].startswith("text/html"):
                assert faults_of(response.text) == [], page.name

    @pytest.mark.parametrize("kind", KINDS)
    def test_nobody_starts_on_a_dead_end(self, client, people, kind):
        client.force_login(people[kind])
        first = client.get(reverse("home"), follow=True)

        assert first.status_code == 200
        assert 'class="empty"' in first.text
