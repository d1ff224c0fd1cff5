"""What is sent twice is kept once, and what two tabs say of one thing is neither lost nor mixed up."""

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from assessments.models import Attempt, Outcome, PriorAchievement, Reading, SignOff, StepRecord
from assessments.models.attempts import AttemptStatus
from rigs.models import Check
from rigs.repeats import field_name
from tests.browser.conftest import DESK, PASSWORD, give_password, sign_in
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import AssessorFactory
from tests.factories.assessments import SWITCH_TEST

LEADS, PROVED = "leads-together", "prove-before"


@pytest.fixture
def attempt(bench) -> Attempt:
    return made.started(bench)


@pytest.fixture
def phone(page, bench) -> Page:
    sign_in(page, bench.candidate)
    return page


@pytest.fixture
def desk(new_page, bench) -> Page:
    page = new_page(viewport=DESK)
    sign_in(page, bench.assessor)
    return page


@pytest.fixture
def go(bench, attempt):
    """Go to a step of the attempt, or to the list of them."""

    def go(page: Page, slug: str = "") -> Page:
        position = attempt.version.steps.get(slug=slug).position if slug else 0
        page.goto(f"/attempts/{attempt.pk}/" + (f"steps/{position}/" if slug else ""))
        return page

    return go


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True)


def write(page: Page, text: str) -> None:
    page.get_by_label("Reading", exact=True).fill(text)
    button(page, "Log the reading").click()


def heading(page: Page) -> Locator:
    return page.get_by_role("heading", level=1)


def twice(what: Locator) -> None:
    """Click, and let all that the click sends reach the site twice, as from an impatient thumb on a slow net.

    The person sees the answer to the second. (A double click alone is no test: Chromium mostly drops the
    first of two that are quick.)
    """

    def send(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch(max_redirects=0)
        route.continue_()

    what.page.route("**/*", send)
    what.click()
    what.page.wait_for_load_state()
    what.page.unroute("**/*")


class TestSentTwice:
    def test_a_double_click_goes_one_step_on(self, phone, go):
        button(go(phone, PROVED), "Done").dblclick()

        expect(heading(phone)).to_have_text("Isolate and lock off")
        assert StepRecord.objects.count() == 1

    def test_a_start_starts_one_attempt(self, bench, phone):
        phone.goto(f"/bench/rigs/{bench.rig.pk}/tasks/{bench.tasks[SWITCH_TEST].pk}/")
        phone.get_by_text("Assessment", exact=True).click()
        for label, tag in (("Multimeter", "DM-02"), ("Manometer", "MN-02"), ("Voltage indicator", "VI-01")):
            phone.get_by_label(label).select_option(label=tag)
        phone.get_by_text("I have read the cautions").click()
        twice(button(phone, "Start"))

        expect(heading(phone)).to_have_text("Leads together")
        assert Attempt.objects.count() == 1

    def test_a_step_is_logged_once_and_leads_on(self, phone, go):
        twice(button(go(phone, PROVED), "Done"))

        expect(heading(phone)).to_have_text("Isolate and lock off")
        assert StepRecord.objects.count() == 1

    def test_a_reading_is_logged_once(self, phone, go):
        go(phone, LEADS).get_by_label("Reading", exact=True).fill("0.2")
        twice(button(phone, "Log the reading"))

        expect(heading(phone)).to_have_text("Leads together, continuity tone")
        assert [each.text for each in Reading.objects.all()] == ["0.2"]

    def test_an_attempt_is_handed_in_and_marked_once(self, phone, go, attempt):
        made.work_through(attempt)
        twice(button(go(phone), "Hand in"))

        expect(phone.get_by_text("Your assessor will look at it").first).to_be_visible()
        assert Outcome.objects.count() == 1

    def test_a_decision_is_made_once(self, bench, desk):
        attempt = made.handed_in(bench)
        decide(open_review(desk, attempt)).click()
        desk.get_by_label("Your password").fill(PASSWORD)
        twice(button(desk, "Sign"))

        expect(desk.get_by_role("status").or_(desk.get_by_role("alert")).first).to_contain_text("igned")
        assert SignOff.objects.count() == 1

    def test_a_check_is_recorded_once(self, bench, new_page):
        page = new_page()
        sign_in(page, bench.technician)
        fill_check(page, bench)
        twice(button(page, "Judge the check"))

        expect(heading(page)).to_contain_text("Check of")
        assert Check.objects.count() == 2  # the session began with one

    def test_a_prior_achievement_is_recorded_once(self, bench, desk):
        desk.goto(f"/candidates/{bench.candidate.pk}/prior/")
        desk.get_by_label("Task").select_option(label="Two-terminal air pressure switch test")
        desk.get_by_label("Found competent on").fill("2025-01-03")
        desk.get_by_label("What shows it").fill("Paper record 15")
        twice(button(desk, "Record it"))

        message = desk.get_by_role("status").or_(desk.get_by_role("alert")).first
        expect(message).to_contain_text("ecord")
        assert PriorAchievement.objects.filter(evidence="Paper record 15").count() == 1


class TestTheBackButton:
    def test_shows_what_was_logged_and_asks_why_it_is_sent_again(self, phone, go):
        write(go(phone, LEADS), "0.2")
        expect(heading(phone)).to_have_text("Leads together, continuity tone")
        phone.go_back()

        expect(phone.locator("section", has_text="Logged")).to_contain_text("0.2")
        phone.get_by_text("Correct it").click()
        phone.get_by_label("Reading", exact=True).fill("0.2")
        button(phone, "Strike out and log again").click()
        expect(phone.get_by_text("Say why it is corrected.").first).to_be_visible()
        assert Reading.objects.count() == 1

    def test_after_handing_in_shows_that_it_is_handed_in(self, phone, go, attempt):
        made.work_through(attempt)
        button(go(phone), "Hand in").click()
        expect(phone.get_by_role("status")).to_contain_text("Handed in")
        phone.go_back()

        expect(button(phone, "Hand in")).to_have_count(0)
        expect(phone.get_by_text("Your assessor will look at it")).to_be_visible()

    def test_after_signing_out_shows_nothing(self, phone, go):
        go(phone)
        button(phone, "Sign out").click()
        expect(heading(phone)).to_have_text("Sign in")
        phone.go_back()

        expect(heading(phone)).to_have_text("Sign in")


class TestTwoTabs:
    def test_on_one_reading_keep_both_and_ask_why(self, phone, go):
        other = phone.context.new_page()
        go(phone, LEADS), go(other, LEADS)
        write(phone, "0.2")
        expect(heading(phone)).to_have_text("Leads together, continuity tone")
        write(other, "0.3")

        expect(other.get_by_text("Say why it is corrected.").first).to_be_visible()
        expect(other.get_by_label("Reading", exact=True)).to_have_value("0.3")
        other.get_by_label("Why is it corrected?").fill("The second one was steady")
        button(other, "Strike out and log again").click()
        expect(heading(other)).to_have_text("Leads together, continuity tone")
        first, second = Reading.objects.in_order()
        assert (first.text, second.text, second.supersedes) == ("0.2", "0.3", first)

    def test_on_one_action_log_it_once_and_say_so(self, phone, go):
        other = phone.context.new_page()
        go(phone, PROVED), go(other, PROVED)
        button(phone, "Done").click()
        expect(heading(phone)).to_have_text("Isolate and lock off")
        button(other, "Done").click()

        expect(other.get_by_text("logged already").first).to_be_visible()
        assert StepRecord.objects.count() == 1

    def test_a_reading_that_comes_after_handing_in_is_refused_in_words(self, phone, go, attempt):
        other = go(phone.context.new_page(), LEADS)
        made.work_through(attempt)
        button(go(phone), "Hand in").click()
        expect(phone.get_by_role("status")).to_contain_text("Handed in")
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SUBMITTED
        before = Reading.objects.count()
        write(other, "0.9")

        expect(other.get_by_role("status")).to_contain_text("handed in: nothing can be added")
        assert Reading.objects.count() == before

    def test_two_assessors_decide_once_and_the_second_is_told(self, bench, desk, new_page):
        attempt = made.handed_in(bench)
        colleague = AssessorFactory(by=bench.manager)
        give_password(colleague, by=bench.manager)
        other = new_page(viewport=DESK)
        sign_in(other, colleague)
        ours, theirs = decide(open_review(desk, attempt)), decide(open_review(other, attempt))
        ours.click()
        sign(desk)
        expect(desk.get_by_role("status")).to_contain_text("Signed off")
        theirs.click()

        expect(other.get_by_text("signed this attempt off already").first).to_be_visible()
        expect(other.get_by_text("What you had written")).to_be_visible()
        assert SignOff.objects.get().assessor == bench.assessor


def open_review(page: Page, attempt: Attempt) -> Page:
    page.goto(f"/review/{attempt.pk}/")
    return page


def decide(page: Page) -> Locator:
    """Fill the decision in; what is returned sends it."""
    page.get_by_role("radio", name="Competent", exact=True).check()
    page.get_by_label("Feedback to the candidate").fill("Careful work.")
    return button(page, "Sign off")


def sign(page: Page) -> None:
    page.get_by_label("Your password").fill(PASSWORD)
    button(page, "Sign").click()


def fill_check(page: Page, bench: made.Bench) -> None:
    page.goto(f"/rigs/{bench.rig.pk}/checks/new/")
    page.get_by_label("Reference multimeter").select_option(label="DM-01")
    page.get_by_label("Reference manometer").select_option(label="MN-01")
    healthy = rigs.check_run(of=bench.rig, rng=rigs.noise("a check"))
    for run in (1, 2, 3):
        for measurand, typed in healthy.items():
            page.locator(f"[name={field_name(measurand, repeat=run)}]").fill(typed.text)
