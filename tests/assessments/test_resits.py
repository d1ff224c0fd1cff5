from datetime import timedelta

import pytest

from academy.refusals import Refused
from assessments import attempts, resits, voids
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause
from tests.factories import assessments as made
from tests.factories import rights as beside
from tests.factories import rigs
from tests.factories.academy import DAY
from tests.factories.assessments import SWITCH_TEST, Work
from tests.factories.rights import MINUTE

pytestmark = pytest.mark.django_db

NOT_YET = Decision.NOT_YET_COMPETENT
MISSED = Work(skipped=frozenset({"prove-dead"}))
TOMORROW = DAY + timedelta(days=1)


@pytest.fixture
def bench():
    return made.ready_bench()


def reasons(bench, *, on=DAY, rig=None):
    return resits.reasons(
        candidate=bench.candidate, task=bench.tasks[SWITCH_TEST].task, rig=rig or bench.rig, on=on
    )


class TestARule:
    def test_without_one_nothing_is_asked_for(self, bench):
        made.signed_off(bench, decision=NOT_YET)
        assert reasons(bench) == []

    def test_nothing_is_asked_for_before_the_first_decision(self, bench):
        beside.rule(bench, wait_days=7, not_same_day=True, other_rig=True, most_attempts=1)
        assert reasons(bench) == []

    def test_days_have_to_pass_after_not_yet_competent(self, bench):
        beside.rule(bench, wait_days=7)
        made.signed_off(bench, decision=NOT_YET)
        (said,) = reasons(bench)
        assert said.startswith("It can be assessed again from Monday 13 January 2025")
        assert reasons(bench, on=DAY + timedelta(days=6))
        assert reasons(bench, on=DAY + timedelta(days=7)) == []

    def test_none_have_to_pass_after_competent(self, bench):
        beside.rule(bench, wait_days=7, other_rig=True, most_attempts=1)
        made.signed_off(bench)
        assert reasons(bench) == []

    def test_a_missed_safety_critical_step_is_not_made_good_the_same_day(self, bench):
        beside.rule(bench, not_same_day=True)
        made.signed_off(bench, MISSED, decision=NOT_YET)
        (said,) = reasons(bench)
        assert said.startswith("It can be assessed again from Tuesday 7 January 2025: a safety-critical step")
        assert reasons(bench, on=TOMORROW) == []

    def test_another_slip_is(self, bench):
        beside.rule(bench, not_same_day=True)
        made.signed_off(bench, decision=NOT_YET)
        assert reasons(bench) == []

    def test_so_many_attempts_and_somebody_must_allow_the_next(self, bench):
        beside.rule(bench, most_attempts=2)
        made.signed_off(bench, decision=NOT_YET)
        assert reasons(bench) == []
        made.signed_off(bench, decision=NOT_YET, at=bench.at + timedelta(hours=1))
        (said,) = reasons(bench)
        assert said.startswith("You have tried it 2 times")

    def test_a_void_attempt_is_none(self, bench):
        beside.rule(bench, wait_days=7, most_attempts=1)
        attempt = made.handed_in(bench)
        voids.make_void(
            attempt=attempt,
            cause=VoidCause.RIG,
            reason="Hose split.",
            words="The rig was at fault.",
            by=bench.assessor,
            at=attempt.submitted_at + MINUTE,
        )
        assert reasons(bench) == []

    def test_practice_is_none_either(self, bench):
        beside.rule(bench, wait_days=7)
        made.signed_off(bench, purpose="practice", decision=NOT_YET)
        assert reasons(bench) == []

    def test_another_rig_is_asked_for_where_there_is_one(self, bench):
        beside.rule(bench, other_rig=True)
        made.signed_off(bench, decision=NOT_YET)
        assert reasons(bench) == []
        other = rigs.rig(by=bench.technician, tag="VB-09", at=bench.at)
        assert reasons(bench) == ["Your last attempt was on VB-01: take another rig this time."]
        assert reasons(bench, rig=other) == []

    def test_one_that_waits_for_its_decision_comes_first(self, bench):
        beside.rule(bench, wait_days=1)
        made.handed_in(bench)
        (said,) = reasons(bench)
        assert "isn't decided yet" in said

    def test_a_start_is_refused_in_the_same_words(self, bench):
        beside.rule(bench, wait_days=7)
        made.signed_off(bench, decision=NOT_YET)
        with pytest.raises(Refused, match="again from Monday 13 January 2025"):
            made.started(bench, at=bench.at + timedelta(hours=2))
        assert made.started(bench, purpose="practice", at=bench.at + timedelta(hours=2))

    def test_it_is_told_beforehand(self, bench):
        beside.rule(bench, wait_days=7)
        made.signed_off(bench, decision=NOT_YET)
        told = attempts.why_not_assessed(
            candidate=bench.candidate,
            version=bench.tasks[SWITCH_TEST],
            rig=bench.rig,
            at=bench.at + timedelta(hours=2),
        )
        assert told == reasons(bench)
        task = bench.tasks[SWITCH_TEST].task
        said = resits.conditions(candidate=bench.candidate, task=task, centre=bench.centre)
        assert said == ["The next assessment is possible from Monday 13 January 2025."]


class TestLeave:
    def test_it_lets_one_attempt_through_and_no_more(self, bench):
        beside.rule(bench, most_attempts=1)
        made.signed_off(bench, decision=NOT_YET)
        leave = beside.leave(bench, bench.candidate)
        assert reasons(bench) == []
        signed = made.signed_off(bench, decision=NOT_YET, at=bench.at + timedelta(hours=1))
        leave.refresh_from_db()
        assert leave.used_by == signed.attempt
        assert reasons(bench)

    def test_one_that_isnt_needed_is_kept(self, bench):
        leave = beside.leave(bench, bench.candidate)
        made.started(bench)
        leave.refresh_from_db()
        assert leave.used_by is None

    def test_a_second_one_is_refused_while_the_first_waits(self, bench):
        beside.leave(bench, bench.candidate)
        with pytest.raises(Refused, match="allowed already"):
            beside.leave(bench, bench.candidate)

    def test_nobody_gives_it_to_themselves_nor_a_candidate(self, bench):
        task = bench.tasks[SWITCH_TEST].task
        for by, message in (
            (bench.candidate, "Nobody gives themselves"),
            (bench.technician, "Only an assessor"),
        ):
            with pytest.raises(Refused, match=message):
                resits.give_leave(candidate=bench.candidate, task=task, reason="x", by=by, at=bench.at)
