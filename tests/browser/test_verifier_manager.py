"""What a verifier, an external verifier, a manager and a technician do, each from signing in."""

import re

import pytest
from playwright.sync_api import Page, expect

from academy.models import Person, Role
from assessments import progress
from assessments.models import CohortTask, PriorAchievement
from rigs.models import Baseline, Check
from rigs.models.baselines import BaselineStatus
from rigs.repeats import field_name
from tests.browser.conftest import DESK, PHONE, give_password, sign_in
from tests.factories import assessments as made
from tests.factories import rigs, visits
from tests.factories.academy import person_with
from tests.factories.assessments import SWITCH_TEST
from tests.factories.centres import waiting_baseline

TITLE = "Two-terminal air pressure switch test"


@pytest.fixture
def desk(new_page, bench):
    """Somebody's browser at a desk, signed in."""

    def desk(who: Role.Kind | Person, **options: object) -> Page:
        person = who if isinstance(who, Person) else person_with(who, by=bench.manager)
        give_password(person, by=bench.manager)
        page = new_page(**{"viewport": DESK, **options})
        sign_in(page, person)
        return page

    return desk


def sections(page: Page) -> list[str]:
    return page.get_by_role("navigation", name="Sections").get_by_role("link").all_inner_texts()


def heading(page: Page):
    return page.get_by_role("heading", level=1)


def rows(page: Page) -> list[str]:
    return page.get_by_role("row").all_inner_texts()


class TestAVerifier:
    def test_reads_what_was_decided_and_decides_nothing(self, bench, desk):
        signed = made.signed_off(bench)
        page = desk(Role.Kind.VERIFIER)
        assert sections(page) == [
            "Today",
            "Session",
            "Review",
            "Verification",
            "Visits",
            "Rigs",
            "Instruments",
            "Tasks",
            "Cohorts",
        ]
        page.get_by_role("link", name="Review", exact=True).click()
        expect(page.get_by_text("No attempt is waiting.")).to_be_visible()
        page.get_by_role("link", name="Those signed off").click()
        page.get_by_role("link", name=bench.candidate.name).click()

        marking = page.get_by_role("complementary", name="Marking and decision")
        expect(marking).to_contain_text(signed.feedback)
        expect(marking).to_contain_text(bench.assessor.name)
        expect(page.locator(".strip-scale").first).to_be_visible()
        expect(page.get_by_role("button", name="Sign off")).to_have_count(0)

    def test_approves_a_baseline_that_somebody_else_made(self, bench, desk):
        waiting_baseline(bench)
        page = desk(Role.Kind.VERIFIER)
        page.get_by_role("link", name="Rigs").click()
        page.get_by_role("link", name="VB-02").click()
        page.get_by_role("link", name="Decide on baseline 1").click()
        expect(page.get_by_role("table").first).to_contain_text("mbar")
        page.get_by_role("button", name="Approve the baseline").click()

        expect(page.get_by_role("status")).to_have_text("Baseline 1 is in force from now on.")
        assert Baseline.objects.get(rig__tag="VB-02").status == BaselineStatus.APPROVED


class TestAnExternalVerifier:
    def test_goes_from_the_visit_to_the_evidence_in_two_steps_and_gets_to_nothing_else(self, bench, desk):
        of = visits.visited(bench)
        page = desk(of.visitor)
        assert sections(page) == ["Visits"]
        expect(page.get_by_role("main").get_by_role("button")).to_have_count(0)
        page.get_by_role("link", name=re.compile(f"^{bench.candidate.name}:")).click()
        expect(page.get_by_text("The instruments on that day")).to_be_visible()
        page.get_by_role("link", name="Readings, photos and procedure of this attempt").click()
        expect(page.get_by_role("heading", name="Decision")).to_be_visible()
        page.goto("/rigs/")
        expect(heading(page)).to_have_text("This page isn’t open to you")


class TestAManager:
    def test_sets_a_cohort_up_from_nothing(self, bench, desk):
        page = desk(bench.manager)
        expect(heading(page)).to_have_text("Today")
        page.get_by_role("link", name="Cohorts", exact=True).click()
        page.get_by_role("link", name="Open a cohort").click()
        page.get_by_label("Name").fill("Bramble")
        page.get_by_label("First day").fill("2025-01-06")
        page.get_by_label("Last day").fill("2025-06-27")
        page.get_by_role("button", name="Open cohort").click()
        expect(page.get_by_role("status")).to_contain_text("Bramble is open.")

        page.get_by_role("link", name="People").click()
        page.get_by_role("link", name="Add with a password").click()
        page.get_by_label("Name").fill("Clover Pell")
        page.get_by_label("Email").fill("clover@example.org")
        page.get_by_role("checkbox", name="Candidate").check()
        page.get_by_label("Cohort").select_option(label="Bramble")
        page.get_by_label("First password").fill("three dry unions")
        page.get_by_role("button", name="Add person").click()
        expect(heading(page)).to_have_text("Clover Pell")

        page.get_by_role("link", name="Cohorts", exact=True).click()
        choose_cohort(page, "Bramble")
        page.get_by_role("link", name="Plan a task").click()
        page.get_by_label("Task").select_option(label=TITLE)
        page.get_by_role("button", name="Plan it").click()
        expect(page.get_by_role("table", name="Where each candidate stands")).to_contain_text("Clover Pell")
        assert CohortTask.objects.get().cohort.name == "Bramble"

    def test_sees_in_the_matrix_what_was_decided_and_reads_the_evidence(self, bench, desk):
        progress.plan(cohort=bench.cohort, task=bench.tasks[SWITCH_TEST].task, by=bench.manager, at=bench.at)
        made.signed_off(bench)
        page = desk(bench.manager)
        page.get_by_role("link", name="Cohorts", exact=True).click()
        expect(page.get_by_role("row", name=bench.candidate.name)).to_contain_text("Competent")
        page.get_by_role("link", name=bench.candidate.name).click()

        expect(heading(page)).to_have_text(bench.candidate.name)
        expect(page.get_by_text("D1").first).to_be_visible()
        expect(page.get_by_role("button", name="Make the document")).to_be_visible()

    def test_records_what_was_achieved_before(self, bench, desk):
        page = desk(bench.manager)
        page.goto(f"/candidates/{bench.candidate.pk}/prior/")
        page.get_by_label("Task").select_option(label=TITLE)
        page.get_by_label("Found competent on").fill("2030-01-03")
        page.get_by_label("What shows it").fill("Paper record 15")
        page.get_by_role("button", name="Record it").click()
        expect(page.get_by_text("That date lies in the future.").first).to_be_visible()
        expect(page.get_by_label("What shows it")).to_have_value("Paper record 15")
        page.get_by_label("Found competent on").fill("2025-01-03")
        page.get_by_role("button", name="Record it").click()

        expect(page.get_by_role("status")).to_have_text(f"Recorded for {bench.candidate}.")
        assert PriorAchievement.objects.filter(evidence="Paper record 15").count() == 1

    @pytest.mark.usefixtures("pango")
    def test_makes_a_document_and_opens_it(self, bench, desk):
        page = desk(bench.manager)
        page.goto(f"/evidence/{bench.candidate.pk}/")
        page.get_by_role("button", name="Make the document").click()
        link = page.get_by_role("link", name="Open it")
        expect(link).to_be_visible()
        document = page.request.get(link.get_attribute("href") or "")

        assert document.headers["content-type"] == "application/pdf"
        assert document.body().startswith(b"%PDF-")


class TestATechnician:
    def test_checks_a_rig_on_a_phone_and_sees_the_verdict_at_once(self, bench, desk):
        page = desk(bench.technician, viewport=PHONE)
        expect(heading(page)).to_have_text("Today")
        page.get_by_role("link", name="Rigs", exact=True).click()
        page.get_by_role("link", name=bench.rig.tag).click()
        page.get_by_role("link", name="Record a check").click()
        page.get_by_label("Reference multimeter").select_option(label="DM-01")
        page.get_by_label("Reference manometer").select_option(label="MN-01")
        fill(page, bench, running=1.2)
        page.get_by_role("button", name="Judge the check").click()

        expect(heading(page)).to_contain_text("Check of Mon 6 Jan 2025, morning")
        expect(page.get_by_text("mbar in the baseline").first).to_be_visible()
        page.get_by_role("link", name="Place the hold").click()
        expect(page.get_by_label("Why?")).to_have_value(re.compile("too far below the baseline"))
        page.get_by_role("button", name="Take out of use").click()
        expect(page.get_by_role("status")).to_contain_text("is on hold")
        assert Check.objects.filter(verdict="hold").count() == 1
        assert bench.rig.holds.open().exists()


def choose_cohort(page: Page, name: str) -> None:
    page.get_by_label("Cohort").select_option(label=name)
    page.get_by_role("button", name="Show").click()
    expect(heading(page)).to_have_text(name)


def fill(page: Page, bench: made.Bench, *, running: float) -> None:
    """Type three runs of what a rig reads."""
    read = rigs.check_run(of=bench.rig, rng=rigs.noise("a check"), running=running)
    for run in (1, 2, 3):
        for measurand, typed in read.items():
            page.locator(f"[name={field_name(measurand, repeat=run)}]").fill(typed.text)
