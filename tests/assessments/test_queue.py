"""What waits for a decision: in which order, and why."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from assessments import prompts, queue
from assessments.models import Attempt
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.queue import Filters
from assessments.risks import AROUND, SAYS, WEIGHTS, Known, Reason
from rigs import holds
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import CandidateFactory, CohortFactory, person_with
from tests.factories.centres import OUT_OF_RANGE

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
MISSED = made.Work(skipped=frozenset({"prove-after"}))
NO_READING = made.Work(skipped=frozenset({"ports-running"}))


@pytest.fixture(autouse=True)
def pictures(monkeypatch):
    """Each photo is another one: the same twice is something to look at."""
    taken = iter(range(1000))
    one = made.picture
    monkeypatch.setattr(made, "picture", lambda words: one(f"{words} {next(taken)}"))


def of(bench, *, at=None, by=None, **filters):
    return queue.of_assessor(
        assessor=by or bench.assessor,
        centre=bench.centre,
        at=at or bench.at + 2 * HOUR,
        filters=Filters(**filters),
    )


def hand_in(bench, work=made.ALL_WELL, *, minutes=0, **given):
    candidate = given.pop("candidate", None) or made.another_candidate(bench)
    at = bench.at + timedelta(minutes=minutes)
    return made.handed_in(bench, work, candidate=candidate, at=at, **given)


def reasons(waiting):
    return {told.reason for told in waiting.told} - AROUND


def around(waiting):
    return {told.reason for told in waiting.told} & AROUND


class TestTheOrder:
    def test_what_is_risky_comes_first_and_what_is_as_risky_by_age(self, bench):
        clean_later = hand_in(bench, minutes=5)
        clean = hand_in(bench)
        to_decide = hand_in(bench, NO_READING, minutes=10)
        breach = hand_in(bench, OUT_OF_RANGE, minutes=15)

        found = [each.attempt for each in of(bench).waiting]

        assert found == [breach, to_decide, clean, clean_later]

    def test_practice_comes_last_whatever_is_known_of_it(self, bench):
        practice = hand_in(bench, OUT_OF_RANGE, purpose=Purpose.PRACTICE)
        clean = hand_in(bench, minutes=5)

        assert [each.attempt for each in of(bench).waiting] == [clean, practice]

    def test_a_risk_is_the_sum_of_the_weights_of_its_reasons(self, bench):
        hand_in(bench, OUT_OF_RANGE)

        (waiting,) = of(bench).waiting

        assert waiting.risk == sum(WEIGHTS[told.reason] for told in waiting.told)
        assert [WEIGHTS[told.reason] for told in waiting.told] == sorted(
            (WEIGHTS[told.reason] for told in waiting.told), reverse=True
        )

    def test_every_reason_has_a_weight_and_words(self):
        assert set(Reason) == WEIGHTS.keys() == SAYS.keys()
        assert all(weight > 0 for weight in WEIGHTS.values())

    def test_it_counts_the_clean_and_the_others_and_the_days_of_the_oldest(self, bench):
        hand_in(bench)
        hand_in(bench, MISSED, minutes=5)

        found = of(bench, at=bench.at + timedelta(days=1))

        assert (found.count, found.clean, found.to_look_at, found.oldest_days) == (2, 1, 1, 1)

    def test_of_more_than_are_put_in_order_the_longest_waiting_are(self, bench, monkeypatch):
        monkeypatch.setattr(queue, "MOST", 2)
        first, second = hand_in(bench), hand_in(bench, minutes=1)
        hand_in(bench, OUT_OF_RANGE, minutes=20)

        found = of(bench)

        assert {each.attempt for each in found.waiting} == {first, second}
        assert found.count == 3

    def test_ones_own_and_another_centres_are_not_in_it(self, bench):
        both = person_with("assessor", by=bench.manager)
        attempt = hand_in(bench)
        Attempt.objects.filter(pk=attempt.pk).update(candidate=both)
        stranger = person_with("assessor", by=rigs.ManagerFactory())

        assert of(bench, by=both).waiting == ()
        assert of(bench, by=stranger).waiting == ()

    def test_more_rows_cost_no_more_queries(self, bench):
        hand_in(bench, MISSED)
        hand_in(bench, NO_READING, minutes=1)
        hand_in(bench, minutes=2)
        with CaptureQueriesContext(connection) as few:
            of(bench)
        for minute in range(3, 9):
            hand_in(bench, MISSED if minute % 2 else made.ALL_WELL, minutes=minute)
        with CaptureQueriesContext(connection) as many:
            assert len(of(bench).waiting) == 9

        assert len(many) == len(few)


class TestTheReasons:
    def test_a_clean_one_has_none_of_its_own(self, bench):
        hand_in(bench)

        (waiting,) = of(bench).waiting

        assert waiting.is_clean
        assert around(waiting) == {Reason.NEW_VERSION, Reason.NEW_BASELINE}

    @pytest.mark.parametrize(
        ("work", "expected"),
        [
            (MISSED, {Reason.BREACH, Reason.NOT_YET}),
            (NO_READING, {Reason.TO_DECIDE}),
            (made.Work(readings={"ports-running": "1.91"}), {Reason.NOT_YET}),
        ],
        ids=["safety-critical", "left to decide", "out of range"],
    )
    def test_what_the_marking_says(self, bench, work, expected):
        hand_in(bench, work)

        (waiting,) = of(bench).waiting

        assert reasons(waiting) == expected
        assert not waiting.is_clean

    def test_a_flag_is_named_by_its_kind(self, bench):
        hand_in(bench, made.Work(readings={"ports-running": "1.5801"}))

        (waiting,) = of(bench).waiting

        assert Reason.FLAGGED in reasons(waiting)
        assert "digits finer than the display" in [told.words for told in waiting.told]

    @pytest.mark.parametrize(("level", "is_told"), [(2, False), (3, True), (4, True)])
    def test_a_prompt_from_a_hint_on(self, bench, level, is_told):
        attempt = hand_in(bench)
        prompts.give(
            attempt=attempt, step=None, level=level, words="Which way?", by=bench.assessor, at=bench.at + HOUR
        )

        (waiting,) = of(bench).waiting

        assert (Reason.PROMPTED in reasons(waiting)) is is_told

    def test_a_hold_since_on_the_rig_or_an_instrument_but_not_one_before(self, bench):
        attempt = hand_in(bench)
        assert reasons(of(bench).waiting[0]) == set()
        manometer = attempt.instruments.get(kind="manometer").instrument
        for thing in (bench.rig, manometer):
            holds.place(on=thing, reason="Dropped", by=bench.technician, at=bench.at + HOUR)

        (waiting,) = of(bench).waiting

        (told,) = [each for each in waiting.told if each.reason == Reason.RIG]
        assert told.words == f"VB-01 on hold since, {manometer.tag} on hold since"

    def test_a_resit_is_one_after_not_yet_competent_at_the_same_task(self, bench):
        made.signed_off(bench, MISSED, decision=Decision.NOT_YET_COMPETENT)
        hand_in(bench, candidate=bench.candidate, minutes=24 * 60, purpose=Purpose.PRACTICE)
        hand_in(bench, minutes=24 * 60 + 5, purpose=Purpose.PRACTICE)

        again, other = of(bench, at=bench.at + timedelta(days=1, hours=2)).waiting

        assert Reason.RESIT in around(again)
        assert Reason.RESIT not in around(other)

    def test_one_that_has_waited_longer_than_the_centre_wants(self, bench):
        hand_in(bench)

        (in_time,) = of(bench, at=bench.at + timedelta(days=2)).waiting
        (late,) = of(bench, at=bench.at + timedelta(days=3)).waiting

        assert Reason.LATE not in around(in_time)
        assert Reason.LATE in around(late)
        assert late.is_clean

    def test_a_version_and_a_baseline_are_new_for_so_many_decisions(self, bench):
        for number in range(5):
            made.signed_off(
                bench, candidate=made.another_candidate(bench), at=bench.at + timedelta(minutes=number)
            )
        attempt = hand_in(bench, minutes=30)

        told = {each.reason for each in Known.of([attempt]).told(attempt, at=bench.at + 2 * HOUR)}

        assert Reason.NEW_VERSION in told
        assert Reason.NEW_BASELINE not in told


class TestFilters:
    def test_by_cohort_task_and_rig(self, bench):
        other = CohortFactory(by=bench.manager)
        stranger = CandidateFactory(by=bench.manager, cohort=other)
        hand_in(bench, purpose=Purpose.PRACTICE)
        theirs = hand_in(bench, candidate=stranger, purpose=Purpose.PRACTICE, minutes=5)

        assert [each.attempt for each in of(bench, cohort=other.pk).waiting] == [theirs]
        assert len(of(bench, rig=bench.rig.pk, task=theirs.version.task_id).waiting) == 2
        assert of(bench, task=bench.tasks["safe-isolation"].task_id).waiting == ()

    def test_mine_today_are_those_of_the_half_day_that_i_opened(self, bench):
        attempt = hand_in(bench)
        opener = attempt.session.opened_by

        mine = of(bench, by=opener, mine=True)

        assert [each.attempt for each in mine.waiting] == [attempt]
        assert of(bench, by=opener, mine=True, at=bench.at + timedelta(days=1)).waiting == ()

    def test_what_is_offered_is_what_waits_with_how_much(self, bench):
        hand_in(bench)
        hand_in(bench, minutes=5)

        found = queue.offered(assessor=bench.assessor, on=bench.at.date())

        assert found.rigs == ((bench.rig.pk, "VB-01 (2)"),)
        assert found.cohorts == ((bench.cohort.pk, f"{bench.cohort.name} (2)"),)
