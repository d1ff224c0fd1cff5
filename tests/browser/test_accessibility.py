"""Every page for every role that may see it: by axe in two sizes and schemes, on a narrow screen, by keys.

What axe can't tell (whether words are plain, whether an order makes sense) is for people to look at.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from django.conf import settings
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from academy.models import Person, Role
from academy.permissions import Permission
from tests.browser.conftest import give_password, sign_in
from tests.browser.inspection import Inspector
from tests.factories.centres import NOON, BusyCentre, busy_centre, empty_centre
from tests.site import pages
from tests.site.pages import Page as SitePage

STAFF = tuple(kind for kind in Role.Kind if kind != Role.Kind.CANDIDATE)
NO_PAGES = {  # pictures, documents, files, and what a device asks for
    "attempt-pack",
    "bench-sync",
    "calendar-feed",
    "certificate-file",
    "certificates-export",
    "checks-export",
    "cohort-export",
    "hold-notice",
    "impact-letter",
    "impact-print",
    "instruments-export",
    "label-print",
    "pack-download",
    "photo-file",
    "portfolio-download",
    "rigs-export",
    "rotation-print",
    "service-worker",
    "sheet-blank",
    "sheet-print",
    "task-export",
    "visit-certificate",
    "visit-photo",
    "visit-portfolio",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Two centres, one at work and one just opened."""

    busy: BusyCentre
    empty: Mapping[Role.Kind, Person]


@pytest.fixture(scope="module")
def transactional_db(django_db_setup, django_db_blocker) -> Iterator[None]:
    """Filled once for all of these, which only look at what is there."""
    with django_db_blocker.unblock():
        yield
        call_command("flush", interactive=False, verbosity=0)


@pytest.fixture(scope="module")
def site(transactional_db, live_server) -> Iterator[Site]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(timezone, "now", lambda: NOON)
        busy, empty = busy_centre(), empty_centre()
        for people in (busy.people, empty):
            for person in people.values():
                give_password(person, by=people[Role.Kind.MANAGER])
        yield Site(busy=busy, empty=empty)


@pytest.fixture
def inspector(site, new_page) -> Iterator[Inspector]:
    inspector = Inspector(page=new_page())
    yield inspector
    assert inspector.wrong == []


def shown_to(kind: Role.Kind) -> Iterator[SitePage]:
    for page in (*pages.PAGES, *pages.STATES):
        if page.shows and page.name not in NO_PAGES and page.is_open_to(kind) and kind in page.only:
            yield page


# The staff together: much of what one of them sees another one sees too, and it is looked at once.
@pytest.mark.parametrize("kinds", [(Role.Kind.CANDIDATE,), STAFF], ids=["candidate", "staff"])
def test_the_pages_of_a_centre_at_work(site, inspector, kinds):
    for kind in kinds:
        become(inspector, site.busy.people[kind])
        for page in shown_to(kind):
            inspector.visit(page.address(site.busy))
        for page, query in pages.ASKED:
            if page.is_open_to(kind):
                inspector.visit(reverse(page.name, query=query))
        inspector.visit("/no-such-page/")
        if kind != Role.Kind.MANAGER:
            inspector.visit(reverse("person-list"))
    assert inspector.visited > 10 * len(kinds)


def test_the_pages_of_a_centre_just_opened(site, inspector):
    for kind in Role.Kind:
        become(inspector, site.empty[kind])
        for page in shown_to(kind):
            if not page.about and page.needs != Permission.PUBLIC:
                inspector.visit(reverse(page.name))


def become(inspector: Inspector, person: Person) -> None:
    inspector.page.context.clear_cookies()
    sign_in(inspector.page, person)


def test_what_is_wrong_is_said_to_everybody(site, inspector):
    inspector.visit(reverse("sign-in"))
    send(inspector, "Sign in")
    sign_in(inspector.page, site.busy.people[Role.Kind.CANDIDATE])
    inspector.visit(reverse("attempt-start", args=[site.busy.id_of("rig-begun"), site.busy.id_of("version")]))
    send(inspector, "Start")
    for position, button in ((13, "Log the reading"), (30, "Keep the photo"), (32, "Log it")):
        inspector.visit(reverse("attempt-step", args=[site.busy.id_of("unfinished"), position]))
        send(inspector, button)


def test_who_is_locked_out_for_a_while_is_told(inspector, monkeypatch):
    # The lock-out looks at the machine's own clock.
    monkeypatch.setattr(timezone, "now", lambda: datetime.now(tz=UTC))
    page = inspector.page
    for _ in range(settings.AXES_FAILURE_LIMIT):
        page.goto(reverse("sign-in"))
        page.get_by_label("Email").fill("nobody@example.org")
        page.get_by_label("Password").fill("not a password")
        with page.expect_response(lambda response: response.request.method == "POST"):
            page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Locked for a while").wait_for()
    inspector.look("locked out")


def send(inspector: Inspector, button: str) -> None:
    """Send a form as it is, which isn't enough."""
    inspector.page.get_by_role("button", name=button, exact=True).click()
    inspector.page.get_by_role("alert").wait_for()
    inspector.look(f"{inspector.page.url} sent without anything")
