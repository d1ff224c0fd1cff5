"""How long decisions took, how late they came, and what a verifier is told of it."""

from datetime import timedelta

import pytest

from academy.models import Role
from assessments import decision_times, outcomes, phrases, signoff, verification
from assessments.models import Attempt, Look
from assessments.models.decisions import Decision
from assessments.sampling.selection import Risk
from assessments.templatetags.review import minutes_and_seconds
from tests.factories import assessments as made
from tests.factories.academy import person_with

pytestmark = pytest.mark.django_db

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)


def sign(bench, attempt, *, at, seconds=None, feedback="Careful work."):
    return signoff.sign_off(
        attempt=attempt,
        outcome=outcomes.latest(attempt),
        assessor=bench.assessor,
        decision=Decision.COMPETENT,
        feedback=feedback,
        visible_seconds=seconds,
        confirmed_at=at,
        at=at,
    )


def opened(bench, attempt, *, at):
    return decision_times.note_opened(attempt=attempt, assessor=bench.assessor, at=at)


class TestTheTime:
    def test_it_runs_from_the_first_sight_to_the_decision(self, bench):
        attempt = made.handed_in(bench)
        begun = attempt.submitted_at + MINUTE
        opened(bench, attempt, at=begun)
        opened(bench, attempt, at=begun + 5 * MINUTE)

        took = decision_times.taken(sign(bench, attempt, at=begun + 7 * MINUTE))

        assert (took.opened_at, took.open_for, took.visible) == (begun, 7 * MINUTE, None)

    def test_idle_hours_are_told_apart_where_the_browser_knows(self, bench):
        attempt = made.handed_in(bench)
        opened(bench, attempt, at=attempt.submitted_at)

        took = decision_times.taken(sign(bench, attempt, at=attempt.submitted_at + DAY, seconds=100))

        assert (took.open_for, took.looked) == (DAY, timedelta(seconds=100))

    def test_no_browser_claims_more_than_it_was_open(self, bench):
        attempt = made.handed_in(bench)
        opened(bench, attempt, at=attempt.submitted_at)

        took = decision_times.taken(sign(bench, attempt, at=attempt.submitted_at + MINUTE, seconds=9000))

        assert took.looked == MINUTE

    def test_what_was_seen_before_it_was_handed_in_again_does_not_count(self, bench):
        attempt = made.handed_in(bench)
        opened(bench, attempt, at=attempt.submitted_at)
        Attempt.objects.filter(pk=attempt.pk).update(submitted_at=attempt.submitted_at + DAY)
        attempt.refresh_from_db()

        look = opened(bench, attempt, at=attempt.submitted_at + MINUTE)

        assert look.opened_at == attempt.submitted_at + MINUTE
        assert Look.objects.count() == 1

    def test_one_that_was_never_opened_has_none(self, bench):
        assert decision_times.taken(made.signed_off(bench)) is None

    @pytest.mark.parametrize(
        ("seconds", "written"), [(5, "5 s"), (125, "2 min 5 s"), (7500, "2 h 5 min")], ids=str
    )
    def test_it_is_written_in_minutes(self, seconds, written):
        assert minutes_and_seconds(timedelta(seconds=seconds)) == written


class TestTheDays:
    @pytest.mark.parametrize(("days", "is_late"), [(0, False), (2, False), (3, True)])
    def test_more_than_two_after_the_work_is_late(self, bench, days, is_late):
        attempt = made.handed_in(bench)

        lag = decision_times.lag(attempt=attempt, at=attempt.submitted_at + days * DAY, centre=bench.centre)

        assert (lag.days, lag.is_late) == (days, is_late)

    def test_of_a_log_sheet_the_day_written_on_it_counts(self, bench):
        attempt = made.handed_in(bench)
        attempt.observed_on = attempt.submitted_at.date() - 5 * DAY

        lag = decision_times.lag(attempt=attempt, at=attempt.submitted_at, centre=bench.centre)

        assert (lag.days, lag.is_late) == (5, True)


class TestTheSample:
    @pytest.fixture
    def risks(self, bench):
        """Of each decision of those days, by its attempt, as sampling is told."""

        def risks():
            found = verification._decided(bench.centre, bench.at.date(), bench.at.date() + 9 * DAY)
            return [each.risks & {Risk.HASTY, Risk.SAME_WORDS, Risk.LATE} for each in found]

        return risks

    def test_a_decision_in_under_a_minute_is_told(self, bench, risks):
        for seconds in (50, 70):
            attempt = made.handed_in(bench, candidate=made.another_candidate(bench))
            opened(bench, attempt, at=attempt.submitted_at)
            sign(
                bench,
                attempt,
                at=attempt.submitted_at + timedelta(seconds=seconds),
                feedback=f"After {seconds}.",
            )

        assert risks() == [{Risk.HASTY}, frozenset()]

    def test_the_same_words_five_times_a_day_are_told_and_four_times_are_not(self, bench, risks):
        for number in range(4):
            made.signed_off(bench, candidate=made.another_candidate(bench), at=bench.at + number * MINUTE)
        assert risks() == [frozenset()] * 4

        last = made.signed_off(bench, candidate=made.another_candidate(bench), at=bench.at + 5 * MINUTE)

        assert risks() == [{Risk.SAME_WORDS}] * 5
        assert phrases.times_today(signed=last, centre=bench.centre) == 5

    def test_a_late_one_is_told(self, bench, risks):
        attempt = made.handed_in(bench)
        sign(bench, attempt, at=attempt.submitted_at + 3 * DAY)

        assert risks() == [{Risk.LATE}]

    def test_a_plan_that_is_drawn_takes_all_that_were_decided_in_haste(self, bench):
        attempt = made.handed_in(bench)
        opened(bench, attempt, at=attempt.submitted_at)
        signed = sign(bench, attempt, at=attempt.submitted_at + timedelta(seconds=5))
        plan = verification.draw_plan(
            centre=bench.centre,
            starts_on=bench.at.date(),
            ends_on=bench.at.date(),
            seed=1,
            wrong_percent=10,
            chance_percent=80,
            by=person_with(Role.Kind.VERIFIER, by=bench.manager),
            at=bench.at + DAY,
        )

        assert plan.sampled.filter(sign_off=signed).exists()
