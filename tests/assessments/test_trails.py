"""One page for a candidate and a task: everything from evidence to decision, as it stood on its day."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Role
from assessments import disclosure, prompts, trails
from assessments.models import VerifierAction
from assessments.models.attempts import Purpose
from rigs import holds
from rigs.due_dates import Due
from tests.factories import assessments as made
from tests.factories import impact, rigs
from tests.factories import visits as make
from tests.factories.academy import ManagerFactory, person_with
from tests.factories.assessments import SWITCH_TEST

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def task(bench):
    return bench.tasks[SWITCH_TEST].task


@pytest.fixture
def noon(bench, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + 3 * HOUR)


def trail_of(bench) -> trails.Trail:
    return trails.trail(candidate=bench.candidate, task=bench.tasks[SWITCH_TEST].task)


def told(attempt: trails.TrailAttempt) -> list[str]:
    return [event.what for event in attempt.events]


def page_of(person, bench) -> str:
    client = Client()
    client.force_login(person)
    task = bench.tasks[SWITCH_TEST].task
    response = client.get(reverse("trail-detail", args=[bench.candidate.pk, task.pk]))
    assert response.status_code == 200
    return response.text


def test_attempts_are_numbered_in_order_with_who_did_what_when(bench):
    first = made.signed_off(bench).attempt
    made.handed_in(bench, purpose=Purpose.PRACTICE, at=first.submitted_at + HOUR)
    found = trail_of(bench)
    assert [(each.number, each.attempt.purpose) for each in found.attempts] == [
        (1, "assessment"),
        (2, "practice"),
    ]
    one, two = found.attempts
    assert [event.what.partition(":")[0] for event in one.events] == [
        "Begun, cautions read and confirmed",
        "Handed in",
        "Marked by the site",
        "Decided",
    ]
    assert one.events[-1].who == bench.assessor.name and one.events[-1].mark == "competent"
    assert one.decision is not None and two.decision is None
    assert list(one.events) == sorted(one.events, key=lambda event: event.at)


def test_the_instrument_shows_the_certificate_of_that_day_whatever_came_later(bench):
    manometer = bench.instruments["manometer"]
    then = manometer.calibrations.get()
    made.signed_off(bench)
    later = bench.at + timedelta(days=300)
    rigs.certificate(of=manometer, by=bench.technician, at=later)
    holds.place(on=manometer, reason="Dropped.", by=bench.technician, at=later)
    (taken,) = (
        each for each in trail_of(bench).attempts[0].instruments if each.taken.instrument == manometer
    )
    assert taken.taken.calibration == then and taken.due is Due.IN_DATE
    assert not taken.held and taken.holds == ()


def test_a_certificate_that_was_about_to_run_out_says_so(bench):
    manometer = bench.instruments["manometer"]
    manometer.calibrations.update(due_on=bench.at.date() + timedelta(days=3))
    made.signed_off(bench)
    found = {each.taken.instrument.tag: each for each in trail_of(bench).attempts[0].instruments}
    assert found[manometer.tag].due is Due.SOON


def test_the_rig_shows_check_baseline_and_holds_of_that_day(bench):
    before = holds.place(on=bench.rig, reason="Guard loose.", by=bench.technician, at=bench.at - HOUR / 10)
    holds.release(hold=before, evidence="Tightened.", by=bench.technician, at=bench.at - HOUR / 20)
    attempt = made.signed_off(bench).attempt
    during = holds.place(
        on=bench.rig, reason="Smell.", by=bench.technician, at=attempt.submitted_at - HOUR / 60
    )
    (one,) = trail_of(bench).attempts
    assert [(each.hold, each.during) for each in one.rig.holds] == [(during, True), (before, False)]
    assert one.rig.held
    sheet = one.attempt.sheet
    assert sheet.rig_check == bench.rig.checks.get() and sheet.baseline.decided_by is not None
    assert one.rig.values and {each.tag for each in one.rig.checked_with}
    assert all(each.calibration is not None for each in one.rig.checked_with if each.tag.startswith("RM"))
    assert one.rig.characterised_with


def test_what_was_found_later_is_in_the_time_line(bench):
    of = make.visited(bench)
    make.verified(of)
    review = impact.worked(bench)
    (one,) = trail_of(bench).attempts
    whats = told(one)
    assert "Verified blind: own decision" in whats
    assert "Compared with the assessor’s: agreed" in whats
    assert any(what.startswith(f"Action for {bench.assessor.name}") for what in whats)
    assert f"In the time in doubt of impact review {review.number}" in whats


def test_prompts_are_in_it(bench):
    attempt = made.started(bench)
    prompts.give(
        attempt=attempt,
        step=attempt.version.steps.first(),
        level=1,
        words="",
        by=bench.assessor,
        at=bench.at + HOUR / 60,
    )
    (one,) = trail_of(bench).attempts
    assert any(what.startswith("Prompt 1") for what in told(one))


def test_what_was_achieved_before_is_in_it(bench):
    (required, *_) = bench.tasks[SWITCH_TEST].requires.all()
    found = trails.trail(candidate=bench.candidate, task=required)
    assert found.attempts == () and found.prior is not None


def test_the_candidate_s_flags_are_counted_for_staff_only(bench):
    made.signed_off(bench)
    found = trail_of(bench)
    assert found.attempts[0].flags is None
    assert trails.with_flags(found, reader=bench.assessor).attempts[0].flags is not None
    assert trails.with_flags(found, reader=bench.candidate).attempts[0].flags is None


def test_it_costs_as_many_queries_for_two_attempts_as_for_four(bench):
    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            trails.with_flags(trail_of(bench), reader=bench.assessor)
        return len(captured)

    made.signed_off(bench)
    make.verified(make.visited(bench))  # one more, and what comes with a sample
    few = cost()
    for _ in range(2):
        made.signed_off(bench)
    assert cost() == few


class TestPage:
    def test_it_leads_to_every_record(self, bench, noon):
        of = make.visited(bench)
        plan = make.verified(of)
        page = page_of(bench.manager, bench)
        sampled = plan.sampled.get(sign_off=of.inside)
        for name, about in (
            ("review-detail", of.attempt.pk),
            ("check-detail", of.attempt.sheet.rig_check_id),
            ("baseline-detail", of.attempt.sheet.baseline_id),
            ("sampled-detail", sampled.pk),
            ("instrument-detail", of.attempt.instruments.first().instrument_id),
            ("portfolio-detail", bench.candidate.pk),
        ):
            assert reverse(name, args=[about]) in page, name
        assert VerifierAction.objects.first().text in page

    def test_whoever_sees_one_has_seen_its_rigs(self, bench, noon):
        made.signed_off(bench)
        reader = person_with(Role.Kind.VERIFIER, by=bench.manager)
        page_of(reader, bench)
        assert disclosure.has_seen(person=reader, rig=bench.rig)

    def test_it_isn_t_for_candidates_nor_for_another_centre(self, bench, client, task):
        address = reverse("trail-detail", args=[bench.candidate.pk, task.pk])
        client.force_login(bench.candidate)
        assert client.get(address).status_code == 403
        client.force_login(ManagerFactory())
        assert client.get(address).status_code == 404

    def test_without_an_attempt_it_says_so(self, bench, noon):
        assert "No attempt at this task." in page_of(bench.manager, bench)


class TestFinding:
    def find(self, client, words: str):
        return client.get(reverse("trail-find", query={"q": words}))

    def test_the_only_one_that_fits_is_opened_at_once(self, bench, client, task):
        type(bench.candidate).objects.filter(pk=bench.candidate.pk).update(name="Wren Oakley")
        made.signed_off(bench)
        made.signed_off(bench, candidate=made.another_candidate(bench))
        client.force_login(bench.manager)
        found = self.find(client, f"oakley {task.title.split()[0].lower()}")
        assert found.headers["Location"] == reverse("trail-detail", args=[bench.candidate.pk, task.pk])

    def test_several_are_listed_and_none_is_said(self, bench, client, task):
        made.signed_off(bench)
        other = made.another_candidate(bench)
        made.signed_off(bench, candidate=other)
        client.force_login(bench.manager)
        page = self.find(client, task.slug).text
        for candidate in (bench.candidate, other):
            assert reverse("trail-detail", args=[candidate.pk, task.pk]) in page
        assert "Nothing matches that." in self.find(client, "nobody").text
        assert "Nothing matches that." not in self.find(client, "").text

    def test_nobody_of_another_centre_is_found(self, bench, client):
        made.signed_off(bench)
        client.force_login(ManagerFactory())
        assert "Nothing matches that." in self.find(client, bench.candidate.name).text
