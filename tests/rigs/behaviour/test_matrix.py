"""The trade's tables of faults and symptoms, computed for this project; common practice, no source."""

from dataclasses import replace

import pytest

from rigs.behaviour.faults import Fault
from rigs.behaviour.prediction import Contacts, Level, predict, predict_contacts, predict_level
from rigs.behaviour.prediction import level as level_of
from rigs.behaviour.venturi import Condition, Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import ContactState

OFF, RUNNING = Condition.FAN_OFF, Condition.FAN_RUNNING
CLOSED, OPEN, HIGH = ContactState.CLOSED, ContactState.OPEN, ContactState.HIGH_RESISTANCE

# The reference rig of the matrix, so that pascals are per cent of the healthy Δp.
TWO = VenturiRig(running=100, h_share=0.42, make=59, break_=45)
THREE = replace(TWO, terminals=3)


def level(fault: Fault | None, at: TestPoint, condition: Condition = RUNNING) -> Level:
    return predict_level(TWO, condition=condition, at=at, fault=fault)


def percent(fault: Fault | None, at: TestPoint) -> tuple[float, float]:
    found = level(fault, at)
    return round(found.lower, 6), round(found.upper, 6)


def from_rest(rig: VenturiRig, fault: Fault | None, at: TestPoint, condition: Condition) -> set[ContactState]:
    found = predict_contacts(rig, condition=condition, at=at, fault=fault, coming_from=Position.AT_REST)
    return set(found.states)


# fault, Δp at the taps, Δp at the ports, high tap (all in % of the healthy Δp, as from–to)
LEVELS = [
    (None, (100, 100), (100, 100), (42, 42)),
    (Fault.OUTLET_BLOCKED, (0, 0), (0, 0), (200, 200)),
    (Fault.INLET_BLOCKED, (0, 0), (0, 0), (0, 0)),
    (Fault.OUTLET_PARTLY_BLOCKED, (30, 70), (30, 70), (89.4, 152.6)),
    (Fault.THROAT_DEPOSIT, (105, 130), (105, 130), (44.1, 54.6)),
    (Fault.H_TAPPING_BLOCKED, (100, 100), (58, 58), (42, 42)),
    (Fault.L_TAPPING_BLOCKED, (100, 100), (42, 42), (42, 42)),
    (Fault.H_TUBE_OFF, (100, 100), (58, 58), (42, 42)),
    (Fault.L_TUBE_OFF, (100, 100), (42, 42), (42, 42)),
    (Fault.TUBES_CROSSED, (100, 100), (-100, -100), (42, 42)),
    (Fault.H_TUBE_KINKED, (100, 100), (58, 58), (42, 42)),
    (Fault.L_TUBE_KINKED, (100, 100), (42, 42), (42, 42)),
    (Fault.H_TUBE_HOLED, (100, 100), (58, 100), (42, 42)),
    (Fault.L_TUBE_HOLED, (100, 100), (42, 100), (42, 42)),
    (Fault.DIAPHRAGM_RUPTURED, (100, 100), (80, 100), (42, 42)),
    (Fault.STUCK_AT_REST, (100, 100), (100, 100), (42, 42)),
    (Fault.CONTACT_WELDED, (100, 100), (100, 100), (42, 42)),
    (Fault.CONTACT_OPEN, (100, 100), (100, 100), (42, 42)),
    (Fault.CONTACT_HIGH_RESISTANCE, (100, 100), (100, 100), (42, 42)),
    (Fault.NC_CONTACT_OPEN, (100, 100), (100, 100), (42, 42)),
    (Fault.NC_AND_NO_EXCHANGED, (100, 100), (100, 100), (42, 42)),
    (Fault.WRONG_TERMINALS, (100, 100), (100, 100), (42, 42)),
    (Fault.FAN_NOT_RUNNING, (0, 0), (0, 0), (0, 0)),
    (Fault.FAN_SLOW, (49, 49), (49, 49), (20.58, 20.58)),  # 49 % of its own 42
    (Fault.MANOMETER_NOT_ZEROED, (105, 120), (105, 120), (47, 62)),
    (Fault.MANOMETER_REVERSED, (-100, -100), (-100, -100), (-42, -42)),
    (Fault.METER_LEAD_BROKEN, (100, 100), (100, 100), (42, 42)),
    (Fault.TUBES_CROSSED_MANOMETER_REVERSED, (-100, -100), (100, 100), (-42, -42)),
    (Fault.SIGN_SLIP, (-100, -100), (-100, -100), (-42, -42)),
    (Fault.UNIT_SLIP, (10_000, 10_000), (10_000, 10_000), (4_200, 4_200)),
    (Fault.WRONG_LINE, (0, 0), (0, 0), (0, 0)),
]


@pytest.mark.parametrize(("fault", "taps", "ports", "high_tap"), LEVELS)
def test_a_fault_reads_as_in_the_matrix(fault, taps, ports, high_tap) -> None:
    assert percent(fault, TestPoint.TAPS) == taps
    assert percent(fault, TestPoint.PORTS) == ports
    assert percent(fault, TestPoint.HIGH_TAP) == high_tap


# fault: two terminals; three terminals COM–NC and COM–NO; each off → running, coming from rest
CONTACTS = [
    (None, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.OUTLET_BLOCKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.INLET_BLOCKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.OUTLET_PARTLY_BLOCKED, "OL → depends", "0.4 → depends", "OL → depends"),
    (Fault.THROAT_DEPOSIT, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.H_TAPPING_BLOCKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.L_TAPPING_BLOCKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.H_TUBE_OFF, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.L_TUBE_OFF, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.TUBES_CROSSED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.H_TUBE_KINKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.L_TUBE_KINKED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.H_TUBE_HOLED, "OL → depends", "0.4 → depends", "OL → depends"),
    (Fault.L_TUBE_HOLED, "OL → depends", "0.4 → depends", "OL → depends"),
    (Fault.DIAPHRAGM_RUPTURED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.STUCK_AT_REST, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.CONTACT_WELDED, "0.4 → 0.4", "OL → OL", "0.4 → 0.4"),
    (Fault.CONTACT_OPEN, "OL → OL", "0.4 → OL", "OL → OL"),
    (Fault.CONTACT_HIGH_RESISTANCE, "OL → high", "0.4 → OL", "OL → high"),
    (Fault.NC_CONTACT_OPEN, "OL → 0.4", "OL → OL", "OL → 0.4"),
    (Fault.WRONG_TERMINALS, "OL → OL", "0.4 → OL", "OL → OL"),
    (Fault.FAN_NOT_RUNNING, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.FAN_SLOW, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.NC_AND_NO_EXCHANGED, "0.4 → OL", "OL → 0.4", "0.4 → OL"),
    (Fault.MANOMETER_NOT_ZEROED, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.MANOMETER_REVERSED, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.METER_LEAD_BROKEN, "OL → OL", "OL → OL", "OL → OL"),
    (Fault.TUBES_CROSSED_MANOMETER_REVERSED, "OL → OL", "0.4 → 0.4", "OL → OL"),
    (Fault.SIGN_SLIP, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.UNIT_SLIP, "OL → 0.4", "0.4 → OL", "OL → 0.4"),
    (Fault.WRONG_LINE, "0.4 → OL", "OL → 0.4", "0.4 → OL"),
]
MEANT = {"OL": {OPEN}, "0.4": {CLOSED}, "high": {HIGH}, "depends": {OPEN, CLOSED}}


@pytest.mark.parametrize(("fault", "two", "com_nc", "com_no"), CONTACTS)
def test_contacts_under_a_fault_are_as_in_the_matrix(fault, two, com_nc, com_no) -> None:
    cases = [
        (TWO, TestPoint.CONTACTS, two),
        (THREE, TestPoint.NC_CONTACTS, com_nc),
        (THREE, TestPoint.CONTACTS, com_no),
    ]
    for rig, at, both in cases:
        off, running = both.split(" → ")
        assert from_rest(rig, fault, at, OFF) == MEANT[off]
        assert from_rest(rig, fault, at, RUNNING) == MEANT[running]


def test_the_matrix_has_a_row_for_every_fault_of_the_model() -> None:
    for table in (LEVELS, CONTACTS):
        assert {row[0] for row in table} == {None, *Fault}


def test_a_three_terminal_switch_at_rest_and_operated_has_its_truth_table() -> None:
    # COM–NC, COM–NO, NC–NO
    for condition, states in ((OFF, (CLOSED, OPEN, OPEN)), (RUNNING, (OPEN, CLOSED, OPEN))):
        points = (TestPoint.NC_CONTACTS, TestPoint.CONTACTS, TestPoint.NC_TO_NO)
        assert [from_rest(THREE, None, at, condition) for at in points] == [{state} for state in states]


# Under the hand pump: what is left at the ports after ten seconds (% of the make point), the contact, and
# whether there is a make and a break point to be found. Tubes, fan and venturi have no part in it.
PUMP = Condition.HAND_PUMP
PUMPED_UP = [
    (None, 120, {CLOSED}, True),
    (Fault.H_TUBE_OFF, 120, {CLOSED}, True),
    (Fault.TUBES_CROSSED, 120, {CLOSED}, True),
    (Fault.FAN_NOT_RUNNING, 120, {CLOSED}, True),
    (Fault.DIAPHRAGM_RUPTURED, 0, {OPEN}, False),
    (Fault.STUCK_AT_REST, 120, {OPEN}, False),
    (Fault.CONTACT_OPEN, 120, {OPEN}, False),
    (Fault.CONTACT_WELDED, 120, {CLOSED}, False),
    (Fault.CONTACT_HIGH_RESISTANCE, 120, {HIGH}, True),
    (Fault.WRONG_TERMINALS, 120, {OPEN}, False),
    (Fault.METER_LEAD_BROKEN, 120, {OPEN}, False),
]


@pytest.mark.parametrize(("fault", "held", "contact", "found"), PUMPED_UP)
def test_the_hand_pump_proves_the_switch_by_itself(fault, held, contact, found) -> None:
    assert level(fault, TestPoint.PORTS, PUMP).mean == pytest.approx(held / 100 * TWO.make)
    assert predict_contacts(TWO, condition=PUMP, at=TestPoint.CONTACTS, fault=fault).states == contact
    for at, value in ((TestPoint.MAKE_POINT, TWO.make), (TestPoint.BREAK_POINT, TWO.break_)):
        point = predict(TWO, condition=PUMP, at=at, fault=fault)
        assert (point is not None) is found
        assert point is None or (isinstance(point, Level) and point.mean == value)


def test_a_make_point_is_found_with_the_hand_pump_alone() -> None:
    with pytest.raises(RigError, match="hand pump"):
        predict(TWO, condition=RUNNING, at=TestPoint.MAKE_POINT)


def test_the_two_made_contacts_never_join_one_another() -> None:
    for fault in (None, *Fault):
        for condition in Condition:
            found = predict(THREE, condition=condition, at=TestPoint.NC_TO_NO, fault=fault)
            assert found == Contacts(states=frozenset({OPEN}))


@pytest.mark.parametrize(
    ("hole", "share"), [(Fault.H_TUBE_HOLED, 77), (Fault.L_TUBE_HOLED, 68)], ids=["high side", "low side"]
)
def test_a_mid_size_hole_reads_between(hole: Fault, share: float) -> None:
    found = level_of(TWO, condition=RUNNING, at=TestPoint.PORTS, fault=hole, severity=0.55)
    assert found == pytest.approx(share, abs=0.5)


def test_fan_off_shows_the_offset_of_a_manometer_and_nothing_of_another_fault() -> None:
    for fault in (None, *Fault):
        found = level(fault, TestPoint.PORTS, OFF)
        offset = (5, 20) if fault is Fault.MANOMETER_NOT_ZEROED else (0, 0)
        assert (found.lower, found.upper) == (offset if fault is not Fault.WRONG_LINE else (100, 100))


# The six rigs whose answers differ: Δp in mbar, high side's share, make, break (mbar), margin;
# then Δp at the ports and the switch with the high-side tube off, and with the low-side tube off.
RIGS = [
    ("VB-01", 1.58, 0.42, 0.95, 0.72, "1.66", "0.92", "marginal", "0.66", "no make"),
    ("VB-02", 1.74, 0.46, 1.05, 0.82, "1.66", "0.94", "marginal", "0.80", "no make"),
    ("VB-03", 1.65, 0.40, 0.96, 0.72, "1.72", "0.99", "makes", "0.66", "no make"),
    ("VB-04", 1.83, 0.44, 1.02, 0.80, "1.79", "1.02", "makes", "0.81", "marginal"),
    ("VB-05", 1.49, 0.43, 0.88, 0.66, "1.69", "0.85", "marginal", "0.64", "no make"),
    ("VB-06", 1.69, 0.50, 0.94, 0.72, "1.80", "0.84", "marginal", "0.84", "marginal"),
]


@pytest.mark.parametrize("row", RIGS, ids=lambda row: row[0])
def test_a_lost_tube_reads_and_switches_as_this_rig_s_own_figures_say(row) -> None:
    _, running, share, make, break_, margin, high_off, switch_high, low_off, switch_low = row
    rig = VenturiRig(running=running * 100, h_share=share, make=make * 100, break_=break_ * 100)
    assert rig.margin == pytest.approx(float(margin), abs=0.005)
    for fault, shown, switch in (
        (Fault.H_TUBE_OFF, high_off, switch_high),
        (Fault.L_TUBE_OFF, low_off, switch_low),
    ):
        found = predict_level(rig, condition=RUNNING, at=TestPoint.PORTS, fault=fault)
        assert found.mean / 100 == pytest.approx(float(shown), abs=0.0051)  # 0.845 is printed 0.84
        assert switches(rig, fault) == switch


def switches(rig: VenturiRig, fault: Fault) -> str:
    found = predict_contacts(rig, condition=RUNNING, at=TestPoint.CONTACTS, fault=fault)
    if found.is_marginal:
        assert from_rest(rig, fault, TestPoint.CONTACTS, RUNNING) == {OPEN}
        return "marginal"
    return "makes" if found.states == {CLOSED} else "no make"


def test_a_share_of_one_half_makes_the_two_sides_look_the_same() -> None:
    rig = VenturiRig(running=169, h_share=0.5, make=94, break_=72)
    high, low = (
        predict_level(rig, condition=RUNNING, at=TestPoint.PORTS, fault=fault)
        for fault in (Fault.H_TUBE_OFF, Fault.L_TUBE_OFF)
    )
    assert high == low
