"""A diagnosis: right or not, supported by the candidate's own readings or not, and what was left to test."""

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessments.marking.diagnosed import Diagnosis, DiagnosisVerdict
from assessments.marking.diagnosis import judge_diagnosis
from assessments.marking.mark import mark
from assessments.marking.results import (
    FindingKind,
    ProposedDecision,
    StrandVerdict,
    canonical_result,
    from_document,
)
from rigs.metrology.quantities import Qualifier
from tests.factories import diagnoses as made
from tests.factories import marking
from tests.factories.diagnoses import H_TUBE_OFF, HEALTHY, LABELS

FAN_SLOW = (
    ("taps/fan-running", "0.77"),
    ("ports/fan-running", "0.78"),
    ("high-tap/fan-running", "0.32"),
)
LITTLE = H_TUBE_OFF[:2]
"""Contacts at rest: as they are with nearly any fault, and with none."""


def judged(*readings, **given) -> Diagnosis:
    found = judge_diagnosis(made.attempt(*readings, **given))
    assert found is not None
    return found


class TestRightAndSupported:
    @pytest.mark.parametrize(
        ("fault", "readings"),
        [
            ("", HEALTHY),
            ("h-tube-off", H_TUBE_OFF),
            ("tubes-crossed", (*HEALTHY[:3], ("ports/fan-running", "-1.58"), ("contacts/fan-running", "OL"))),
            ("fan-slow", FAN_SLOW),
            ("contact-welded", (*HEALTHY[:1], ("contacts/fan-off", "0.4"), ("contacts/fan-running", "0.4"))),
        ],
    )
    def test_a_fault_that_was_found_from_readings_is_met(self, fault, readings):
        marked = mark(made.attempt(*readings, fault=fault, stated=fault or "none"))

        assert marked.diagnosis.verdict is DiagnosisVerdict.RIGHT
        assert marked.diagnosis.supported
        assert marked.conclusion.verdict is StrandVerdict.MET
        assert marked.proposal is ProposedDecision.COMPETENT

    def test_the_prior_is_stated_and_is_the_same_for_each(self):
        found = judged(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off")

        assert 0 < found.prior < 0.1
        assert found.support > 0.95

    def test_the_words_say_so_without_naming_what_was_set(self):
        found = judged(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off")

        assert found.words.startswith("The diagnosis is right, and the readings taken support it.")
        assert found.set_label == LABELS["h-tube-off"]
        assert found.set_label not in found.words


class TestApart:
    def test_a_lucky_guess_is_right_and_unsupported_and_for_the_assessor(self):
        marked = mark(made.attempt(*LITTLE, fault="h-tube-off", stated="h-tube-off"))

        assert marked.diagnosis.is_lucky_guess
        assert "lucky guess" in marked.diagnosis.words
        assert marked.conclusion.verdict is StrandVerdict.TO_DECIDE
        assert [finding.kind for finding in marked.conclusion.findings] == [FindingKind.DOUBTFUL]
        assert marked.proposal is ProposedDecision.ASSESSOR

    def test_an_unlucky_reading_is_wrong_but_what_the_readings_say_and_for_the_assessor(self):
        marked = mark(made.attempt(*HEALTHY, fault="h-tube-off", stated="none"))

        assert marked.diagnosis.is_unlucky_reading
        assert "unlucky reading" in marked.diagnosis.words
        assert marked.conclusion.verdict is StrandVerdict.TO_DECIDE

    def test_wrong_against_ones_own_readings_is_not_met(self):
        marked = mark(made.attempt(*H_TUBE_OFF, fault="h-tube-off", stated="fan-slow"))

        assert marked.diagnosis.verdict is DiagnosisVerdict.WRONG
        assert marked.diagnosis.supported is False
        assert marked.conclusion.verdict is StrandVerdict.NOT_MET
        assert marked.proposal is ProposedDecision.NOT_YET_COMPETENT

    def test_another_of_the_group_that_cannot_be_told_apart_counts_as_right(self):
        readings = (*HEALTHY[:4], ("contacts/fan-running", "OL"))
        marked = mark(made.attempt(*readings, fault="contact-open", stated="stuck-at-rest"))

        assert marked.diagnosis.verdict is DiagnosisVerdict.ALIKE
        assert marked.diagnosis.alike == (LABELS["stuck-at-rest"],)
        assert marked.diagnosis.supported
        assert marked.conclusion.verdict is StrandVerdict.MET

    def test_what_is_concluded_from_a_diagnosis_that_counts_is_left_to_the_assessor(self):
        readings = (*HEALTHY[:4], ("contacts/fan-running", "OL"))
        marked = mark(
            made.attempt(*readings, fault="contact-open", stated="stuck-at-rest", concluded="elsewhere")
        )

        assert marked.conclusion.verdict is StrandVerdict.TO_DECIDE
        assert [finding.step for finding in marked.conclusion.findings] == ["conclusion"]

    def test_a_wrong_conclusion_from_a_right_diagnosis_is_not_met(self):
        marked = mark(made.attempt(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off", concluded="faulty"))

        assert marked.conclusion.verdict is StrandVerdict.NOT_MET

    def test_a_fault_seen_on_a_healthy_rig_is_not_met(self):
        marked = mark(made.attempt(*HEALTHY, fault="", stated="fan-slow"))

        assert marked.conclusion.verdict is StrandVerdict.NOT_MET

    def test_without_a_diagnosis_there_is_nothing_to_be_right(self):
        marked = mark(made.attempt(*HEALTHY, stated=""))

        assert marked.diagnosis.verdict is DiagnosisVerdict.MISSING
        assert marked.diagnosis.words.startswith("No diagnosis was logged.")
        assert FindingKind.MISSING in {finding.kind for finding in marked.conclusion.findings}
        assert marked.conclusion.verdict is StrandVerdict.NOT_MET


class TestTests:
    def test_each_reading_says_what_was_foreseen_and_how_far_off_it_is(self):
        found = judged(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off")
        by_test = {each.test.split(",")[0]: each for each in found.tests[2:]}

        ports = by_test["Δp at the switch ports"]
        assert ports.expected.endswith("mbar")
        assert abs(ports.zeta) < 2
        assert by_test["Switch contacts"].fits

    def test_a_reading_that_does_not_go_with_the_fault_shows(self):
        found = judged(*HEALTHY, fault="h-tube-off", stated="none")

        ports = next(each for each in found.tests if each.test.startswith("Δp at the switch ports"))
        assert ports.zeta > 10
        assert ports.of_set < 0.01

    def test_the_reading_that_decided_it_shows_in_the_probabilities(self):
        found = judged(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off")

        before, after = found.tests[2], found.tests[3]
        assert before.of_set < 0.3
        assert after.of_set > 0.95
        assert (before.likeliest, after.likeliest) == ("", LABELS["h-tube-off"])
        assert before.remaining > 1

    def test_what_a_display_cannot_show_or_nobody_read_weighs_nothing(self):
        inputs = made.attempt(*HEALTHY, ("taps/fan-running", "OL"), stated="none")
        unread = replace(
            inputs.measurements[0], reading=marking.said("measure", Qualifier.UNSTABLE, unit="Ω")
        )
        found = judge_diagnosis(replace(inputs, measurements=(*inputs.measurements, unread)))

        assert sum(bool(each.unused) for each in found.tests) == 2
        assert found.support == judged(*HEALTHY, stated="none").support

    def test_the_next_test_is_one_that_the_task_offers_and_splits_what_is_left(self):
        found = judged(*LITTLE, fault="h-tube-off", stated="h-tube-off")

        assert len(found.remaining) > 5
        assert found.next_test in {
            made.BENCH.label_of(f"{point.slug}/{condition.slug}")
            for point in made.TEST_POINTS
            for condition in made.CONDITIONS
        }
        assert found.next_bits > 1

    def test_the_fewest_tests_are_feedback_and_no_part_of_the_decision(self):
        lean = (("taps/fan-running", "1.58"), ("ports/fan-running", "0.92"), ("high-tap/fan-running", "0.66"))
        many = (*H_TUBE_OFF, *H_TUBE_OFF, *lean)
        found, marked = (
            judged(*many, fault="h-tube-off", stated="h-tube-off"),
            mark(made.attempt(*many, fault="h-tube-off", stated="h-tube-off")),
        )

        assert len(found.fewest) < found.used == len(many)
        assert f"It took {len(many)} readings" in found.words
        assert marked.proposal is ProposedDecision.COMPETENT

    def test_steps_of_the_task_that_prove_instruments_count_as_tests(self):
        leads = marking.reading_step("leads", 0, "leads", expected=("closed",), title="Leads together")
        broken = judged(
            ("contacts/fan-off", "OL"),
            ("contacts/fan-running", "OL"),
            stated="meter-lead-broken",
            steps=(leads, *made.STEPS),
            readings=(marking.reading("leads", "OL", sequence=0, unit="Ω"),),
        )

        assert broken.tests[0].test == "Leads together"
        assert broken.posterior[0].label == "Meter lead broken"


class TestWithoutAModel:
    def test_a_rig_without_figures_is_judged_by_what_was_set_alone(self):
        found = judged(*HEALTHY, fault="h-tube-off", stated="h-tube-off", measurands=())
        marked = mark(made.attempt(*HEALTHY, fault="h-tube-off", stated="h-tube-off", measurands=()))

        assert (found.verdict, found.supported) == (DiagnosisVerdict.RIGHT, None)
        assert "can’t be worked out" in found.words
        assert len(found.tests) == len(HEALTHY)
        assert marked.conclusion.verdict is StrandVerdict.TO_DECIDE

    def test_a_fault_that_the_model_does_not_know_is_compared_all_the_same(self):
        steps = list(made.STEPS)
        steps[1] = replace(steps[1], choices=(*steps[1].choices, ("gremlin", "Gremlin")))
        right = judged(*HEALTHY, fault="gremlin", stated="gremlin", steps=steps)
        wrong = judged(*HEALTHY, fault="gremlin", stated="none", steps=steps)

        assert (right.verdict, right.supported) == (DiagnosisVerdict.RIGHT, None)
        assert (wrong.verdict, wrong.supported) == (DiagnosisVerdict.WRONG, True)

    def test_a_task_without_a_diagnosis_has_none(self):
        assert judge_diagnosis(marking.attempt(marking.step("look", 1))) is None
        assert mark(marking.attempt(marking.step("look", 1))).diagnosis is None


class TestStrands:
    def test_readings_of_ones_own_choice_are_not_judged_one_by_one(self):
        marked = mark(made.attempt(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off"))

        assert not list(marked.marks)
        assert marked.readings.verdict is StrandVerdict.MET

    def test_none_at_all_is_missing_in_the_readings_strand(self):
        marked = mark(made.attempt(fault="", stated="none"))

        assert [finding.step for finding in marked.readings.findings] == ["measure"]
        assert marked.procedure.findings == ()

    def test_a_safety_critical_step_after_the_first_reading_is_late(self):
        isolate = marking.step("isolate", 0, safety_critical=True, why="Dead first.")
        inputs = made.attempt(*HEALTHY, steps=(isolate, *made.STEPS))
        late = replace(inputs, records=(*inputs.records, marking.record("isolate", 3)))

        assert mark(late).procedure.verdict is StrandVerdict.NOT_MET


class TestRecord:
    def test_a_result_comes_back_from_its_document(self):
        marked = mark(made.attempt(*H_TUBE_OFF, fault="h-tube-off", stated="fan-slow"))

        assert from_document(json.loads(canonical_result(marked))) == marked

    @settings(max_examples=15, deadline=None)
    @given(st.permutations(range(len(H_TUBE_OFF))))
    def test_the_order_of_the_readings_changes_nothing_at_the_end(self, order):
        found = judged(*(H_TUBE_OFF[place] for place in order), fault="h-tube-off", stated="h-tube-off")
        plain = judged(*H_TUBE_OFF, fault="h-tube-off", stated="h-tube-off")

        assert found.support == pytest.approx(plain.support, abs=1e-3)
        assert found.verdict is plain.verdict
