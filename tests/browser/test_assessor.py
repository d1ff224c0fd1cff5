"""An assessor works through what waits, at a desk: with the mouse, and with the keys alone."""

import re
from datetime import timedelta

import pytest
from playwright.sync_api import Locator, Page, expect

from assessments import decision_times, phrases
from assessments.models import Attempt, SignOff
from tests.browser.conftest import DESK, PASSWORD, sign_in
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
    # What needs a longer look comes first.
    rows = desk.locator(".queue tbody tr")
    expect(rows.nth(0)).to_contain_text(unsafe.candidate.name)
    expect(rows.nth(0)).to_contain_text("Not yet competent")
    expect(rows.nth(0)).to_contain_text("safety-critical step")
    expect(rows.nth(1)).to_contain_text(sound.candidate.name)
    expect(rows.nth(1)).to_contain_text("Competent")
    desk.get_by_role("link", name=sound.candidate.name).click()

    sees_the_readings(desk, readings=7)
    decide(desk, "Competent", feedback="Careful work.")
    confirm(desk)
    expect(desk.get_by_role("status")).to_contain_text(f"Signed off {sound.candidate}")
    expect(desk.get_by_role("status")).to_contain_text("competent. 1 still to decide.")

    # The other one is there already.
    expect(desk.get_by_role("heading", level=1)).to_contain_text(unsafe.candidate.name)
    expect(proposal(desk)).to_contain_text("Not yet competent")
    expect(proposal(desk)).to_contain_text("Prove the voltage indicator again")
    decide(desk, "Competent", feedback="Ask me about proving.")
    expect(desk.get_by_text("This is not what the marking proposes: say why.").first).to_be_visible()
    expect(desk.get_by_label("Feedback to the candidate")).to_have_value("Ask me about proving.")
    expect(desk.get_by_label("Your reason")).to_be_visible()
    decide(desk, "Not yet competent", feedback="Prove, test, prove: do it again next week.")

    expect(desk.get_by_role("status")).to_contain_text("not yet competent.")
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
    page.get_by_role("heading", name="Procedure").scroll_into_view_if_needed()
    expect(page.get_by_role("radio", name="Competent", exact=True)).to_be_in_viewport()
    expect(page.get_by_role("button", name="Sign off")).to_be_in_viewport()


def proposal(page: Page) -> Locator:
    return page.get_by_role("complementary", name="Marking and decision")


def decide(page: Page, decision: str, *, feedback: str) -> None:
    page.get_by_role("radio", name=decision, exact=True).check()
    page.get_by_label("Feedback to the candidate").fill(feedback)
    page.get_by_role("button", name="Sign off").click()


def confirm(page: Page) -> None:
    """The password, once a sitting, with the cursor in its field already."""
    expect(page.get_by_role("heading", level=1)).to_have_text("Confirm that it is you")
    expect(page.get_by_label("Your password")).to_be_focused()
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")


def test_the_keys_alone_are_enough(desk, waiting):
    sound, unsafe = waiting
    press(desk, desk.get_by_role("link", name=sound.candidate.name), "Enter")
    expect(desk.get_by_role("heading", level=1)).to_contain_text(sound.candidate.name)
    open_the_working(desk)
    press(desk, desk.get_by_role("radio", name="Competent", exact=True), "Space")
    tab_to(desk, desk.get_by_label("Feedback to the candidate"))
    desk.keyboard.type("Careful work.")
    press(desk, desk.get_by_role("button", name="Sign off"), "Enter")
    confirm(desk)

    expect(desk.get_by_role("heading", level=1)).to_contain_text(unsafe.candidate.name)
    press(desk, desk.get_by_role("link", name="Skip to the page"), "Enter")
    expect(desk.locator("main")).to_be_focused()
    assert SignOff.objects.get().attempt == sound


def open_the_working(page: Page) -> None:
    """Of the first reading that is compared with what the rig reads today."""
    reading = page.get_by_role("listitem").filter(has=page.locator(".strip-scale")).first
    press(page, reading.locator("summary"), "Enter")
    expect(reading.get_by_text(re.compile("degrees of freedom", re.IGNORECASE)).first).to_be_visible()


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


MANY = 12


@pytest.fixture
def twelve(bench, monkeypatch) -> list[Attempt]:
    """A dozen that wait, all clean but the last to come in, and two phrases to answer with."""
    taken, one = iter(range(1000)), made.picture
    monkeypatch.setattr(made, "picture", lambda words: one(f"{words} {next(taken)}"))
    task = bench.tasks[made.SWITCH_TEST].task
    for text in ("Careful work.", "Good order of tests."):
        phrases.keep(assessor=bench.assessor, text=text, task=task, at=bench.at)
    steps = bench.tasks[made.SWITCH_TEST].steps.exclude(safety_critical=True).exclude(kind="reading")
    dull = made.Work(skipped=frozenset(steps.filter(required=False).values_list("slug", flat=True)))
    return [
        made.handed_in(
            bench,
            OUT_OF_RANGE if number == MANY - 1 else dull,
            candidate=made.another_candidate(bench),
            at=bench.at + timedelta(seconds=20 * number),
        )
        for number in range(MANY)
    ]


def test_a_dozen_are_decided_one_by_one_by_the_keys_of_the_page(new_page, bench, twelve):
    desk = new_page(viewport={"width": 1280, "height": 800})
    sign_in(desk, bench.assessor)
    expect(desk.get_by_text("12 waiting, 11 clean, 1 with something to look at")).to_be_visible()
    press(desk, desk.locator(".row-link").first, "Enter")
    expect(desk.get_by_role("heading", level=1)).to_contain_text(twelve[-1].candidate.name)
    expect(desk.get_by_role("button", name="Sign off")).to_be_in_viewport()

    # On to the next and back: nothing is decided by looking.
    desk.keyboard.press("n")
    expect(desk.get_by_text("2 of 12")).to_be_visible()
    desk.keyboard.press("p")
    expect(desk.get_by_text("1 of 12")).to_be_visible()

    # The one that isn't clean: x, the feedback, s. Letters typed are letters.
    desk.keyboard.press("x")
    expect(desk.get_by_role("radio", name="Not yet competent")).to_be_checked()
    desk.keyboard.press("f")
    desk.keyboard.type("Prove again: next time. 12 ns")
    desk.keyboard.press("Escape")
    desk.keyboard.press("s")
    expect(desk.get_by_role("button", name="Sign off")).to_be_focused()
    desk.keyboard.press("Enter")
    confirm(desk)

    for left in range(MANY - 1, 0, -1):
        expect(desk.get_by_role("status")).to_contain_text(f"{left} still to decide.")
        desk.keyboard.press("c")
        desk.keyboard.press("1")
        desk.keyboard.press("2")
        desk.keyboard.press("2")
        expect(desk.get_by_label("Feedback to the candidate")).to_have_value("Careful work.")
        desk.keyboard.press("s")
        desk.keyboard.press("Enter")

    expect(desk.get_by_text("No attempt is waiting.")).to_be_visible()
    expect(desk.get_by_role("status")).to_contain_text("You have given these very words 11 times today.")
    signed = SignOff.objects.select_related("look").order_by("at")
    assert [each.decision for each in signed] == ["not-yet-competent", *["competent"] * (MANY - 1)]
    assert signed[0].feedback == "Prove again: next time. 12 ns"
    assert {each.feedback for each in signed[1:]} == {"Careful work."}
    times = [decision_times.taken(each) for each in signed]
    assert all(time and time.visible is not None and time.looked <= time.open_for for time in times)


def test_the_keys_can_be_switched_off_and_stay_off(desk, waiting):
    desk.locator(".row-link").first.click()
    expect(desk.locator(".keys")).to_be_visible()
    desk.keyboard.press("?")
    switch = desk.get_by_label("Keys do this while you aren’t typing")
    expect(switch).to_be_visible()
    switch.uncheck()
    desk.reload()
    expect(desk.locator(".keys")).to_be_visible()
    desk.keyboard.press("c")
    expect(desk.get_by_role("radio", name="Competent", exact=True)).not_to_be_checked()


def test_without_javascript_the_phrases_and_the_photos_work_too(new_page, bench, twelve):
    desk = new_page(viewport=DESK, java_script_enabled=False)
    sign_in(desk, bench.assessor)
    desk.locator(".row-link").nth(1).click()
    expect(desk.get_by_text("Keys", exact=True)).to_be_hidden()
    desk.get_by_role("radio", name="Competent", exact=True).check()
    desk.get_by_label("Good order of tests.").check()
    photo = desk.locator(".thumbnail img").first
    small = photo.bounding_box()
    photo.click()
    large = photo.bounding_box()
    assert small is not None and large is not None and large["width"] > 2 * small["width"]
    desk.get_by_role("button", name="Sign off").click()
    confirm(desk)

    expect(desk.get_by_role("status")).to_contain_text("competent. 11 still to decide.")
    assert SignOff.objects.get().feedback == "Good order of tests."
