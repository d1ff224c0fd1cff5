"""Every page for every role that may see it: by axe in two sizes and schemes, on a narrow screen, by keys.

What axe can't tell (whether words are plain, whether an order makes sense) is for people to look at.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page

from academy.models import Person, Role
from academy.permissions import Permission
from tests.browser.conftest import DESK, PHONE, give_password, sign_in
from tests.factories.centres import NOON, BusyCentre, busy_centre, empty_centre
from tests.site import pages
from tests.site.pages import Page as SitePage

NARROW = {"width": 320, "height": 640}
MOST_TABS = 150
FOCUS = (Path(__file__).parent / "focus.js").read_text(encoding="utf-8")
NO_PAGES = {"photo-file", "portfolio-download"}  # a picture and a document
CHANGES = re.compile(r'value="[^"]*"|[0-9a-f-]{36}')
"""What differs from one look at the same page to the next."""


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


@dataclass(slots=True, kw_only=True)
class Inspector:
    """Goes from page to page and notes what is wrong.

    What one role sees as another one did was looked at then: it is in ``seen``.
    """

    page: Page
    seen: set[str]
    wrong: list[str] = field(default_factory=list)
    visited: int = 0

    def visit(self, address: str) -> None:
        response = self.page.goto(address)
        assert response is not None and response.status < 500, address
        self.look(address)

    def look(self, address: str) -> None:
        self.visited += 1
        content = CHANGES.sub("", self.page.locator("main").inner_html())
        if self.visited > 1 and content in self.seen:
            return
        self.seen.add(content)
        self.page.evaluate(AXE_SCRIPT)
        self.wrong += [f"{address} {complaint}" for complaint in self._complaints()]

    def _complaints(self) -> Iterator[str]:
        for size in (PHONE, DESK):
            self.page.set_viewport_size(size)
            yield from (f"at {size['width']} px: {each}" for each in self._axe("{}"))
            self.page.emulate_media(color_scheme="dark")
            yield from (f"dark: {each}" for each in self._axe("{runOnly: ['color-contrast']}"))
            self.page.emulate_media(color_scheme="light")
        self.page.set_viewport_size(NARROW)
        width = self.page.evaluate("document.documentElement.scrollWidth")
        if width > NARROW["width"]:
            yield f"is {width} px wide on a screen of {NARROW['width']} px"
        self.page.set_viewport_size(PHONE)
        yield from self._focus()

    def _axe(self, options: str) -> list[str]:
        found: list[str] = self.page.evaluate(
            f"axe.run({{resultTypes: ['violations'], ...{options}}}).then(found => found.violations.map("
            "each => `${each.id}: ${each.nodes.map(node => node.html).join(' ')}`))"
        )
        return found

    def _focus(self) -> Iterator[str]:
        """Tab through the page: whatever has the focus shows it, and nothing lies over it."""
        self.page.evaluate("document.activeElement.blur(); window.scrollTo(0, 0)")
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            where, complaint = self.page.evaluate(FOCUS)
            if complaint:
                yield f"{where} {complaint}"
            if not where:
                return
        yield f"has no end after {MOST_TABS} tabs"


@pytest.fixture(scope="module")
def seen() -> set[str]:
    return set()


@pytest.fixture
def inspector(site, new_page, seen) -> Iterator[Inspector]:
    inspector = Inspector(page=new_page(), seen=seen)
    yield inspector
    assert inspector.wrong == []


def shown_to(kind: Role.Kind) -> Iterator[SitePage]:
    for page in (*pages.PAGES, *pages.STATES):
        if page.shows and page.name not in NO_PAGES and page.is_open_to(kind) and kind in page.only:
            yield page


@pytest.mark.parametrize("kind", Role.Kind)
def test_the_pages_of_a_centre_at_work(site, inspector, kind):
    sign_in(inspector.page, site.busy.people[kind])
    for page in shown_to(kind):
        inspector.visit(page.address(site.busy))
    for page, query in pages.ASKED:
        if page.is_open_to(kind):
            inspector.visit(reverse(page.name, query=query))
    inspector.visit("/no-such-page/")
    if kind != Role.Kind.MANAGER:
        inspector.visit(reverse("person-list"))
    assert inspector.visited > 10


@pytest.mark.parametrize("kind", Role.Kind)
def test_the_pages_of_a_centre_just_opened(site, inspector, kind):
    sign_in(inspector.page, site.empty[kind])
    for page in shown_to(kind):
        if not page.about and page.needs != Permission.PUBLIC:
            inspector.visit(reverse(page.name))


def test_what_is_wrong_is_said_to_everybody(site, inspector):
    inspector.visit(reverse("sign-in"))
    send(inspector, "Sign in")
    sign_in(inspector.page, site.busy.people[Role.Kind.CANDIDATE])
    inspector.visit(reverse("attempt-start", args=[site.busy.id_of("rig-begun"), site.busy.id_of("version")]))
    send(inspector, "Start")
    for position, button in ((13, "Log the reading"), (30, "Keep the photo"), (32, "Log it")):
        inspector.visit(reverse("attempt-step", args=[site.busy.id_of("unfinished"), position]))
        send(inspector, button)


def send(inspector: Inspector, button: str) -> None:
    """Send a form as it is, which isn't enough."""
    inspector.page.get_by_role("button", name=button, exact=True).click()
    inspector.page.get_by_role("alert").wait_for()
    inspector.look(f"{inspector.page.url} sent without anything")
