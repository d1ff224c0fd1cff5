"""Chromium, driven against a live server: one browser for the run, a clean context for each test."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

from academy import machine
from tests.needs import require

# Playwright's loop runs in the tests' thread, and Django takes any running loop for async code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"

PHONE = {"width": 360, "height": 740}
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
def context(browser: Browser, live_server) -> Iterator[BrowserContext]:
    context = browser.new_context(base_url=live_server.url, viewport=PHONE, locale="en-GB")
    yield context
    context.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A small phone's page, its paths relative to the live server. What breaks the content policy fails."""
    complaints: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text) if breaks_policy(message) else None)
    yield page
    assert complaints == []


def breaks_policy(message: ConsoleMessage) -> bool:
    return message.type == "error" and "Content Security Policy" in message.text
