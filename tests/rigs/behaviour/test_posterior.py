"""Probabilities of faults from what was seen: stories, and what holds for any readings."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigs.behaviour import observations
from rigs.behaviour.faults import Fault, considered, faults_of
from rigs.behaviour.next_test import typical
from rigs.behaviour.observations import Observed
from rigs.behaviour.posterior import posterior, posteriors
from rigs.behaviour.runs import Slips, simulate_runs
from rigs.behaviour.venturi import Condition, Position, RigError, TestPoint
from rigs.metrology.conformity import ContactState
from tests.rigs.behaviour.boards import WHOLE, board, known, seen

CLOSED, OPEN, HIGH = ContactState.CLOSED, ContactState.OPEN, ContactState.HIGH_RESISTANCE
KNOWN = known()
FAULTS = faults_of(board())
ELECTRICAL = {Fault.CONTACT_OPEN, Fault.STUCK_AT_REST, Fault.WRONG_TERMINALS, Fault.METER_LEAD_BROKEN}
H_LOST = {Fault.H_TUBE_OFF, Fault.H_TUBE_KINKED, Fault.H_TAPPING_BLOCKED}


def found(observed, **more):
    return posterior(KNOWN, observed=observed, faults=FAULTS, **more)


HEALTHY = seen(
    ports__fan_off=0.0, contacts__fan_off=OPEN, taps__fan_running=158.0, ports__fan_running=158.0,
    contacts__fan_running=CLOSED, contacts__outlet_blocked=OPEN,
)  # fmt: skip


def test_healthy_readings_leave_nothing_wrong_the_most_probable() -> None:
    result = found(HEALTHY)
    assert result.best is None
    assert result.of(None) > 0.6
    # What is nearly healthy, or can't be seen by these, remains: small holes.
    assert {fault for fault, p in result.ranked()[:3]} == {None, Fault.H_TUBE_HOLED, Fault.L_TUBE_HOLED}


def test_a_healthy_pressure_and_no_contact_leaves_the_electrical_side() -> None:
    result = found(
        seen(taps__fan_running=158.0, ports__fan_running=158.0, contacts__fan_running=[OPEN, OPEN])
    )
    assert result.mass(ELECTRICAL | {Fault.DIAPHRAGM_RUPTURED, Fault.NC_AND_NO_EXCHANGED}) > 0.99
    more = seen(
        taps__fan_running=158.0, ports__fan_running=158.0, contacts__fan_running=OPEN,
        leads_together__fan_off=[OPEN, OPEN],
    )  # fmt: skip
    assert found(more).best is Fault.METER_LEAD_BROKEN


def test_a_lost_high_side_shows_by_its_share_and_not_which_way_it_was_lost() -> None:
    result = found(seen(taps__fan_running=158.0, ports__fan_running=0.58 * 158, contacts__fan_running=OPEN))
    assert result.mass(H_LOST) > 0.85
    assert len({round(result.of(fault), 9) for fault in H_LOST}) == 1
    assert set(result.remaining()) == H_LOST


def test_in_the_band_of_hysteresis_both_answers_of_the_contact_are_right() -> None:
    readings = {"taps__fan_running": 158.0, "ports__fan_running": 0.58 * 158}
    for state in (OPEN, CLOSED):
        assert found(seen(**readings, contacts__fan_running=state)).mass(H_LOST) > 0.5


def test_history_decides_where_it_is_known() -> None:
    def contact(state, coming_from):
        return Observed(
            condition=Condition.FAN_RUNNING, at=TestPoint.CONTACTS, state=state, coming_from=coming_from
        )

    pressures = seen(taps__fan_running=158.0, ports__fan_running=91.5)
    from_rest, from_operated = (
        found([*pressures, contact(CLOSED, position)]).of(Fault.H_TUBE_OFF) for position in Position
    )
    assert from_rest < from_operated


def test_crossed_tubes_a_reversed_manometer_and_both_are_told_apart_by_the_contact_and_the_taps() -> None:
    cases = [
        (Fault.TUBES_CROSSED, 158.0, -158.0, OPEN),
        (Fault.MANOMETER_REVERSED, -158.0, -158.0, CLOSED),
        (Fault.TUBES_CROSSED_MANOMETER_REVERSED, -158.0, 158.0, OPEN),
    ]
    for fault, taps, ports, state in cases:
        readings = seen(taps__fan_running=taps, ports__fan_running=ports, contacts__fan_running=[state] * 2)
        result = found(readings)
        assert result.mass({fault, Fault.SIGN_SLIP}) > 0.95
        assert result.of(fault) >= 0.47  # a pen that leaves out every sign reads as a reversed manometer


@pytest.mark.parametrize(
    "slip",
    [
        {"taps__fan_running": 15_800.0},
        {"taps__fan_running": 1.58},
        {"taps__fan_running": -158.0},
        {"ports__fan_off": 158.0},
        {"contacts__fan_off": [CLOSED, OPEN, OPEN]},
        {"ports__fan_off": 158.0, "taps__fan_running": 0.0},
    ],
    ids=str,
)
def test_a_slip_or_two_do_not_sink_what_all_else_shows(slip) -> None:
    whole = [typical(KNOWN, test=test, fault=Fault.L_TUBE_OFF) for test in WHOLE]
    assert found(whole).best in {Fault.L_TUBE_OFF, Fault.L_TUBE_KINKED, Fault.L_TAPPING_BLOCKED}
    spoilt = [*whole, *seen(**slip)]
    assert found(spoilt).of(Fault.L_TUBE_OFF) > 0.3


def test_a_slip_in_a_reading_that_decides_is_put_right_by_reading_again() -> None:
    once = found(seen(ports__fan_running=158.0, contacts__fan_running=OPEN, contacts__fan_off=OPEN))
    again = found(seen(ports__fan_running=158.0, contacts__fan_running=[OPEN, CLOSED, CLOSED]))
    assert once.best in ELECTRICAL
    assert again.best is None


def test_a_beep_that_may_be_a_poor_contact_leaves_both() -> None:
    borderline = ContactState.BORDERLINE
    result = found(seen(ports__fan_running=158.0, contacts__fan_running=borderline, contacts__fan_off=OPEN))
    assert result.of(Fault.CONTACT_HIGH_RESISTANCE) == pytest.approx(result.of(None), rel=0.1)
    assert result.mass(ELECTRICAL) < 0.1


def test_a_reading_that_can_t_be_judged_changes_nothing() -> None:
    unclear = seen(contacts__fan_running=ContactState.CANNOT_JUDGE)
    assert found([*HEALTHY, *unclear]).probabilities == pytest.approx(found(HEALTHY).probabilities)


def test_no_make_point_to_be_found_points_to_the_switch() -> None:
    absent = Observed(condition=Condition.HAND_PUMP, at=TestPoint.MAKE_POINT, absent=True)
    result = found([*seen(ports__fan_running=158.0), absent])
    assert result.mass(ELECTRICAL | {Fault.DIAPHRAGM_RUPTURED, Fault.CONTACT_WELDED}) > 0.8


def test_with_nothing_seen_the_prior_stands() -> None:
    assert found([]).probabilities == pytest.approx([1 / (1 + len(FAULTS))] * (1 + len(FAULTS)))
    prior = {None: 2.0, Fault.H_TUBE_OFF: 1.0, Fault.FAN_SLOW: 1.0}
    result = found([], prior=prior)
    assert (result.of(None), result.of(Fault.H_TUBE_OFF), result.of(Fault.STUCK_AT_REST)) == (0.5, 0.25, 0.0)


@pytest.mark.parametrize(
    "wrong",
    [{"prior": {None: -1.0}}, {"prior": {}}, {"prior": {None: math.nan}}, {"slip": 0.0}, {"slip": 1.0}],
    ids=str,
)
def test_what_is_no_probability_is_refused(wrong) -> None:
    with pytest.raises(RigError, match=r"prior|slip"):
        found(HEALTHY, **wrong)


def test_contacts_that_a_switch_hasn_t_are_refused() -> None:
    with pytest.raises(RigError, match="two terminals"):
        found(seen(nc_contacts__fan_off=CLOSED))


def test_a_diagnosis_reckons_with_instruments_and_the_pen_whatever_the_design_lists() -> None:
    asked = considered(design=[Fault.H_TUBE_OFF], terminals=2)
    assert {Fault.H_TUBE_OFF, Fault.MANOMETER_NOT_ZEROED, Fault.UNIT_SLIP, Fault.METER_LEAD_BROKEN} <= set(
        asked
    )
    assert Fault.L_TUBE_OFF not in asked
    assert Fault.NC_CONTACT_OPEN not in considered(design=Fault, terminals=2)


def test_a_manometer_may_be_off_zero_either_way() -> None:
    for offset in (-12.0, 12.0):
        readings = seen(
            ports__fan_off=[offset, offset], ports__fan_running=158 + offset, contacts__fan_running=CLOSED
        )
        assert found(readings).best is Fault.MANOMETER_NOT_ZEROED


def test_many_runs_at_once_give_what_each_gives_by_itself() -> None:
    runs = simulate_runs(
        KNOWN,
        tests=WHOLE,
        fault=Fault.H_TUBE_HOLED,
        severity=np.linspace(0, 1, 12),
        rng=np.random.default_rng(3),
        slips=Slips(contacts=0.1, pressures=0.1),
    )
    together = posteriors(KNOWN, runs=runs, faults=FAULTS)
    for row in range(len(runs)):
        alone = replace(runs, values=runs.values[[row]], states=runs.states[[row]])
        assert posteriors(KNOWN, runs=alone, faults=FAULTS)[0] == pytest.approx(together[row], abs=1e-9)


# --- What holds for any readings -----------------------------------------------------------------

TESTS = observations.tests_of(2)


values = st.floats(-400, 400) | st.just(-15_800.0)


@st.composite
def readings(draw: st.DrawFn, *, values: st.SearchStrategy[float] = values) -> list[Observed]:
    result = []
    for test in draw(st.lists(st.sampled_from(TESTS), min_size=1, max_size=10)):
        if test.is_contact:
            what = {"state": draw(st.sampled_from(ContactState))}
        else:
            what = {"value": draw(values), "u": draw(st.floats(0.3, 5))}
        result.append(Observed(condition=test.condition, at=test.at, **what))
    return result


@given(readings(values=values | st.just(1e9)))
def test_probabilities_are_such_whatever_was_written_down(observed) -> None:
    result = found(observed)
    assert all(0 <= each <= 1 for each in result.probabilities)
    assert math.fsum(result.probabilities) == pytest.approx(1)
    assert result.of(result.best) == max(result.probabilities)


@settings(max_examples=40)
@given(readings(), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(observed, chance) -> None:
    shuffled = chance.sample(observed, len(observed))
    assert found(shuffled).probabilities == pytest.approx(found(observed).probabilities, abs=1e-4)


@settings(max_examples=40)
@given(readings(values=st.floats(-2_000, 2_000)), st.floats(0.2, 5))  # what a display of 20 mbar can show
def test_a_rig_with_every_pressure_so_many_times_as_high_gives_the_same(observed, times) -> None:
    # Noise and uncertainties scale with it, but for what a hand and a switch add, which are in pascals.
    observed = [each for each in observed if each.condition is not Condition.HAND_PUMP]
    faults = [fault for fault in FAULTS if fault is not Fault.MANOMETER_NOT_ZEROED]
    rig = KNOWN.rig
    scaled = replace(
        KNOWN,
        rig=replace(
            rig, running=rig.running * times, make=rig.make * times, break_=rig.break_ * times,
            dead_head=rig.no_flow * times, repeat_sd=rig.repeat_sd * times, rest_sd=rig.rest_sd * times,
        ),
        u_running=KNOWN.u_running * times, u_make=KNOWN.u_make * times, u_break=KNOWN.u_break * times,
        u_dead_head=KNOWN.u_dead_head * times,
    )  # fmt: skip
    grown = [
        replace(each, value=None if each.value is None else each.value * times, u=each.u * times)
        for each in observed
    ]
    before = posterior(KNOWN, observed=observed, faults=faults)
    after = posterior(scaled, observed=grown, faults=faults)
    assert after.probabilities == pytest.approx(before.probabilities, abs=1e-4)


@given(st.sampled_from([None, *FAULTS]), st.sampled_from(TESTS))
def test_reading_again_what_is_as_it_should_be_does_not_speak_against_the_truth(fault, test) -> None:
    once = typical(KNOWN, test=test, fault=fault)
    first, second = (found([once] * times).of(fault) for times in (1, 2))
    assert second >= first - 0.02


@pytest.mark.parametrize("fault", [None, Fault.H_TUBE_OFF, Fault.H_TUBE_HOLED, Fault.CONTACT_WELDED], ids=str)
def test_on_average_a_reading_repeated_raises_the_truth(fault) -> None:
    runs = simulate_runs(
        KNOWN,
        tests=[*WHOLE, *WHOLE],
        fault=fault,
        severity=np.random.default_rng(8).random(600),
        rng=np.random.default_rng(9),
    )
    number = 1 + FAULTS.index(fault) if fault else 0
    for test in ("ports/fan-running", "contacts/fan-running"):
        first = [column for column, each in enumerate(runs.tests) if each.key == test]
        once, twice = (
            posteriors(KNOWN, runs=runs.only(first[:times]), faults=FAULTS)[:, number].mean()
            for times in (1, 2)
        )
        assert twice > once - 0.005
