"""An assessor works through what waits, at a desk: with the mouse, and with the keys alone."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from assessments.models import Attempt, SignOff
from tests.browser.conftest import DESK, sign_in
from tests.factories import assessments as made
from tests.factories.centres import OUT_OF_RANGE

MOST_TABS = 60


@pytest.fixture
def waiting(bench) -> tuple[Attempt, Attempt]:
    """Two attempts that wait, the sound one first."""
    sound = made.handed_in(bench)
    later = bench.at + 5 * made.STEP_TAKES
    return sound, made.handed_in(bench, OUT_OF_RANGE, candidate=made.another_candidate(bench), at=later)


@pytest.fixture
def desk(new_page, bench, waiting) -> Page:
    page = new_page(viewport=DESK)
    sign_in(page, bench.assessor)
    expect(page.get_by_role("heading", level=1)).to_have_text("Waiting for a decision")
    return page


def test_both_are_decided_and_the_list_is_empty(desk, waiting):
    sound, unsafe = waiting
    rows = desk.get_by_role("row")
    expect(rows.nth(1)).to_contain_text(sound.candidate.name)
    expect(rows.nth(1)).to_contain_text("Competent")
    expect(rows.nth(2)).to_contain_text(unsafe.candidate.name)
    expect(rows.nth(2)).to_contain_text("Not yet competent")
    desk.get_by_role("link", name=sound.candidate.name).click()

    sees_the_readings(desk, readings=7)
    decide(desk, "Competent", feedback="Careful work.")
    expect(desk.get_by_role("status")).to_have_text(f"{sound.candidate}: competent, signed off.")

    # The next one is there already.
    expect(desk.get_by_role("heading", level=1)).to_contain_text(unsafe.candidate.name)
    expect(proposal(desk)).to_contain_text("Not yet competent")
    expect(proposal(desk)).to_contain_text("Prove the voltage indicator again")
    decide(desk, "Competent", feedback="Ask me about proving.")
    expect(desk.get_by_text("This is not what the marking proposes: say why.").first).to_be_visible()
    expect(desk.get_by_label("Feedback to the candidate")).to_have_value("Ask me about proving.")
    decide(desk, "Not yet competent", feedback="Prove, test, prove: do it again next week.")

    expect(desk.get_by_role("status")).to_contain_text("not yet competent, signed off")
    expect(desk.get_by_text("No attempt is waiting.")).to_be_visible()
    desk.get_by_role("link", name="Those signed off").click()
    expect(desk.get_by_role("row")).to_have_count(3)
    assert set(SignOff.objects.values_list("decision", flat=True)) == {"competent", "not-yet-competent"}


def sees_the_readings(page: Page, *, readings: int) -> None:
    """Strips, the procedure and the decision are on one page, and the decision is beside the readings."""
    strips = page.locator(".strip-scale")
    assert strips.count() >= readings - 3
    for strip in strips.all():
        expect(strip).to_be_visible()
        box = strip.bounding_box()
        assert box is not None and box["width"] > 300 and box["x"] + box["width"] <= DESK["width"]
    expect(page.get_by_role("img").first).to_be_visible()
    expect(page.get_by_role("heading", name="Procedure")).to_be_visible()
    expect(page.get_by_role("button", name="Sign off")).to_be_visible()
    expect(page.get_by_role("radio", name="Competent", exact=True)).to_be_in_viewport()


def proposal(page: Page) -> Locator:
    return page.get_by_role("complementary", name="Marking and decision")


def decide(page: Page, decision: str, *, feedback: str) -> None:
    page.get_by_role("radio", name=decision, exact=True).check()
    page.get_by_label("Feedback to the candidate").fill(feedback)
    page.get_by_role("button", name="Sign off").click()


def test_the_keys_alone_are_enough(desk, waiting):
    sound, unsafe = waiting
    press(desk, desk.get_by_role("link", name=sound.candidate.name), "Enter")
    expect(desk.get_by_role("heading", level=1)).to_contain_text(sound.candidate.name)
    open_the_working(desk)
    press(desk, desk.get_by_role("radio", name="Competent", exact=True), "Space")
    tab_to(desk, desk.get_by_label("Feedback to the candidate"))
    desk.keyboard.type("Careful work.")
    press(desk, desk.get_by_role("button", name="Sign off"), "Enter")

    expect(desk.get_by_role("heading", level=1)).to_contain_text(unsafe.candidate.name)
    press(desk, desk.get_by_role("link", name="Skip to the page"), "Enter")
    expect(desk.locator("main")).to_be_focused()
    assert SignOff.objects.get().attempt == sound


def open_the_working(page: Page) -> None:
    working = page.get_by_text("Working", exact=True).first
    press(page, working, "Enter")
    expect(page.get_by_text(re.compile("degrees of freedom", re.IGNORECASE)).first).to_be_visible()


def press(page: Page, what: Locator, key: str) -> None:
    tab_to(page, what)
    page.keyboard.press(key)


def tab_to(page: Page, what: Locator) -> None:
    """Get there as somebody without a mouse does. Fails where the way is too long, or there is none."""
    for _ in range(MOST_TABS):
        if what.evaluate("element => element === document.activeElement"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"{MOST_TABS} presses of the tab key don’t reach {what}.")
