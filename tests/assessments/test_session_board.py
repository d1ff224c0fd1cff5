from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import adjustments, evidence, help_calls, session_board
from rigs import holds
from tests.factories import assessments as made

pytestmark = pytest.mark.django_db


@pytest.fixture
def working(bench):
    return made.started(bench)


def later(bench, minutes):
    return bench.at + timedelta(minutes=minutes)


def log(bench, attempt, slug, minutes):
    evidence.log_step(
        attempt=attempt,
        step=attempt.version.steps.get(slug=slug),
        sent=evidence.Sent(id=uuid4()),
        candidate=attempt.candidate,
        at=later(bench, minutes),
    )


def board(bench, minutes):
    return session_board.board(centre=bench.centre, at=later(bench, minutes))


def only(bench, minutes):
    (found,) = [each for rig in board(bench, minutes).rigs for each in rig.working]
    return found


def test_it_says_which_step_and_for_how_long(bench, working):
    fresh = only(bench, 3)
    assert (fresh.number, fresh.minutes_in_step, fresh.minutes, fresh.guide) == (1, 3, 3, 35)

    log(bench, working, "isolate", 5)

    moved = only(bench, 9)
    assert (moved.step.slug, moved.number) == ("prove-dead", 6)
    assert (moved.minutes_in_step, moved.minutes, moved.count) == (4, 9, 32)


def test_somebody_who_logs_nothing_for_long_is_pointed_out(bench, working):
    assert not board(bench, 7).still
    assert [each.attempt for each in board(bench, 8).still] == [working]
    log(bench, working, "isolate", 9)
    assert not board(bench, 10).still


def test_what_lay_open_overnight_is_no_part_of_the_room(bench, working):
    found = board(bench, 60 * 20)
    assert (found.count, found.still) == (0, ())
    assert found.earlier == (working,)


def test_extra_time_counts_before_somebody_is_over(bench, working):
    assert only(bench, 36).is_over
    adjustments.agree(
        candidate=bench.candidate,
        what="Instructions read out",
        extra_percent=25,
        starts_on=bench.at.date(),
        ends_on=None,
        by=bench.assessor,
        at=bench.at,
    )
    found = only(bench, 36)
    assert (found.guide, found.is_over) == (44, False)
    assert [each.what for each in found.adjustments] == ["Instructions read out"]


def test_a_call_is_seen_until_it_is_answered(bench, working):
    call = help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 2))
    assert [each.call for each in board(bench, 3).calls] == [call]
    help_calls.answer(call=call, by=bench.assessor, at=later(bench, 4))
    assert not board(bench, 5).calls


def test_calls_come_in_the_order_in_which_they_were_made(bench, working):
    other = made.started(bench, candidate=made.another_candidate(bench))
    for attempt, minutes in ((other, 2), (working, 3)):
        help_calls.ask(attempt=attempt, step=None, candidate=attempt.candidate, at=later(bench, minutes))
    assert [each.attempt for each in board(bench, 4).calls] == [other, working]


def test_a_rig_on_hold_and_one_with_nobody_are_there(bench):
    holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=bench.at)
    (found,) = board(bench, 1).rigs
    assert (found.rig.held, found.working, found.expected) == (True, (), ())


def test_more_candidates_ask_no_more_of_the_database(bench, working):
    asked = []
    for count in (1, 4):
        while board(bench, 1).count < count:
            made.started(bench, candidate=made.another_candidate(bench))
        with CaptureQueriesContext(connection) as queries:
            board(bench, 1)
        asked.append(len(queries))
    assert asked[0] == asked[1]


# --- Calls ------------------------------------------------------------------------------------------


def test_asking_twice_is_one_call(bench, working):
    first = help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 2))
    second = help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 3))
    assert first == second


def test_a_call_taken_back_was_answered_by_nobody(bench, working):
    help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 2))
    ended = help_calls.take_back(attempt=working, candidate=bench.candidate, at=later(bench, 3))
    assert ended is not None and ended.answered_by is None
    assert help_calls.open_call(attempt=working) is None
    assert help_calls.take_back(attempt=working, candidate=bench.candidate, at=later(bench, 4)) is None


def test_an_answer_after_it_was_taken_back_changes_nothing(bench, working):
    call = help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 2))
    help_calls.take_back(attempt=working, candidate=bench.candidate, at=later(bench, 3))
    assert help_calls.answer(call=call, by=bench.assessor, at=later(bench, 4)).answered_by is None


def test_nobody_calls_for_somebody_else_or_answers_without_being_an_assessor(bench, working):
    with pytest.raises(Refused, match="somebody else"):
        help_calls.ask(
            attempt=working, step=None, candidate=made.another_candidate(bench), at=later(bench, 2)
        )
    call = help_calls.ask(attempt=working, step=None, candidate=bench.candidate, at=later(bench, 2))
    for somebody in (bench.technician, bench.candidate):
        with pytest.raises(Refused, match="Only an assessor"):
            help_calls.answer(call=call, by=somebody, at=later(bench, 3))


def test_after_handing_in_nobody_is_called(bench):
    attempt = made.handed_in(bench)
    with pytest.raises(Refused, match="handed in"):
        help_calls.ask(attempt=attempt, step=None, candidate=bench.candidate, at=later(bench, 60))


def test_a_call_is_in_the_ledger(bench, working):
    help_calls.ask(
        attempt=working,
        step=working.version.steps.get(slug="isolate"),
        candidate=bench.candidate,
        at=later(bench, 2),
    )
    assert LedgerEntry.objects.filter(verb="help.ask").count() == 1
