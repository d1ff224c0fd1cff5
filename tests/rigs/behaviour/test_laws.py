"""What holds on every rig, whatever its figures."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rigs.behaviour.faults import DEGREES, Fault, degree, faults_of
from rigs.behaviour.observations import Manometry, Test
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.prediction import Contacts, Level, level, predict, predict_contacts, predict_level
from rigs.behaviour.pressures import pressures
from rigs.behaviour.runs import Slips, simulate_runs
from rigs.behaviour.simulation import NOTHING, Manometer, Multimeter, settled, shown, simulate
from rigs.behaviour.venturi import Condition, Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import CONTACT_STATES, ContactState

RUNNING, CROSSED = Condition.FAN_RUNNING, Condition.TUBES_CROSSED
PRESSURE_POINTS = (TestPoint.TAPS, TestPoint.PORTS, TestPoint.HIGH_TAP, TestPoint.LOW_TAP)


@st.composite
def rigs(draw: st.DrawFn) -> VenturiRig:
    running = draw(st.floats(50, 300))
    make = draw(st.floats(0.3, 0.95)) * running
    return VenturiRig(
        running=running,
        h_share=draw(st.floats(0.1, 0.9)),
        make=make,
        break_=draw(st.floats(0.3, 0.95)) * make,
        terminals=draw(st.sampled_from([2, 3])),
        dead_head=draw(st.floats(1.0, 3.0)) * running,
    )


fault_or_none = st.none() | st.sampled_from(Fault)
conditions = st.sampled_from(Condition)
severities = st.floats(0, 1)


@given(rigs(), severities, fault_or_none)
def test_crossing_the_tubes_reverses_the_sign_at_the_ports_and_nothing_at_the_taps(
    rig, severity, fault
) -> None:
    straight = pressures(rig, condition=RUNNING, fault=fault, severity=severity)
    crossed = pressures(rig, condition=CROSSED, fault=fault, severity=severity)
    assert crossed.ports == pytest.approx(-straight.ports)
    assert (crossed.high_tap, crossed.low_tap) == (straight.high_tap, straight.low_tap)


@given(rigs(), severities, conditions)
def test_a_restricted_rig_reads_as_a_healthy_one_with_its_outlet_partly_blocked(
    rig, severity, condition
) -> None:
    fault = Fault.OUTLET_PARTLY_BLOCKED
    left = degree(fault, severity=severity)
    blocked = pressures(rig, condition=RUNNING, fault=fault, severity=severity)
    assume(abs(blocked.low_tap) > 1e-9 * rig.running)
    if blocked.low_tap > 0:
        with pytest.raises(RigError):
            rig.restricted(left=left)
        return
    restricted = pressures(rig.restricted(left=left), condition=condition)
    expected = pressures(rig, condition=condition, fault=fault, severity=severity)
    for end in ("high_tap", "low_tap", "high_port", "low_port"):
        assert getattr(restricted, end) == pytest.approx(getattr(expected, end))


@given(rigs())
def test_tubes_crossed_twice_are_straight(rig) -> None:
    assert pressures(rig, condition=CROSSED, fault=Fault.TUBES_CROSSED, severity=0.5) == pressures(
        rig, condition=RUNNING, severity=0.5
    )


@given(rigs())
def test_reversing_the_manometer_as_well_looks_healthy_but_the_switch_never_makes(rig) -> None:
    seen = -predict_level(rig, condition=CROSSED, at=TestPoint.PORTS).mean
    assert seen == pytest.approx(rig.running)
    assert predict_contacts(rig, condition=CROSSED, at=TestPoint.CONTACTS).states == {ContactState.OPEN}


@given(rigs())
def test_a_reversed_manometer_alone_leaves_the_contacts_healthy(rig) -> None:
    fault = Fault.MANOMETER_REVERSED
    assert predict_level(rig, condition=RUNNING, at=TestPoint.PORTS, fault=fault).mean == -rig.running
    healthy = predict_contacts(rig, condition=RUNNING, at=TestPoint.CONTACTS)
    assert predict_contacts(rig, condition=RUNNING, at=TestPoint.CONTACTS, fault=fault) == healthy


@given(rigs())
def test_what_the_two_tubes_leave_when_off_adds_up_to_the_whole(rig) -> None:
    high, low = (
        predict_level(rig, condition=RUNNING, at=TestPoint.PORTS, fault=fault).mean
        for fault in (Fault.H_TUBE_OFF, Fault.L_TUBE_OFF)
    )
    assert high == pytest.approx((1 - rig.h_share) * rig.running)
    assert high + low == pytest.approx(rig.running)


@given(rigs(), conditions, fault_or_none, severities)
def test_the_high_tap_less_the_low_tap_is_the_difference_across_them(rig, condition, fault, severity) -> None:
    # Closure. An offset is in every reading, so it stays in the difference of two of them once less.
    high, low, across = (
        level(rig, condition=condition, at=at, fault=fault, severity=severity)
        for at in (TestPoint.HIGH_TAP, TestPoint.LOW_TAP, TestPoint.TAPS)
    )
    zero = level(rig, condition=condition, at=TestPoint.MANOMETER_ZERO, fault=fault, severity=severity)
    assert high - low == pytest.approx(across - zero, abs=1e-9 * rig.running * 100)


@given(rigs(), conditions, st.sampled_from(PRESSURE_POINTS), fault_or_none, severities)
def test_every_severity_lies_inside_the_predicted_range(rig, condition, at, fault, severity) -> None:
    found = predict_level(rig, condition=condition, at=at, fault=fault)
    actual = level(rig, condition=condition, at=at, fault=fault, severity=severity)
    slack = 1e-9 * rig.running * 100
    assert found.lower - slack <= actual <= found.upper + slack
    assert fault in DEGREES or not found.is_range


@given(rigs(), conditions, fault_or_none, st.sampled_from(Position))
def test_knowing_the_history_never_adds_an_answer(rig, condition, fault, position) -> None:
    known = predict_contacts(
        rig, condition=condition, at=TestPoint.CONTACTS, fault=fault, coming_from=position
    )
    unknown = predict_contacts(rig, condition=condition, at=TestPoint.CONTACTS, fault=fault)
    assert known.states and known.states <= unknown.states


@given(rigs(), conditions, fault_or_none, severities, st.integers(0, 2**32 - 1))
def test_a_simulated_switch_stands_where_the_prediction_allows(rig, condition, fault, severity, seed) -> None:
    position = settled(
        rig, condition=condition, fault=fault, severity=severity, rng=np.random.default_rng(seed)
    )
    text = simulate(
        rig,
        condition=condition,
        at=TestPoint.CONTACTS,
        using=Multimeter(leads=0.2),
        fault=fault,
        severity=severity,
        rng=np.random.default_rng(seed),
    )
    allowed = predict_contacts(
        rig, condition=condition, at=TestPoint.CONTACTS, fault=fault, coming_from=Position.AT_REST
    )
    seen = (
        ContactState.OPEN
        if text == "OL"
        else ContactState.CLOSED
        if float(text) < 1
        else ContactState.HIGH_RESISTANCE
    )
    assert seen in allowed.states
    assert position in Position


def test_between_break_and_make_the_switch_stays_where_it_was() -> None:
    rig = VenturiRig(running=158, h_share=0.42, make=95, break_=72)
    asked = {"condition": RUNNING, "at": TestPoint.CONTACTS, "fault": Fault.H_TUBE_OFF}
    assert predict(rig, **asked, coming_from=Position.AT_REST) == Contacts(
        states=frozenset({ContactState.OPEN})
    )
    assert predict(rig, **asked, coming_from=Position.OPERATED) == Contacts(
        states=frozenset({ContactState.CLOSED})
    )
    both = predict(rig, **asked)
    assert isinstance(both, Contacts) and both.is_marginal


def test_a_level_right_on_the_make_point_allows_both_answers_once_noise_is_counted() -> None:
    rig = VenturiRig(running=183, h_share=0.44, make=102, break_=80, repeat_sd=2.2)
    found = predict_contacts(
        rig, condition=RUNNING, at=TestPoint.CONTACTS, fault=Fault.H_TUBE_OFF, coming_from=Position.AT_REST
    )
    assert found.is_marginal


def test_a_lost_low_tube_makes_the_switch_with_the_outlet_blocked() -> None:
    # Both taps stand at the fan's dead head, and only the high side reaches the switch: it lies.
    rig = VenturiRig(running=158, h_share=0.42, make=95, break_=72)
    found = predict_contacts(
        rig, condition=Condition.OUTLET_BLOCKED, at=TestPoint.CONTACTS, fault=Fault.L_TUBE_OFF
    )
    assert found.states == {ContactState.CLOSED}


def test_lines_exchanged_put_the_running_values_under_fan_off() -> None:
    rig = VenturiRig(running=158, h_share=0.42, make=95, break_=72)
    slip = Fault.WRONG_LINE
    assert predict_level(rig, condition=Condition.FAN_OFF, at=TestPoint.PORTS, fault=slip).mean == 158
    assert predict_level(rig, condition=RUNNING, at=TestPoint.PORTS, fault=slip).mean == 0
    at_rest = predict_contacts(rig, condition=Condition.FAN_OFF, at=TestPoint.CONTACTS, fault=slip)
    assert at_rest.states == {ContactState.CLOSED}


def test_a_two_terminal_rig_has_no_normally_closed_contact_to_read_or_to_fail() -> None:
    rig = VenturiRig(running=158, h_share=0.42, make=95, break_=72)
    with pytest.raises(RigError, match="two terminals"):
        predict(rig, condition=RUNNING, at=TestPoint.NC_CONTACTS)
    assert Fault.NC_CONTACT_OPEN not in faults_of(rig)
    assert Fault.NC_CONTACT_OPEN in faults_of(replace(rig, terminals=3))


@pytest.mark.parametrize(
    "wrong",
    [
        {"running": 0},
        {"h_share": 1.0},
        {"break_": 96},
        {"terminals": 4},
        {"dead_head": 10},
        {"slow_speed": 0},
        {"repeat_sd": -1},
    ],
)
def test_figures_that_no_rig_can_have_are_refused(wrong) -> None:
    with pytest.raises(RigError):
        VenturiRig(**{"running": 158, "h_share": 0.42, "make": 95, "break_": 72} | wrong)


NOISY = VenturiRig(running=158, h_share=0.42, make=95, break_=72, repeat_sd=1.9, session_sd=1.9, rest_sd=0.3)


def test_displays_show_what_the_trade_writes_down() -> None:
    rng = np.random.default_rng(1)
    quiet = replace(NOISY, repeat_sd=0, rest_sd=0)

    def read(condition, at, using, **more) -> str:
        return simulate(quiet, condition=condition, at=at, using=using, rng=rng, **more)

    assert read(RUNNING, TestPoint.PORTS, Manometer()) == "1.58"
    assert read(RUNNING, TestPoint.PORTS, Manometer(offset=0.03)) == "1.61"
    assert read(RUNNING, TestPoint.PORTS, Manometer(gain=0.93)) == "1.47"
    assert read(RUNNING, TestPoint.PORTS, Manometer(full_scale=1)) == "OL"
    assert read(RUNNING, TestPoint.PORTS, Manometer(), fault=Fault.TUBES_CROSSED) == "-1.58"
    assert read(RUNNING, TestPoint.PORTS, Manometer(), fault=Fault.UNIT_SLIP) == "158"
    assert read(Condition.FAN_OFF, TestPoint.PORTS, Manometer()) == "0.00"
    assert read(Condition.FAN_OFF, TestPoint.MANOMETER_ZERO, Manometer(offset=-0.02)) == "-0.02"
    assert read(RUNNING, TestPoint.LEADS_TOGETHER, Multimeter(leads=0.3)) == "0.3"
    assert read(RUNNING, TestPoint.LEADS_TOGETHER, Multimeter(), fault=Fault.METER_LEAD_BROKEN) == "OL"
    assert read(RUNNING, TestPoint.LEADS_APART, Multimeter()) == "OL"
    assert read(Condition.FAN_OFF, TestPoint.CONTACTS, Multimeter()) == "OL"
    assert float(read(RUNNING, TestPoint.CONTACTS, Multimeter(leads=0.3))) == pytest.approx(0.5, abs=0.11)
    worst = read(RUNNING, TestPoint.CONTACTS, Multimeter(), fault=Fault.CONTACT_HIGH_RESISTANCE, severity=1)
    assert worst == "200.2"


def test_a_small_negative_reading_is_not_shown_as_minus_zero() -> None:
    assert shown(-0.004, resolution=0.01, full_scale=20) == "0.00"


def test_the_wrong_instrument_is_refused() -> None:
    for at, using in ((TestPoint.PORTS, Multimeter()), (TestPoint.CONTACTS, Manometer())):
        with pytest.raises(RigError, match="instrument"):
            simulate(NOISY, condition=RUNNING, at=at, using=using, rng=np.random.default_rng(1))
    with pytest.raises(RigError):
        predict_level(NOISY, condition=RUNNING, at=TestPoint.CONTACTS)
    with pytest.raises(RigError):
        predict_contacts(NOISY, condition=RUNNING, at=TestPoint.TAPS)


def test_simulated_readings_have_the_spread_that_is_predicted() -> None:
    rng = np.random.default_rng(20260105)
    readings = [
        float(
            simulate(
                NOISY.in_session(rng=rng),
                condition=RUNNING,
                at=TestPoint.TAPS,
                using=Manometer(resolution=0.001),
                rng=rng,
            )
        )
        * 100
        for _ in range(4000)
    ]
    found = predict(NOISY, condition=RUNNING, at=TestPoint.TAPS)
    assert isinstance(found, Level)
    assert found.sd == pytest.approx(math.hypot(1.9, 1.9, 0.3))
    assert np.mean(readings) == pytest.approx(found.mean, abs=4 * found.sd / math.sqrt(4000))
    assert np.std(readings) == pytest.approx(found.sd, rel=0.05)


def test_a_hand_pump_shows_make_and_break_points_or_nothing_where_there_are_none() -> None:
    pump, rng = Condition.HAND_PUMP, np.random.default_rng(4)

    def read(at, fault=None) -> str:
        return simulate(NOISY, condition=pump, at=at, using=Manometer(), rng=rng, fault=fault)

    for at, value in ((TestPoint.MAKE_POINT, 0.95), (TestPoint.BREAK_POINT, 0.72)):
        assert float(read(at)) == pytest.approx(value, abs=0.06)
        assert read(at, Fault.STUCK_AT_REST) == NOTHING
    assert float(read(TestPoint.PORTS)) == pytest.approx(1.2 * 0.95, rel=0.4)
    assert float(read(TestPoint.PORTS, Fault.DIAPHRAGM_RUPTURED)) == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize(
    "fault", [None, Fault.H_TUBE_HOLED, Fault.UNIT_SLIP, Fault.MANOMETER_NOT_ZEROED], ids=str
)
def test_many_runs_at_once_are_like_readings_one_by_one(fault) -> None:
    rng, size = np.random.default_rng(6), 3000
    tests = [Test.of("ports/fan-running"), Test.of("contacts/fan-running")]
    runs = simulate_runs(
        RigModel(rig=NOISY),
        tests=tests,
        fault=fault,
        severity=np.full(size, 0.6),
        rng=rng,
        manometer=Manometry(fixed=0.0, share=0.0),
        slips=Slips(contacts=0.0),
        coming_from=Position.AT_REST,
    )
    using, times = Manometer(resolution=0.001, full_scale=1e6), 100
    one_by_one = [
        float(
            simulate(
                NOISY.in_session(rng=rng), condition=RUNNING, at=TestPoint.PORTS, using=using, rng=rng,
                fault=fault, severity=0.6,
            )
        )
        * times
        for _ in range(size)
    ]  # fmt: skip
    together = runs.values[:, 0]
    assert np.mean(together) == pytest.approx(np.mean(one_by_one), abs=5 * np.std(together) / math.sqrt(size))
    assert np.std(together) == pytest.approx(np.std(one_by_one), rel=0.08)
    assert {CONTACT_STATES[code] for code in runs.states[:, 1]} == {ContactState.CLOSED}


def test_one_session_shares_its_difference() -> None:
    today = NOISY.in_session(rng=np.random.default_rng(3))
    assert today.session_sd == 0
    assert today.running != NOISY.running
    assert today.running / today.no_flow == pytest.approx(NOISY.running / NOISY.no_flow)


def test_the_same_seed_gives_the_same_reading() -> None:
    first, second = (
        simulate(NOISY, condition=RUNNING, at=TestPoint.TAPS, using=Manometer(), rng=np.random.default_rng(9))
        for _ in range(2)
    )
    assert first == second
