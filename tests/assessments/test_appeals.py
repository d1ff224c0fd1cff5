from datetime import date, timedelta

import pytest

from academy import people
from academy.refusals import Refused
from assessments import appeals, progress, remarking, signoff
from assessments.models import Appeal
from assessments.models.appeals import AppealResult, AppealStage
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories import rights as beside
from tests.factories.academy import DAY, VerifierFactory
from tests.factories.rights import MINUTE

pytestmark = pytest.mark.django_db

NOT_YET = Decision.NOT_YET_COMPETENT


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def signed(bench):
    return made.signed_off(bench, decision=NOT_YET)


@pytest.fixture
def verifier(bench):
    return VerifierFactory(by=bench.manager)


def changed(appeal, *, by, decision=Decision.COMPETENT):
    return appeals.change(
        appeal=appeal,
        decision=decision,
        feedback="The zero is on the photo.",
        reason="The photo shows the zero before the reading.",
        by=by,
        confirmed_at=appeal.opened_at + MINUTE,
        at=appeal.opened_at + MINUTE,
    )


class TestOpening:
    def test_an_answer_is_due_in_working_days(self, signed):
        appeal = beside.appealed(signed)
        assert (appeal.stage, appeal.due_on) == (AppealStage.INFORMAL, date(2025, 1, 13))

    @pytest.mark.parametrize(
        ("on", "days", "due"),
        [
            (date(2025, 1, 6), 5, date(2025, 1, 13)),  # a Monday: over one weekend
            (date(2025, 1, 10), 1, date(2025, 1, 13)),  # a Friday
            (date(2025, 1, 11), 5, date(2025, 1, 17)),  # a Saturday
            (date(2025, 1, 6), 0, date(2025, 1, 6)),
        ],
    )
    def test_saturdays_and_sundays_are_no_working_days(self, on, days, due):
        assert appeals.working_days_after(on, days) == due

    def test_one_can_be_opened_until_the_last_day(self, signed):
        assert appeals.last_day(signed) == DAY + timedelta(days=20)
        assert appeals.why_not(signed=signed, at=signed.at + timedelta(days=20)) is None
        with pytest.raises(Refused, match="20 days for an appeal are over"):
            beside.appealed(signed, at=signed.at + timedelta(days=21))

    def test_there_is_one_at_a_time_and_an_answered_one_is_answered(self, signed, verifier):
        appeal = beside.appealed(signed)
        with pytest.raises(Refused, match="is open already"):
            beside.appealed(signed)
        appeals.uphold(
            appeal=appeal,
            reason="It was late.",
            by=verifier,
            confirmed_at=appeal.opened_at,
            at=appeal.opened_at,
        )
        with pytest.raises(Refused, match="was answered already"):
            beside.appealed(signed)

    def test_one_that_was_taken_back_can_be_opened_again(self, bench, signed):
        appeals.withdraw(appeal=beside.appealed(signed), by=bench.candidate, at=signed.at + MINUTE)
        assert beside.appealed(signed).decided_at is None

    def test_staff_open_one_for_the_candidate_and_strangers_dont(self, bench, signed):
        other = made.another_candidate(bench)
        with pytest.raises(Refused, match="Only the candidate, or staff"):
            beside.appealed(signed, by=other)
        assert beside.appealed(signed, by=bench.assessor).opened_by == bench.assessor

    def test_practice_is_not_appealed_against(self, bench):
        with pytest.raises(Refused, match="Practice counts nowhere"):
            beside.appealed(made.signed_off(bench, purpose="practice"))

    def test_what_the_candidate_wrote_stays_out_of_the_ledger(self, bench, signed):
        appeal = beside.appealed(signed)
        body = bench.centre.ledger_entries.get(verb="appeal.open").body
        assert "zero" not in body
        assert appeal.evidence_sha256 in body


class TestWhileOneIsOpen:
    def test_the_evidence_is_as_it_was(self, signed):
        appeal = beside.appealed(signed)
        assert appeals.changed_since(appeal) == []

    def test_a_reading_that_was_tampered_with_shows(self, signed):
        appeal = beside.appealed(signed)
        reading = signed.attempt.readings.first()
        type(reading).objects.filter(pk=reading.pk).update(text="9.99")
        (said,) = appeals.changed_since(appeal)
        assert "/readings/" in said

    def test_nothing_is_marked_again(self, bench, signed):
        beside.appealed(signed)
        done = remarking.remark(
            attempts=[signed.attempt_id], centre=bench.centre, at=signed.at + MINUTE, every=True
        )
        assert done.attempts == 0
        assert signed.attempt.outcomes.count() == 1

    def test_the_candidate_is_not_erased(self, bench, signed):
        beside.appealed(signed)
        with pytest.raises(Refused, match="appeal"):
            people.erase(person=bench.candidate, by=bench.manager, at=signed.at + MINUTE)


class TestTakingItFurther:
    def test_a_written_answer_has_its_own_days(self, bench, signed):
        appeal = beside.appealed(signed)
        later = appeal.opened_at + timedelta(days=3)
        held = appeals.take_further(appeal=appeal, by=bench.candidate, at=later)
        assert (held.stage, held.due_on) == (AppealStage.WRITTEN, later.date() + timedelta(days=20))
        with pytest.raises(Refused, match="asked for already"):
            appeals.take_further(appeal=held, by=bench.candidate, at=later)


class TestAnswering:
    def test_a_changed_decision_takes_the_place_of_the_first_which_stays_readable(
        self, bench, signed, verifier
    ):
        held = changed(beside.appealed(signed), by=verifier)
        attempt = signed.attempt
        assert signoff.current(attempt) == held.changed_to
        assert signoff.history(attempt) == [held.changed_to, signed]
        assert held.result == AppealResult.CHANGED
        assert attempt.version.task_id in progress.achieved_tasks(bench.candidate)

    def test_one_that_is_upheld_says_why(self, signed, verifier):
        appeal = beside.appealed(signed)
        with pytest.raises(Refused, match="the candidate reads it"):
            appeals.uphold(
                appeal=appeal, reason=" ", by=verifier, confirmed_at=appeal.opened_at, at=appeal.opened_at
            )
        held = appeals.uphold(
            appeal=appeal,
            reason="It was late.",
            by=verifier,
            confirmed_at=appeal.opened_at,
            at=appeal.opened_at,
        )
        assert held.result == AppealResult.UPHELD
        assert signoff.current(signed.attempt) == signed

    def test_never_by_whoever_decided(self, bench, verifier):
        both = VerifierFactory(by=bench.manager, kinds=("assessor", "verifier"))
        signed = beside.decided(made.handed_in(bench), by=both)
        appeal = beside.appealed(signed)
        with pytest.raises(Refused, match="You had part in the decision"):
            appeals.uphold(
                appeal=appeal, reason="x", by=both, confirmed_at=appeal.opened_at, at=appeal.opened_at
            )
        assert not appeals.to_answer(person=both, on=DAY)
        assert list(appeals.to_answer(person=verifier, on=DAY)) == [appeal]

    def test_nor_with_a_conflict_of_interest(self, bench, signed, verifier):
        beside.conflict(bench, verifier, bench.candidate)
        appeal = beside.appealed(signed)
        with pytest.raises(Refused, match="conflict of interest"):
            appeals.uphold(
                appeal=appeal, reason="x", by=verifier, confirmed_at=appeal.opened_at, at=appeal.opened_at
            )

    def test_nor_by_the_candidate_or_an_assessor(self, bench, signed):
        appeal = beside.appealed(signed)
        for by, message in (
            (bench.candidate, "of their own"),
            (bench.technician, "Only a verifier or a manager"),
        ):
            with pytest.raises(Refused, match=message):
                appeals.uphold(
                    appeal=appeal, reason="x", by=by, confirmed_at=appeal.opened_at, at=appeal.opened_at
                )

    def test_changing_it_to_what_it_is_changes_nothing(self, signed, verifier):
        with pytest.raises(Refused, match="let the decision stand"):
            changed(beside.appealed(signed), by=verifier, decision=NOT_YET)

    def test_a_second_answer_says_who_gave_the_first(self, bench, signed, verifier):
        appeal = beside.appealed(signed)
        changed(appeal, by=verifier)
        with pytest.raises(Refused, match=f"{verifier} settled this appeal already"):
            appeals.uphold(
                appeal=appeal,
                reason="x",
                by=bench.manager,
                confirmed_at=appeal.opened_at,
                at=appeal.opened_at,
            )
        assert Appeal.objects.count() == 1
