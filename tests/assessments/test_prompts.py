import pytest

from academy.refusals import Refused
from assessments import outcomes, prompts, signoff
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories import rights as beside

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def attempt(bench):
    return made.handed_in(bench)


def needed(attempt, decision=Decision.COMPETENT):
    return signoff.reason_needed(outcomes.marking_of(outcomes.latest(attempt)), decision, attempt=attempt)


class TestPrompts:
    @pytest.mark.parametrize("level", [0, 1, 2])
    def test_a_low_one_asks_for_nothing(self, bench, attempt, level):
        beside.prompted(bench, attempt, level)
        assert needed(attempt) is None

    @pytest.mark.parametrize("level", [3, 4])
    def test_a_high_one_asks_competent_for_a_reason(self, bench, attempt, level):
        beside.prompted(bench, attempt, level)
        assert f"level {level}" in needed(attempt)
        with pytest.raises(Refused, match=f"A prompt of level {level}"):
            beside.decided(attempt, by=bench.assessor)
        signed = beside.decided(attempt, by=bench.assessor, reason="Did the next three without help.")
        assert signed.decision == Decision.COMPETENT

    def test_the_marking_stays_as_it_was(self, bench, attempt):
        before = outcomes.latest(attempt).result
        beside.prompted(bench, attempt, 4)
        assert outcomes.compare(attempt=attempt).same
        assert outcomes.latest(attempt).result == before

    def test_the_worst_is_named(self, bench, attempt):
        beside.prompted(bench, attempt, 4)
        beside.prompted(bench, attempt, 3)
        step = beside.reading_step(attempt)
        assert needed(attempt).startswith(
            f"A prompt of level 4 (stepped in for safety) on “{step.title}” is on record"
        )

    def test_practice_asks_for_nothing(self, bench):
        practice = made.handed_in(bench, purpose="practice")
        beside.prompted(bench, practice, 4)
        assert needed(practice) is None

    def test_a_hint_says_what_it_was(self, bench, attempt):
        with pytest.raises(Refused, match="Say what the hint"):
            prompts.give(attempt=attempt, step=None, level=3, words=" ", by=bench.assessor, at=bench.at)

    def test_there_is_no_fifth_level(self, bench, attempt):
        with pytest.raises(Refused, match="0 to 4"):
            prompts.give(attempt=attempt, step=None, level=5, words="x", by=bench.assessor, at=bench.at)

    def test_nothing_is_added_once_it_is_decided(self, bench, attempt):
        signed = beside.decided(attempt, by=bench.assessor)
        with pytest.raises(Refused, match="is decided"):
            beside.prompted(bench, attempt, 1, at=signed.at)

    def test_the_candidate_prompts_nobody(self, bench, attempt):
        with pytest.raises(Refused, match="your own attempt"):
            prompts.give(attempt=attempt, step=None, level=1, words="", by=bench.candidate, at=bench.at)
