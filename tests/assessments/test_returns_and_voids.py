from datetime import timedelta
from uuid import uuid4

import pytest

from academy import ledger
from academy.refusals import Refused
from assessments import attempts, evidence, outcomes, progress, returns, signoff, voids
from assessments.models import Attempt, AttemptVoid
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause
from tests.factories import assessments as made

pytestmark = pytest.mark.django_db


MINUTE = timedelta(minutes=1)


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def attempt(bench):
    return made.handed_in(bench)


def reading_step(attempt):
    return attempt.version.steps.filter(kind="reading", judged_by="agrees").first()


def give_back(bench, attempt, *, steps=None, words="Read it once more: let it settle first.", after=MINUTE):
    return returns.give_back(
        attempt=attempt,
        outcome=outcomes.latest(attempt),
        steps=[reading_step(attempt)] if steps is None else steps,
        words=words,
        assessor=bench.assessor,
        at=attempt.submitted_at + after,
    )


def read_again(attempt, text, *, at, reason="", step=None):
    step = step or reading_step(attempt)
    return evidence.log_reading(
        attempt=attempt,
        step=step,
        typed=made.as_typed(text, step=step),
        sent=evidence.Sent(id=uuid4(), reason=reason),
        candidate=attempt.candidate,
        at=at,
    )


class TestReturning:
    def test_the_candidate_reads_again_and_hands_in_with_both_kept(self, bench, attempt):
        step = reading_step(attempt)
        before = attempt.readings.get(step=step)
        returned = give_back(bench, attempt)
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.RETURNED
        again = read_again(attempt, before.text, at=returned.at + MINUTE)
        assert again.supersedes == before
        assert again.reason == returns.WHY
        attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=returned.at + 2 * MINUTE)
        attempt.refresh_from_db()
        returned.refresh_from_db()
        assert attempt.status == AttemptStatus.SUBMITTED
        assert attempt.outcomes.count() == 2
        assert returned.done_at == attempt.submitted_at
        assert returned.handed_in_at < returned.at < attempt.submitted_at

    def test_only_the_steps_named_can_be_logged(self, bench, attempt):
        returned = give_back(bench, attempt)
        attempt.refresh_from_db()
        other = attempt.version.steps.filter(kind="reading").exclude(pk=reading_step(attempt).pk).first()
        with pytest.raises(Refused, match="returned for other steps"):
            read_again(attempt, "0.4", at=returned.at + MINUTE, step=other)

    def test_what_was_asked_for_must_be_there_before_it_is_handed_in(self, bench, attempt):
        returned = give_back(bench, attempt)
        attempt.refresh_from_db()
        with pytest.raises(Refused, match="Log what was asked for first"):
            attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=returned.at + MINUTE)

    def test_a_step_of_action_is_not_done_again_afterwards(self, bench, attempt):
        action = attempt.version.steps.filter(kind="action").first()
        with pytest.raises(Refused, match="can't be done again afterwards"):
            give_back(bench, attempt, steps=[action])

    def test_a_rig_is_not_read_again_in_another_session(self, bench, attempt):
        with pytest.raises(Refused, match="session in which this was worked is over"):
            give_back(bench, attempt, after=timedelta(days=1))

    def test_one_returned_late_in_the_session_can_be_handed_in_as_it_is(self, bench, attempt):
        give_back(bench, attempt)
        attempt.refresh_from_db()
        tomorrow = attempt.submitted_at + timedelta(days=1)
        with pytest.raises(Refused, match="session in which you worked is over"):
            read_again(attempt, "1.00", at=tomorrow)
        attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=tomorrow)
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.SUBMITTED

    @pytest.mark.parametrize("words", ["", "  "])
    def test_the_candidate_is_told_what_to_mind(self, bench, attempt, words):
        with pytest.raises(Refused, match="Write to the candidate"):
            give_back(bench, attempt, words=words)

    def test_nobody_signs_off_what_is_with_the_candidate(self, bench, attempt):
        give_back(bench, attempt)
        with pytest.raises(Refused, match=f"{bench.assessor} returned this attempt to the candidate"):
            signoff.sign_off(
                attempt=attempt,
                outcome=outcomes.latest(attempt),
                assessor=bench.assessor,
                decision=Decision.COMPETENT,
                feedback="Good.",
                confirmed_at=attempt.submitted_at,
                at=attempt.submitted_at + 2 * MINUTE,
            )

    def test_the_candidate_starts_no_second_one_beside_it(self, bench, attempt):
        give_back(bench, attempt)
        with pytest.raises(Refused, match="carry on with that one"):
            made.started(bench, at=attempt.submitted_at + 2 * MINUTE)

    def test_it_is_in_the_ledger_without_its_words(self, bench, attempt):
        give_back(bench, attempt, words="Mind the zero of Anna's gauge.")
        entry = bench.centre.ledger_entries.get(verb="attempt.return")
        assert reading_step(attempt).slug in entry.body
        assert "Anna" not in entry.body
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)


def make_void(
    bench, attempt, *, at=None, by=None, hold=None, reason="Hose split.", words="The rig was at fault."
):
    return voids.make_void(
        attempt=attempt,
        cause=VoidCause.RIG,
        reason=reason,
        words=words,
        by=by or bench.assessor,
        at=at or attempt.submitted_at + MINUTE,
        hold=hold,
    )


class TestVoid:
    def test_it_counts_nowhere_and_stays_readable(self, bench, attempt):
        void = make_void(bench, attempt)
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.VOID
        assert attempt.void == void
        task = attempt.version.task
        assert (bench.candidate.pk, task.pk) not in progress.standings_of([bench.candidate], [task])
        assert not Attempt.objects.counting().filter(pk=attempt.pk).exists()
        assert outcomes.latest(attempt).attempt == attempt

    def test_one_that_is_still_being_worked_on_is_marked_as_far_as_it_got(self, bench):
        attempt = made.started(bench)
        make_void(bench, attempt, at=attempt.started_at + 5 * MINUTE)
        attempt.refresh_from_db()
        assert attempt.status == AttemptStatus.VOID
        assert attempt.submitted_at is None
        assert attempt.void.was == AttemptStatus.OPEN
        assert outcomes.marking_of(outcomes.latest(attempt))
        with pytest.raises(Refused, match="This attempt is void"):
            read_again(attempt, "1.00", at=attempt.started_at + 6 * MINUTE)

    def test_a_new_one_can_be_started_at_once(self, bench, attempt):
        make_void(bench, attempt)
        assert made.started(bench, at=attempt.submitted_at + 2 * MINUTE).status == AttemptStatus.OPEN

    def test_the_rig_is_put_on_hold_with_it(self, bench, attempt):
        void = make_void(bench, attempt, hold=bench.rig)
        assert void.hold == bench.rig.holds.open().get()
        assert void.hold.reason == "Hose split."

    def test_what_is_decided_is_for_an_impact_review(self, bench):
        signed = made.signed_off(bench)
        with pytest.raises(Refused, match="impact review"):
            make_void(bench, signed.attempt, at=signed.at + MINUTE)

    def test_twice_says_who_did(self, bench, attempt):
        make_void(bench, attempt)
        with pytest.raises(Refused, match=f"{bench.assessor} made this attempt void already"):
            make_void(bench, attempt)
        assert AttemptVoid.objects.count() == 1

    @pytest.mark.parametrize(
        ("field", "message"), [("reason", "what was wrong"), ("words", "Write to the candidate")]
    )
    def test_it_needs_a_reason_and_words(self, bench, attempt, field, message):
        with pytest.raises(Refused, match=message):
            make_void(bench, attempt, **{field: " "})

    def test_a_candidate_makes_nothing_void(self, bench, attempt):
        with pytest.raises(Refused, match="your own attempt"):
            make_void(bench, attempt, by=bench.candidate)
