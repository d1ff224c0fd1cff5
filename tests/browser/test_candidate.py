"""A candidate does a whole switch test with a thumb on a small phone, with a slip and a break in it."""

import io
import re
from collections.abc import Callable

import pytest
from PIL import Image
from playwright.sync_api import Locator, Page, expect

from assessments import progress
from assessments.models import Attempt, Photo, Reading, Step
from assessments.models.attempts import AttemptStatus
from assessments.models.tasks import StepKind
from tests.browser.conftest import PASSWORD, PHONE
from tests.browser.conftest import sign_in as keyboard_sign_in
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST

HALF_WAY = "restore-running"
REASON = "Open at rest, closed with the fan running."
TOUCH = {"has_touch": True, "is_mobile": True, "viewport": PHONE}


class Thumb:
    """Touches a phone's screen, and counts the taps and the keys of the phone's own keyboard."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = self.keys = 0

    def tap(self, what: Locator) -> None:
        what.tap()
        self.taps += 1

    def type(self, into: Locator, text: str) -> None:
        self.tap(into)
        expect(into).to_be_focused()
        self.page.keyboard.type(text)
        self.keys += len(text)

    def pick(self, from_list: Locator, label: str) -> None:
        """A tap opens the phone's own list, another one picks."""
        from_list.select_option(label=label)
        self.taps += 2

    def photograph(self, field: Locator) -> None:
        with self.page.expect_file_chooser() as chooser:
            self.tap(field)
        chooser.value.set_files({"name": "rig.jpg", "mimeType": "image/jpeg", "buffer": jpeg()})

    def button(self, name: str) -> Locator:
        return self.page.get_by_role("button", name=name, exact=True)

    def count_on(self, other: "Thumb") -> None:
        self.taps, self.keys = other.taps, other.keys


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.effect_noise((1200, 900), 80).convert("RGB").save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(params=[True, False], ids=["with JavaScript", "without JavaScript"])
def phone(request, new_page) -> Callable[[], Thumb]:
    """A phone each time, as when the browser was closed and forgot everything."""
    return lambda: Thumb(new_page(**TOUCH, java_script_enabled=request.param))


def test_a_whole_switch_test_on_a_phone(bench, phone, capsys, pytestconfig):
    first = phone()
    sign_in(first, bench)
    start(first, bench)
    steps = list(bench.tasks[SWITCH_TEST].steps.select_related("condition").order_by("position"))
    half = next(place for place, step in enumerate(steps) if step.slug == HALF_WAY)
    attempt = Attempt.objects.get()
    for step in steps[:half]:
        do(first, attempt, step, count=len(steps))
    correct_the_leads(first, attempt)
    first.page.context.close()

    second = phone()
    second.count_on(first)
    sign_in(second, bench)
    carry_on(second, bench, steps[half])
    for step in steps[half:]:
        do(second, attempt, step, count=len(steps))

    look_through_and_hand_in(second, steps)
    attempt.refresh_from_db()
    assert attempt.status == AttemptStatus.SUBMITTED
    assert attempt.outcomes.get().proposal == "competent"
    assert second.taps <= 2.5 * len(steps)
    with capsys.disabled():
        line = f"Switch test on a phone: {second.taps} taps, {second.keys} keys for {len(steps)} steps"
        pytestconfig.get_terminal_writer().line(f"\n{line}")


def sign_in(thumb: Thumb, bench: made.Bench) -> None:
    page = thumb.page
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    thumb.type(page.get_by_label("Email"), bench.candidate.email)
    thumb.type(page.get_by_label("Password"), PASSWORD)
    thumb.tap(thumb.button("Sign in"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Bench")


def start(thumb: Thumb, bench: made.Bench) -> None:
    page = thumb.page
    thumb.tap(page.get_by_role("link", name=re.compile(bench.rig.tag)))
    thumb.tap(page.get_by_role("link", name=re.compile("Two-terminal air pressure switch test")))
    expect(page.get_by_role("note", name="Caution")).to_contain_text("Mains voltage can kill.")
    thumb.tap(page.get_by_text("Assessment", exact=True))
    thumb.pick(page.get_by_label("Multimeter"), "DM-02")
    thumb.pick(page.get_by_label("Manometer"), "MN-02")
    thumb.pick(page.get_by_label("Voltage indicator"), "VI-01")
    thumb.tap(page.get_by_text("I have read the cautions"))
    thumb.tap(thumb.button("Start"))
    page.wait_for_url("**/steps/1/")


def do(thumb: Thumb, attempt: Attempt, step: Step, *, count: int) -> None:
    """Do one step as its screen asks for it."""
    page = thumb.page
    expect(page.get_by_role("heading", level=1)).to_have_text(step.title)
    expect(page.get_by_text(f"Step {step.position} of {count}")).to_be_visible()
    expect(page.get_by_text(step.instruction)).to_be_visible()
    assert step.condition is not None
    expect(page.locator(".condition")).to_contain_text(step.condition.label)
    match step.kind:
        case StepKind.READING:
            log_reading(thumb, attempt, step)
        case StepKind.PHOTO:
            thumb.photograph(page.get_by_label("Photo"))
            thumb.tap(thumb.button("Keep the photo"))
        case StepKind.OBSERVATION | StepKind.CONCLUSION:
            labels = {choice["value"]: choice["label"] for choice in step.choices}
            thumb.tap(page.get_by_text(labels[step.expected[0]], exact=True))
            if step.kind == StepKind.CONCLUSION:
                thumb.type(page.get_by_label("Why?"), REASON)
            thumb.tap(thumb.button("Log it"))
        case _:
            thumb.tap(thumb.button("Done"))


def log_reading(thumb: Thumb, attempt: Attempt, step: Step) -> None:
    text = "2.0" if step.slug == "leads-together" else made.right_reading(attempt, step)
    if text in {"OL", "tone"}:
        thumb.tap(thumb.button(text.capitalize() if text == "tone" else text))
        return
    field = thumb.page.get_by_label("Reading", exact=True)
    keypad = {"resistance": "decimal", "pressure": "text"}  # a pressure may be below zero
    expect(field).to_have_attribute("inputmode", keypad[step.quantity])
    thumb.type(field, text)
    thumb.tap(thumb.button("Log the reading"))


def correct_the_leads(thumb: Thumb, attempt: Attempt) -> None:
    """The point went to the wrong place in the first reading: it is found in the list, and put right."""
    page = thumb.page
    thumb.tap(page.get_by_role("link", name="All steps"))
    row = page.get_by_role("link", name=re.compile("^1 Leads together"))
    expect(row).to_contain_text("2.0 Ω")
    thumb.tap(row)
    thumb.tap(page.get_by_text("Correct it"))
    thumb.type(page.get_by_label("Reading", exact=True), "0.2")
    thumb.tap(thumb.button("Strike out and log again"))
    expect(page.get_by_text("Say why it is corrected.").first).to_be_visible()
    expect(page.get_by_label("Reading", exact=True)).to_have_value("0.2")
    thumb.type(page.get_by_label("Why is it corrected?"), "Read the point wrong")
    thumb.tap(thumb.button("Strike out and log again"))
    expect(page.get_by_role("heading", level=1)).not_to_have_text("Leads together")
    old, new = Reading.objects.filter(attempt=attempt, step__slug="leads-together").in_order()
    assert (old.text, new.text, new.supersedes) == ("2.0", "0.2", old)


def carry_on(thumb: Thumb, bench: made.Bench, step: Step) -> None:
    """What was logged is there; what comes next is a tap away."""
    page = thumb.page
    begun = page.locator("section", has=page.get_by_role("heading", name="Carry on"))
    thumb.tap(begun.get_by_role("link", name=re.compile(bench.rig.tag)))
    expect(page.get_by_role("link", name=re.compile("^1 Leads together"))).to_contain_text("0.2 Ω")
    expect(page.locator("del")).to_contain_text("2.0 Ω")
    expect(page.get_by_text("Read the point wrong")).to_be_visible()
    thumb.tap(page.get_by_role("link", name=f"Carry on: {step.title}"))
    expect(page.get_by_role("heading", level=1)).to_have_text(step.title)


def look_through_and_hand_in(thumb: Thumb, steps: list[Step]) -> None:
    page = thumb.page
    expect(page.get_by_text("Every step is logged.")).to_be_visible()
    for step in steps:
        expect(page.get_by_role("link", name=re.compile(rf"^{step.position} "))).to_contain_text(step.title)
    assert Photo.objects.count() == 2
    thumb.tap(thumb.button("Hand in"))
    expect(page.get_by_role("status")).to_have_text("Handed in. Your assessor will look at it.")
    expect(thumb.button("Hand in")).to_have_count(0)
    expect(page.get_by_role("link", name=re.compile("Leads together"))).to_have_count(0)


def test_the_result_is_in_words_while_others_are_still_to_be_assessed(bench, page):
    made.another_candidate(bench)
    task = bench.tasks[SWITCH_TEST].task
    progress.plan(cohort=bench.cohort, task=task, by=bench.manager, at=bench.at)
    signed = made.signed_off(bench, feedback="Neat work; mind the sign.")
    keyboard_sign_in(page, bench.candidate)
    page.get_by_role("link", name=re.compile("handed in")).click()

    result = page.locator("section", has=page.get_by_role("heading", name="Result", exact=True))
    expect(result).to_contain_text("Competent")
    expect(result).to_contain_text("Neat work; mind the sign.")
    expect(result).to_contain_text(signed.assessor.name)
    expect(page.get_by_role("heading", name="Readings")).to_be_visible()
    expect(page.locator(".strip-scale")).to_have_count(0)
    expect(page.get_by_text("Working")).to_have_count(0)
