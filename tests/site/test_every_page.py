"""Each address by each role: the site answers what the permissions say, whatever state things are in."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone

from academy.models import Role
from academy.permissions import Permission
from tests.factories.academy import FAR_DAY, ManagerFactory, PersonFactory
from tests.factories.centres import NOON, BusyCentre, busy_centre, empty_centre
from tests.site.pages import ASKED, PAGES, STATES, Page, every_address
from tests.site.reading import faults_of

KINDS = tuple(Role.Kind)
CLOSED = tuple((page, kind) for page in PAGES for kind in KINDS if not page.is_open_to(kind))
FOR_THOSE_KNOWN = tuple(page for page in PAGES if page.needs != Permission.PUBLIC)
OWN = tuple(
    page
    for page in PAGES
    if page.needs == Permission.ATTEMPT_WORK
    and page.name.startswith(("attempt-", "step-", "virtual-"))
    and "pk" in page.about
)
OF_A_CENTRE = tuple(
    page for page in FOR_THOSE_KNOWN if any(isinstance(named, str) for named in page.about.values())
)
LISTS = tuple(page for page in FOR_THOSE_KNOWN if not page.about and page.shows)


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


def test_no_page_is_missing_here():
    assert {page.key for page in PAGES} == every_address()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_a_role_gets_to_what_it_may(as_role, centre, page, kind):
    response = as_role(kind).get(page.address(centre))

    assert response.status_code == expected(page, kind)
    if response.status_code == 200 and response["Content-Type"].startswith("text/html"):
        assert faults_of(response.text) == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("page", STATES, ids=labels)
def test_a_page_has_a_face_for_every_state(as_role, centre, page, kind):
    response = as_role(kind).get(page.address(centre), follow=True)

    sound = page.is_open_to(kind) and kind in page.only
    assert response.status_code == (200 if sound else 404 if page.is_open_to(kind) else 403)
    assert faults_of(response.text) == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("page", "query"), ASKED, ids=labels)
def test_a_page_has_a_face_for_every_question(as_role, page, query, kind):
    response = as_role(kind).get(reverse(page.name, query=query))

    assert response.status_code == (200 if page.is_open_to(kind) else 403)
    assert faults_of(response.text) == []


@pytest.mark.parametrize("page", PAGES, ids=labels)
def test_a_stranger_is_sent_to_sign_in_and_comes_back(client, centre, page):
    address = page.address(centre)
    response = client.get(address)

    if page.needs == Permission.PUBLIC:
        assert response.status_code == (405 if page.takes_posts else 200)
    else:
        assert response.status_code == 302
        assert response["Location"] == f"{reverse('sign-in')}?next={address}"


@pytest.mark.parametrize(("page", "kind"), CLOSED, ids=labels)
def test_a_role_sends_nothing_to_what_it_may_not(as_role, centre, page, kind):
    assert as_role(kind).post(page.address(centre)).status_code == 403


@pytest.mark.parametrize("page", FOR_THOSE_KNOWN, ids=labels)
def test_a_stranger_sends_nothing(client, centre, page):
    assert client.post(page.address(centre))["Location"].startswith(reverse("sign-in"))


@pytest.mark.parametrize("method", ["get", "post"])
@pytest.mark.parametrize("page", OF_A_CENTRE, ids=labels)
def test_what_belongs_to_another_centre_is_not_there(client, centre, page, method):
    anything = PersonFactory(by=ManagerFactory(), kinds=KINDS, until=FAR_DAY)
    client.force_login(anything)

    address = page.address(centre)

    assert getattr(client, method)(address).status_code == (404 if takes(address, method) else 405)


@pytest.mark.parametrize("method", ["get", "post"])
@pytest.mark.parametrize("page", OWN, ids=labels)
def test_another_candidates_attempt_is_not_there(client, centre, page, method):
    client.force_login(centre.things["other"])

    address = page.address(centre)

    assert getattr(client, method)(address).status_code == (404 if takes(address, method) else 405)


@pytest.mark.parametrize("name", ["photo-file", "portfolio-detail", "portfolio-download", "portfolio-issue"])
def test_another_candidates_records_are_not_there(client, centre, name):
    about = {"photo-file": "photo", "portfolio-download": "own-copy"}.get(name, "person")
    client.force_login(centre.things["other"])
    method = client.post if name == "portfolio-issue" else client.get

    assert method(reverse(name, args=[centre.id_of(about)])).status_code == 404


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
