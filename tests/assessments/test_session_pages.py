"""A session by its pages: the board, a call, a stop, an assessor beside a candidate, a rotation."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from assessments import observing, rotations, stops
from assessments.models import HelpCall, Observation, OralAnswer, RangeSeen, SessionPlan, SessionStop
from assessments.models.decisions import Decision
from rigs import holds
from tests.factories import assessments as made
from tests.factories import sessions
from tests.factories.academy import ManagerFactory, person_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def working(bench):
    return made.started(bench)


@pytest.fixture
def noon(bench, monkeypatch):
    """Ten minutes into the attempt."""
    at = bench.at + timedelta(minutes=10)
    monkeypatch.setattr(timezone, "now", lambda: at)
    return at


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def candidate(bench, working, noon):
    return signed_in(bench.candidate)


@pytest.fixture
def assessor(bench, working, noon):
    return signed_in(bench.assessor)


def post(client, name, *args, follow=True, **data):
    return client.post(reverse(name, args=args), data, follow=follow)


def page(client, name, *args):
    return client.get(reverse(name, args=args)).text


def test_a_candidate_asks_and_the_assessor_comes(bench, candidate, assessor, working):
    step = working.version.steps.get(position=5)
    shown = post(candidate, "help-ask", working.pk, step=5).text
    assert "You asked for the assessor at" in shown
    assert HelpCall.objects.get().step == step

    board = page(assessor, "session-board")
    assert "asks for the assessor" in board
    assert "asks for the assessor" in page(assessor, "today")

    answered = post(assessor, "help-answer", HelpCall.objects.get().pk)
    assert answered.redirect_chain == [(reverse("observe", args=[working.pk]), 302)]
    assert "I need the assessor" in page(candidate, "attempt-step", working.pk, 5)


def test_a_call_is_taken_back(candidate, working):
    post(candidate, "help-ask", working.pk)
    shown = post(candidate, "help-take-back", working.pk, step=5)
    assert "I need the assessor" in shown.text
    assert shown.redirect_chain[-1][0] == reverse("attempt-step", args=[working.pk, 5])


def test_the_board_asks_for_itself_unless_it_is_held_still(assessor):
    assert 'http-equiv="refresh"' in page(assessor, "session-board")
    assert 'http-equiv="refresh"' not in assessor.get(reverse("session-board", query={"still": ""})).text


def test_the_board_says_how_far_everybody_is(assessor, bench):
    board = page(assessor, "session-board")
    assert "1 of 32" in board and "10 of 35 min" in board
    assert "has logged nothing for 10 minutes" in board


def test_nothing_of_what_a_rig_reads_is_on_the_board_or_beside_a_candidate(bench, assessor, working):
    """So looking there doesn't count as having seen a range."""
    page(assessor, "session-board")
    page(assessor, "observe", working.pk)
    assert not RangeSeen.objects.filter(person=bench.assessor).exists()


def test_a_stop_shows_on_a_candidates_next_page_and_keeps_what_they_typed(candidate, assessor, working):
    post(assessor, "session-stop", reason="Smell of gas")

    assert "The session was stopped at 09:25" in page(candidate, "attempt-step", working.pk, 1)
    assert "The session was stopped at" in page(candidate, "attempt-overview", working.pk)
    assert "The session was stopped at" in page(candidate, "bench-home")
    sent = post(candidate, "attempt-step", working.pk, 1, id=uuid4(), text="0.27", unit="Ω")
    assert "The session was stopped at" in sent.text and "0.27" in sent.text
    assert not working.readings.exists()


def test_a_stop_leads_to_what_was_interrupted_and_an_assessor_lets_it_go_on(assessor, bench, working):
    shown = post(assessor, "session-stop", reason="Smell of gas").text
    assert str(bench.candidate) in shown and reverse("attempt-void", args=[working.pk]) in shown
    stopped = SessionStop.objects.get()
    assert "Stopped at" in page(assessor, "session-board")

    half = post(assessor, "session-resume", stopped.pk, checked=["rigs"], words="Tight again")
    assert "Go through the whole list first." in half.text
    post(assessor, "session-resume", stopped.pk, checked=["cause", "rigs", "people"], words="Tight again")
    assert stops.standing(centre=bench.centre) is None


def test_a_technician_stops_but_does_not_let_it_go_on(bench, working, noon):
    technician = signed_in(bench.technician)
    post(technician, "session-stop", reason="Smoke")
    stopped = SessionStop.objects.get()
    assert reverse("session-resume", args=[stopped.pk]) not in page(technician, "session-stopped", stopped.pk)
    assert technician.get(reverse("session-resume", args=[stopped.pk])).status_code == 403


def test_a_step_is_ticked_from_the_list(assessor, working):
    step = working.version.steps.filter(safety_critical=True).earliest("position")
    response = post(assessor, "observe-step", working.pk, step.position, id=uuid4(), seen="met")
    assert response.redirect_chain[0][0].endswith(f"#step-{step.position}")
    assert Observation.objects.get().seen == "met"


def test_what_must_be_safe_comes_first(assessor, working):
    shown = page(assessor, "observe", working.pk)
    first = working.version.steps.filter(safety_critical=True).earliest("position")
    other = working.version.steps.filter(safety_critical=False).earliest("position")
    assert shown.index(f'id="step-{first.position}"') < shown.index(f'id="step-{other.position}"')


def test_not_met_is_kept_with_its_note_and_the_help_given(assessor, working):
    lacking = post(assessor, "observe-step", working.pk, 5, id=uuid4(), seen="not-met", level=3)
    assert "Say what you saw instead." in lacking.text
    hint = {"seen": "not-met", "note": "No lock", "level": 3}
    assert "Say what the hint" in post(assessor, "observe-step", working.pk, 5, id=uuid4(), **hint).text
    assert not Observation.objects.exists()

    post(assessor, "observe-step", working.pk, 5, id=uuid4(), **hint, words="And the key?")

    assert Observation.objects.get().note == "No lock"
    assert working.prompts.get().level == 3


def test_what_somebody_else_wrote_meanwhile_is_not_overwritten(bench, assessor, working):
    sessions.watched(bench, working, at=bench.at)
    sent = post(assessor, "observe-step", working.pk, 5, id=uuid4(), seen="not-met", note="No lock")
    assert "Say why it is corrected." in sent.text and "No lock" in sent.text
    post(assessor, "observe-step", working.pk, 5, id=uuid4(), seen="not-met", note="No lock", reason="Saw it")
    assert Observation.objects.current().get(step__position=5).seen == "not-met"


def test_a_question_is_asked_and_its_answer_kept(bench, assessor, working):
    sessions.with_questions(bench)
    shown = page(assessor, "oral-ask", working.pk, "tone")
    assert "No: it sounds far too long." in shown
    assert "Write down what was answered" in post(assessor, "oral-ask", working.pk, "tone", met="yes").text

    post(assessor, "oral-ask", working.pk, "tone", id=uuid4(), answer="No", met="no")

    assert not OralAnswer.objects.get().met
    assert "Not met" in page(assessor, "observe", working.pk)


def test_an_unknown_question_and_ones_own_attempt_are_not_there(bench, assessor, working):
    assert assessor.get(reverse("oral-ask", args=[working.pk, "tone"])).status_code == 404
    both = person_with("assessor", by=bench.manager)
    other = made.started(bench, candidate=made.another_candidate(bench))
    assert signed_in(both).get(reverse("observe", args=[other.pk])).status_code == 200
    elsewhere = person_with("assessor", by=ManagerFactory())
    assert signed_in(elsewhere).get(reverse("observe", args=[other.pk])).status_code == 404


def test_what_was_seen_is_on_the_review_and_in_the_result(bench, assessor, candidate, working):
    sessions.watched(bench, working, at=bench.at)
    made.work_through(working)
    attempt = made.attempts.hand_in(
        attempt=working, candidate=bench.candidate, at=bench.at + timedelta(minutes=50)
    )

    review = page(assessor, "review-detail", attempt.pk)
    assert "Logged as done, but seen not done" in review and "“Not proved at first”" in review
    assert "Because it may have died." in review

    made.signoff.sign_off(
        attempt=attempt,
        outcome=made.outcomes.latest(attempt),
        assessor=bench.assessor,
        decision=Decision.NOT_YET_COMPETENT,
        feedback="Prove it first.",
        reason="Seen at the bench.",
        confirmed_at=bench.at + timedelta(minutes=51),
        at=bench.at + timedelta(minutes=51),
    )
    made.started(bench, candidate=made.another_candidate(bench), at=bench.at + timedelta(minutes=55))
    result = page(candidate, "attempt-result", attempt.pk)
    assert "Logged as done, but seen not done" in result
    assert "Not proved at first" not in result  # a note may tell what the rig reads
    assert "Because it may have died." in result


def test_before_the_decision_a_candidate_sees_nothing_of_what_was_seen(bench, candidate, working):
    sessions.watched(bench, working, at=bench.at)
    for shown in (
        page(candidate, "attempt-overview", working.pk),
        page(candidate, "attempt-step", working.pk, 4),
        page(candidate, "bench-home"),
    ):
        assert "Not proved at first" not in shown and "may have died" not in shown
    assert observing.compared(working) is not None


# --- Rotation ---------------------------------------------------------------------------------------


def asked_for(bench, **other):
    cohort = [each.person_id for each in bench.cohort.memberships.all()]
    return {
        "starts_at": "2025-01-06T09:30",
        "minutes": 180,
        "slots": 6,
        "change_over": 4,
        "purpose": "assessment",
        "together": "1",
        "candidates": cohort,
        "rigs": [bench.rig.pk],
        "tasks": [bench.tasks[made.SWITCH_TEST].task.pk],
        "assessors": [bench.assessor.pk],
        "per_assessor": 6,
    } | other


def test_a_rotation_is_planned_and_each_candidate_finds_their_place(bench, assessor, candidate):
    shown = post(assessor, "rotation-create", bench.cohort.pk, **asked_for(bench)).text
    assert "26 to work in" in shown and str(bench.candidate) in shown

    home = page(candidate, "bench-home")
    assert "Planned for you" in home and "09:30" in home and "VB-01" in home


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"minutes": 20}, "leave nothing to work in"),
        ({"candidates": []}, "Choose one at least."),
        ({"starts_at": "tomorrow"}, "Enter a valid date/time."),
    ],
)
def test_a_rotation_that_cannot_be_is_refused_beside_its_field(bench, assessor, wrong, words):
    shown = post(assessor, "rotation-create", bench.cohort.pk, **asked_for(bench, **wrong)).text
    assert words in shown
    assert not SessionPlan.objects.exists()


def test_a_form_begins_with_what_the_last_rotation_was_made_of(bench, assessor, noon):
    sessions.rotation(bench, at=noon, slots=5)
    shown = page(assessor, "rotation-create", bench.cohort.pk)
    assert 'value="150"' in shown and 'value="5"' in shown


def test_planning_again_leaves_out_a_rig_on_hold(bench, assessor, noon):
    plan = sessions.rotation(bench, at=noon)
    made.rigs.rig(by=bench.technician, tag="VB-09")
    shown = post(
        assessor,
        "rotation-replan",
        plan.pk,
        from_slot=2,
        rigs=[bench.rig.pk],
        present=[bench.candidate.pk],
        reason="One has gone home",
    ).text
    assert "Made again, slot 2 on: One has gone home" in shown


def test_a_rotation_says_that_a_rig_it_counts_on_is_on_hold(bench, assessor, noon):
    plan = sessions.rotation(bench, at=noon)
    again = f'<a href="{reverse("rotation-replan", args=[plan.pk])}">plan again</a> without it'
    assert again not in page(assessor, "rotation-detail", plan.pk)
    holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=noon)
    assert again in page(assessor, "rotation-detail", plan.pk)


def test_a_swap_that_breaks_a_rule_is_refused_in_words(bench, assessor, noon):
    plan = sessions.rotation(bench, at=noon)
    shown = post(assessor, "rotation-swap", plan.pk, slot=1, first=1, second=1).text
    assert "Choose two different teams" in shown


def test_a_swap_by_the_page(bench, assessor, noon):
    plan = sessions.rotation(bench, at=noon)
    shown = post(assessor, "rotation-swap", plan.pk, slot=1, first=1, second=2, reason="Late").text
    assert "Two changed places, slot 1: Late" in shown


def test_the_sheet_is_printed(bench, assessor, noon, pango):
    plan = sessions.rotation(bench, at=noon)
    response = assessor.get(reverse("rotation-print", args=[plan.pk]))
    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF")


def test_a_rotation_of_another_centre_is_not_there(bench, noon):
    plan = sessions.rotation(bench, at=noon)
    elsewhere = signed_in(ManagerFactory())
    for name in ("rotation-detail", "rotation-replan", "rotation-swap", "rotation-print"):
        assert elsewhere.get(reverse(name, args=[plan.pk])).status_code == 404
    assert rotations.MOST_SLOTS == 16
