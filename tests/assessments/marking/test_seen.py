"""What the model takes of a candidate's readings, and what a step of free measuring must say."""

from dataclasses import replace

import pytest

from assessments.marking.foreseen import foreseen
from assessments.marking.inputs import steps_as_issued
from assessments.marking.parameters import ParameterError, free_measuring, require_sound
from assessments.marking.seen import known_rig, seen
from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Test
from rigs.behaviour.venturi import RigError
from rigs.metrology.conformity import ContactState
from rigs.metrology.quantities import Qualifier
from tests.factories import diagnoses as made
from tests.factories import marking

PLACES = {"test_points": ["taps"], "conditions": ["fan-off"]}


def observed(*readings, **given):
    return [each.observed for each in seen(made.attempt(*readings, **given))]


class TestSeen:
    def test_a_pressure_comes_with_its_instruments_uncertainty(self):
        (found,) = observed(("taps/fan-running", "1.58"))
        assert found.value == pytest.approx(158)
        assert 0 < found.u < 2

    @pytest.mark.parametrize(
        ("text", "state"),
        [
            ("0.4", ContactState.CLOSED),
            ("OL", ContactState.OPEN),
            ("45", ContactState.HIGH_RESISTANCE),
            ("tone", ContactState.BORDERLINE),
            ("no tone", ContactState.OPEN),
        ],
    )
    def test_a_contact_is_taken_as_its_state(self, text, state):
        (found,) = observed(("contacts/fan-running", text))
        assert found.state is state

    def test_the_leads_own_reading_is_taken_off(self):
        leads, contact = observed(("leads-together/fan-off", "1.4"), ("contacts/fan-off", "1.6"))
        assert (leads.state, contact.state) == (ContactState.HIGH_RESISTANCE, ContactState.CLOSED)

    def test_a_pressure_beyond_the_display_still_has_a_value_but_over_limit_has_none(self):
        beyond, over = observed(("taps/fan-running", "158"), ("taps/fan-running", "OL"))
        assert beyond.value == pytest.approx(15_800)
        assert over is None

    def test_a_make_point_that_was_not_to_be_had_is_an_observation(self):
        inputs = made.attempt(("make-point/hand-pump", "0.93"), ("taps/fan-running", "1.58"))
        gone = [
            replace(each, reading=marking.said("measure", Qualifier.NOT_OBTAINED))
            for each in inputs.measurements
        ]
        first, second = seen(replace(inputs, measurements=tuple(gone)))
        assert first.observed.absent
        assert (second.observed, bool(second.unused)) == (None, True)

    def test_a_test_that_the_model_does_not_know_weighs_nothing_and_says_so(self):
        inputs = made.attempt(("make-point/hand-pump", "0.93"))
        odd = replace(inputs.measurements[0], condition="fan-off")
        (found,) = seen(replace(inputs, measurements=(odd,)))
        assert found.observed is None
        assert "no such test" in found.unused

    def test_a_rig_without_its_running_pressure_is_no_rig_to_the_model(self):
        with pytest.raises(RigError):
            known_rig(made.attempt(measurands=made.RIG[2:]), terminals=2)


class TestForeseen:
    @pytest.fixture
    def rig(self):
        return known_rig(made.attempt(), terminals=2)

    def test_a_lost_high_side_leaves_the_low_sides_share(self, rig):
        found = foreseen(rig, test=Test.of("ports/fan-running"), fault=Fault.H_TUBE_OFF)
        lower, upper = found.span
        assert lower < 91.6 < upper < 100
        assert abs(found.zeta(value=91.6, u=0.5)) < 1
        assert found.zeta(value=158, u=0.5) > 10

    def test_a_fault_that_comes_in_degrees_has_a_span(self, rig):
        found = foreseen(rig, test=Test.of("taps/fan-running"), fault=Fault.OUTLET_PARTLY_BLOCKED)
        assert found.lower < 0.4 * 158 < 0.6 * 158 < found.upper
        assert found.zeta(value=80, u=0.5) == 0

    def test_between_break_and_make_both_states_are_foreseen(self, rig):
        near = foreseen(rig, test=Test.of("contacts/fan-running"), fault=Fault.H_TUBE_OFF)
        assert set(near.states) == {ContactState.OPEN, ContactState.CLOSED}

    def test_a_switch_that_never_makes_has_no_make_point(self, rig):
        found = foreseen(rig, test=Test.of("make-point/hand-pump"), fault=Fault.STUCK_AT_REST)
        assert (found.span, found.states) == (None, ())


class TestParameters:
    def steps(self, **parameters):
        data = [
            {"slug": "measure", "kind": "measurements", "title": "Measure", "parameters": parameters},
            {
                "slug": "diagnosis",
                "kind": "diagnosis",
                "title": "What is wrong?",
                "choices": [{"value": "none", "label": "Nothing is wrong"}],
            },
        ]
        return list(steps_as_issued(data))

    def test_what_is_left_out_is_all_of_the_designs(self):
        step, _ = self.steps(instruments={"pressure": "manometer"})
        require_sound(self.steps(instruments={"pressure": "manometer"}), quantities={})
        assert free_measuring(step).offers_test_point("anything")
        (narrow, _) = self.steps(instruments={"pressure": "manometer"}, **PLACES)
        assert not free_measuring(narrow).offers_test_point("ports")
        assert not free_measuring(narrow).offers_condition("fan-running")

    @pytest.mark.parametrize(
        "parameters",
        [
            {},
            {"instruments": []},
            {"instruments": {}},
            {"instruments": {"colour": "manometer"}},
            {"instruments": {"pressure": ""}},
            {"instruments": {"pressure": "manometer"}, "test_points": "taps"},
            {"instruments": {"pressure": "manometer"}, "conditions": ["fan-off", "fan-off"]},
        ],
    )
    def test_what_nobody_could_measure_by_names_the_step(self, parameters):
        with pytest.raises(ParameterError, match="“measure”"):
            require_sound(self.steps(**parameters), quantities={})

    def test_a_diagnosis_comes_after_measurements_once_and_offers_nothing_wrong(self):
        measure, diagnosis = self.steps(instruments={"pressure": "manometer"})
        for steps in (
            [diagnosis],
            [replace(diagnosis, order=1), replace(measure, order=2)],
            [measure, diagnosis, replace(diagnosis, slug="again", order=3)],
            [measure, replace(measure, slug="again", order=2)],
            [measure, replace(diagnosis, choices=(("fan-slow", "Fan slow"),))],
        ):
            with pytest.raises(ParameterError):
                require_sound(steps, quantities={})
