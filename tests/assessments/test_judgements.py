"""What a marking leaves to the assessor, point by point, and what they decide on each."""

from datetime import timedelta

import pytest

from academy import ledger
from academy.confirmations import Unconfirmed
from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import judgements, outcomes, signoff
from assessments.judgements import Judged
from assessments.marking.points import left_to_assessor
from assessments.models import SignOff
from assessments.models.decisions import Decision
from tests.factories import assessments as made

pytestmark = pytest.mark.django_db

EDGE = made.Work(readings={"taps-running": "1.53"})
NO_READING = frozenset({"ports-running"})


def marked(bench, work):
    return outcomes.marking_of(outcomes.latest(made.handed_in(bench, work)))


def titles(points):
    return [point.title for point in points]


def test_a_clean_attempt_leaves_nothing(bench):
    assert left_to_assessor(marked(bench, made.ALL_WELL)) == ()


def test_a_reading_at_the_edge_and_a_missing_one_are_a_point_each_with_their_sentences(bench):
    work = made.Work(readings=EDGE.readings, skipped=NO_READING)
    edge, missing = left_to_assessor(marked(bench, work))

    assert (edge.step, bool(edge.reading)) == ("taps-running", True)
    assert "At the edge" in edge.sentence
    assert (missing.step, missing.reading) == ("ports-running", "")
    assert missing.sentence == "No reading was logged."


def test_a_strand_that_is_not_met_leaves_no_point(bench):
    work = made.Work(readings={**EDGE.readings, "ports-running": "1.91"})

    assert left_to_assessor(marked(bench, work)) == ()


class TestWhichAreNeeded:
    def test_a_lone_borderline_only_where_it_is_not_found_competent(self, bench):
        marking = marked(bench, EDGE)
        assert marking.lone_borderline

        assert judgements.needed(marking, Decision.COMPETENT) == ()
        assert titles(judgements.needed(marking, Decision.NOT_YET_COMPETENT)) == [
            "Δp at the venturi taps, fan running"
        ]

    def test_with_a_breach_only_to_find_it_competent_all_the_same(self, bench):
        work = made.Work(skipped=NO_READING | {"prove-after"})
        marking = marked(bench, work)

        assert judgements.needed(marking, Decision.NOT_YET_COMPETENT) == ()
        assert titles(judgements.needed(marking, Decision.COMPETENT)) == [
            "Δp at the switch ports, fan running"
        ]

    @pytest.mark.parametrize(
        ("judged", "decision"),
        [((True, True), "competent"), ((True, False), "not-yet-competent")],
    )
    def test_no_point_makes_up_for_another(self, bench, judged, decision):
        marking = marked(bench, made.Work(readings=EDGE.readings, skipped=NO_READING))
        said = {
            point.key: Judged(met=met, reason="Seen.")
            for point, met in zip(left_to_assessor(marking), judged, strict=True)
        }

        found = judgements.require(marking=marking, decision=Decision(decision), judged=said)

        assert judgements.comes_to(found) == decision


class TestSigningOff:
    @pytest.fixture
    def attempt(self, bench):
        return made.handed_in(bench, made.Work(readings=EDGE.readings, skipped=NO_READING))

    def sign(self, bench, attempt, *, judged, decision=Decision.COMPETENT, reason="", minutes=0):
        return signoff.sign_off(
            attempt=attempt,
            outcome=outcomes.latest(attempt),
            assessor=bench.assessor,
            decision=decision,
            feedback="Read the one at the edge twice.",
            reason=reason,
            judged=judged,
            confirmed_at=attempt.submitted_at,
            at=attempt.submitted_at + timedelta(minutes=minutes),
        )

    def judged(self, attempt, *met, reason="Read again beside me."):
        points = left_to_assessor(outcomes.marking_of(outcomes.latest(attempt)))
        return {point.key: Judged(met=each, reason=reason) for point, each in zip(points, met, strict=True)}

    def test_what_was_judged_is_kept_in_order_and_sealed_in_the_ledger(self, bench, attempt):
        signed = self.sign(bench, attempt, judged=self.judged(attempt, True, True))

        first, second = signed.judgements.all()
        assert (first.step.slug, first.reading.text, first.met) == ("taps-running", "1.53", True)
        assert (second.step.slug, second.reading, second.reason) == (
            "ports-running",
            None,
            "Read again beside me.",
        )
        facts = LedgerEntry.objects.get(verb="attempt.sign-off").body
        assert facts.count(": met, ") == 2
        assert "beside me" not in str(facts)
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)

    def test_a_point_left_open_is_named_at_its_field(self, bench, attempt):
        judged = self.judged(attempt, True, None)

        with pytest.raises(Refused, match="Δp at the switch ports, fan running: decide") as refused:
            self.sign(bench, attempt, judged=judged)

        assert refused.value.field == "met-readings-ports-running"

    def test_a_point_without_a_reason_is_named_too(self, bench, attempt):
        with pytest.raises(Refused, match="say what you decided it by"):
            self.sign(bench, attempt, judged=self.judged(attempt, True, True, reason=" "))
        assert not SignOff.objects.exists()

    def test_a_decision_that_is_not_what_was_judged_says_why(self, bench, attempt):
        judged = self.judged(attempt, True, False)

        with pytest.raises(Refused, match="not what you judged one by one"):
            self.sign(bench, attempt, judged=judged)

        assert self.sign(bench, attempt, judged=judged, reason="He read it again at once.").pk

    def test_a_lone_borderline_needs_no_word(self, bench):
        attempt = made.handed_in(bench, EDGE)

        signed = self.sign(bench, attempt, judged={})

        assert (signed.reason, signed.judgements.count()) == ("", 0)

    def test_without_a_password_in_this_sitting_it_is_refused_last(self, bench, attempt):
        judged = self.judged(attempt, True, True)
        with pytest.raises(Unconfirmed):
            self.sign(bench, attempt, judged=judged, minutes=bench.centre.sitting_minutes + 1)
        with pytest.raises(Refused, match="decide whether"):
            self.sign(bench, attempt, judged={}, minutes=bench.centre.sitting_minutes + 1)

        assert self.sign(bench, attempt, judged=judged, minutes=bench.centre.sitting_minutes).pk
