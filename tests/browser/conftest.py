"""Chromium, driven against a live server: one browser for the run, a clean context for each test."""

import os
import time
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, ConsoleMessage, Page, Response, expect, sync_playwright

from academy import machine, people
from academy.models import Person
from tests.factories import assessments as made
from tests.needs import require

# Playwright's loop runs in the tests' thread, and Django takes any running loop for async code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}
PASSWORD = "seven wet flanges"
# No sandbox, because Chromium refuses one to root; no services that call out.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

NewPage = Callable[..., Page]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    require(need=machine.CHROMIUM)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=machine.chromium(), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def new_page(browser: Browser, live_server) -> Iterator[NewPage]:
    """Opens pages, each in a browser of its own, a small phone's unless other options are given.

    What breaks the content policy, or the server, on any of them or their tabs fails.
    """
    complaints: list[str] = []
    contexts = []

    def new_page(**options: object) -> Page:
        given = {"base_url": live_server.url, "viewport": PHONE, "locale": "en-GB"} | options
        context = browser.new_context(**given)
        context.set_default_timeout(15_000)
        context.on("page", lambda page: watch(page, complaints))
        contexts.append(context)
        return context.new_page()

    yield new_page
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def page(new_page: NewPage) -> Page:
    """A small phone's page, its paths relative to the live server."""
    return new_page()


def watch(page: Page, complaints: list[str]) -> None:
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text) if breaks_policy(message) else None)
    page.on("response", lambda response: complaints.append(response.url) if failed(response) else None)


def breaks_policy(message: ConsoleMessage) -> bool:
    return message.type == "error" and "Content Security Policy" in message.text


def failed(response: Response) -> bool:
    return response.status >= 500 or (response.status == 404 and "/static/" in response.url)


@pytest.fixture
def bench(live_server, monkeypatch) -> made.Bench:
    """A session two hours old: the site's clock goes on from there. Everybody has the same password."""
    bench = made.ready_bench()
    now, began = bench.at + timedelta(hours=2), time.monotonic()
    monkeypatch.setattr(timezone, "now", lambda: now + timedelta(seconds=time.monotonic() - began))
    for person in (bench.candidate, bench.assessor, bench.technician, bench.manager):
        give_password(person, by=bench.manager)
    return bench


def give_password(person: Person, *, by: Person) -> None:
    """Let somebody sign in; the factories give nobody a password."""
    people.set_password(person=person, password=PASSWORD, by=by, at=timezone.now())


def sign_in(page: Page, person: Person) -> None:
    """As somebody at a desk does it, with the keys alone: the cursor stands in the first field already."""
    page.goto("/")
    expect(page.get_by_label("Email")).to_be_focused()
    page.keyboard.type(person.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
