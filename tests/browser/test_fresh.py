"""Pages that ask for themselves while somebody waits in front of them."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from academy.models import Job, JobState
from assessments import help_calls
from tests.browser.conftest import DESK, sign_in
from tests.factories import assessments as made


@pytest.fixture
def page(bench, new_page):
    """The assessor's, on which time is made to pass."""
    page = new_page(viewport=DESK)
    sign_in(page, bench.assessor)
    page.clock.install()
    return page


def test_a_call_for_the_assessor_comes_up_on_the_board_by_itself(bench, page):
    attempt = made.started(bench)
    page.goto("/session/")
    expect(page.get_by_text("asks for the assessor")).to_have_count(0)
    help_calls.ask(attempt=attempt, step=None, candidate=bench.candidate, at=timezone.now())
    page.clock.run_for(16_000)

    expect(page.get_by_text(f"{bench.candidate} asks for the assessor")).to_be_visible()


def test_what_has_the_focus_on_the_board_stays_as_it_is(bench, page):
    attempt = made.started(bench)
    page.goto("/session/")
    page.locator("#board a").first.focus()
    help_calls.ask(attempt=attempt, step=None, candidate=bench.candidate, at=timezone.now())
    page.clock.run_for(16_000)

    expect(page.get_by_text("asks for the assessor")).to_have_count(0)


def test_what_is_made_in_the_background_says_so_once_it_is_there(bench, page):
    job = Job.objects.create(
        kind="portfolio", centre=bench.centre, asked_by=bench.assessor, asked_at=timezone.now()
    )
    page.goto(f"/jobs/{job.pk}/")
    expect(page.get_by_text("It is made, since")).to_have_count(0)
    Job.objects.filter(pk=job.pk).update(state=JobState.DONE, ended_at=timezone.now())
    page.clock.run_for(4_000)

    expect(page.get_by_text("It is made, since")).to_be_visible()
