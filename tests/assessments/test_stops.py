from datetime import timedelta
from uuid import uuid4

import pytest

from academy import ledger
from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import attempts, evidence, stops, transcription
from assessments.models import SessionStop
from assessments.models.attempts import AttemptStatus
from tests.factories import assessments as made
from tests.factories.academy import ManagerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def working(bench):
    return made.started(bench)


def stop(bench, *, by=None, reason="Smell of gas at VB-01", minutes=5):
    at = bench.at + timedelta(minutes=minutes)
    return stops.stop(centre=bench.centre, reason=reason, by=by or bench.assessor, at=at)


def resume(stopped, bench, *, by=None, words="Union tightened, tested sound.", minutes=20):
    at = bench.at + timedelta(minutes=minutes)
    return stops.resume(stop=stopped, words=words, by=by or bench.assessor, at=at)


def log_first(attempt):
    step = attempt.version.steps.earliest("position")
    return evidence.log_reading(
        attempt=attempt,
        step=step,
        typed=made.as_typed("0.2", step=step),
        sent=evidence.Sent(id=uuid4()),
        candidate=attempt.candidate,
        at=attempt.started_at + timedelta(minutes=6),
    )


def test_while_stopped_nothing_is_logged_and_the_words_say_since_when(bench, working):
    stop(bench)
    with pytest.raises(stops.Stopped, match="The session was stopped at 09:20"):
        log_first(working)
    assert not working.readings.exists()


def test_why_it_was_stopped_is_not_told_to_candidates(bench, working):
    assert "gas" not in stops.words_for(stop(bench))


def test_nothing_is_begun_or_handed_in_meanwhile(bench, working):
    made.work_through(working)
    stop(bench)
    with pytest.raises(stops.Stopped):
        attempts.hand_in(attempt=working, candidate=bench.candidate, at=bench.at + timedelta(minutes=50))
    with pytest.raises(stops.Stopped):
        made.started(bench, candidate=made.another_candidate(bench))


def test_no_log_sheet_is_typed_in_meanwhile(bench, working):
    stop(bench)
    with pytest.raises(stops.Stopped):
        transcription.transcribe(
            attempt=working, lines=[], observed_on=bench.at.date(), by=bench.assessor, at=bench.at
        )


def test_attempts_at_work_are_interrupted_and_stay_open(bench, working):
    handed_in = made.handed_in(bench, candidate=made.another_candidate(bench))

    stopped = stop(bench, minutes=60)

    assert list(stopped.interrupted.all()) == [working]
    working.refresh_from_db()
    assert working.status == AttemptStatus.OPEN
    assert handed_in not in stopped.interrupted.all()


def test_once_it_goes_on_everything_is_taken_again(bench, working):
    resume(stop(bench), bench)

    assert log_first(working).text == "0.2"
    assert stops.standing(centre=bench.centre) is None


def test_another_centre_is_not_stopped(bench):
    stop(bench)
    stops.require_running(centre=ManagerFactory().centre)


def test_stopping_twice_is_the_same_as_once(bench):
    assert stop(bench) == stop(bench, by=bench.technician, minutes=6)
    assert SessionStop.objects.count() == 1


def test_any_of_the_staff_stops_and_only_an_assessor_lets_it_go_on(bench):
    stopped = stop(bench, by=bench.technician)
    for somebody in (bench.technician, bench.manager, bench.candidate):
        with pytest.raises(Refused, match="Only an assessor"):
            resume(stopped, bench, by=somebody)
    assert resume(stopped, bench).resumed_by == bench.assessor


def test_a_candidate_and_a_stranger_stop_nothing(bench):
    for somebody in (bench.candidate, ManagerFactory()):
        with pytest.raises(Refused, match="Only staff of this centre"):
            stop(bench, by=somebody)


def test_both_say_why(bench):
    with pytest.raises(Refused) as refused:
        stop(bench, reason=" ")
    assert refused.value.field == "reason"
    with pytest.raises(Refused) as refused:
        resume(stop(bench), bench, words=" ")
    assert refused.value.field == "words"


def test_going_on_twice_keeps_the_first_words(bench):
    stopped = stop(bench)
    resume(stopped, bench)
    assert resume(stopped, bench, words="Again").words == "Union tightened, tested sound."


def test_the_ledger_has_both_without_their_words(bench, working):
    stopped = stop(bench)
    resume(stopped, bench)

    bodies = [each.body for each in LedgerEntry.objects.filter(subject=str(stopped.pk))]
    assert len(bodies) == 2
    assert not any("gas" in body or "Union" in body for body in bodies)
    assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)
