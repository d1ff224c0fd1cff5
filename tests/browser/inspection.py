"""Looking a page over: by axe, on a narrow screen, and by the tab key."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from tests.browser.conftest import DESK, PHONE

NARROW = {"width": 320, "height": 640}
MOST_TABS = 400
FOCUS = (Path(__file__).parent / "focus.js").read_text(encoding="utf-8")
CHANGES = re.compile(r'value="[^"]*"|[0-9a-f-]{36}')
"""What differs from one look at the same page to the next."""


@dataclass(slots=True, kw_only=True)
class Inspector:
    """Goes from page to page and notes what is wrong.

    What one role sees as another one did was looked at then: it is in ``seen``.
    """

    page: Page
    seen: set[str] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)
    visited: int = 0

    def visit(self, address: str) -> None:
        response = self.page.goto(address)
        assert response is not None and response.status < 500, address
        self.look(address)

    def look(self, address: str) -> None:
        self.visited += 1
        content = CHANGES.sub("", self.page.locator("main").inner_html())
        parts = {content, *self.page.locator(".masthead").all_inner_texts()}
        if parts <= self.seen:
            return
        self.seen |= parts
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
