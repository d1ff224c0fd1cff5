"""Which faults look the same, as the trade has it (common practice, no source)."""

import pytest

from rigs.behaviour.faults import Fault, faults_of
from rigs.behaviour.lookalikes import alike, groups, told_apart
from rigs.behaviour.observations import Test
from tests.rigs.behaviour.boards import (
    AT_TAPS,
    BLOCKED,
    LEADS,
    SINGLE_TAP,
    USUAL,
    USUAL_OF_THREE,
    board,
    known,
    named,
)

NO_FLOW = {Fault.OUTLET_BLOCKED, Fault.INLET_BLOCKED, Fault.FAN_NOT_RUNNING}
H_LOST = {Fault.H_TAPPING_BLOCKED, Fault.H_TUBE_OFF, Fault.H_TUBE_KINKED}
L_LOST = {Fault.L_TAPPING_BLOCKED, Fault.L_TUBE_OFF, Fault.L_TUBE_KINKED}
LESS_AIR = {Fault.OUTLET_PARTLY_BLOCKED, Fault.FAN_SLOW}
HOLES = {Fault.H_TUBE_HOLED, Fault.L_TUBE_HOLED}
NO_CIRCUIT = {Fault.STUCK_AT_REST, Fault.CONTACT_OPEN, Fault.WRONG_TERMINALS}
REVERSED = {Fault.MANOMETER_REVERSED, Fault.SIGN_SLIP}


def together(*, by: tuple[Test, ...], **figures: float) -> set[frozenset[Fault | None]]:
    rig = known(board(**figures))
    found = groups(rig, tests=by, faults=faults_of(rig.rig))
    assert sum(len(group) for group in found) == 1 + len(faults_of(rig.rig))  # each is in one group
    return {group for group in found if len(group) > 1}


def test_by_contacts_and_the_ports_alone_air_tubes_and_tappings_look_alike() -> None:
    # Where the two sides leave 54 % and 46 %: with 58 % and 42 % the high side stands out by its figure.
    found = together(by=USUAL, running=174, h_share=0.46, make=105, break_=82)
    assert frozenset(NO_FLOW) in found
    assert any(group >= LESS_AIR | H_LOST | L_LOST for group in found)
    assert any(NO_CIRCUIT | {Fault.METER_LEAD_BROKEN} <= group for group in found)


def test_reading_at_the_taps_too_parts_the_air_from_the_tubes() -> None:
    found = together(by=(*USUAL, *AT_TAPS))
    assert {frozenset(each) for each in (NO_FLOW, LESS_AIR, H_LOST, L_LOST, HOLES)} <= found


def test_a_single_tap_parts_a_blocked_outlet_and_a_slow_fan_from_what_they_look_like() -> None:
    found = together(by=(*USUAL, *AT_TAPS, *SINGLE_TAP))
    assert frozenset({Fault.INLET_BLOCKED, Fault.FAN_NOT_RUNNING}) in found
    assert not any(group >= LESS_AIR for group in found)


def test_two_sides_of_the_same_share_look_alike_until_the_outlet_is_blocked() -> None:
    by = (*USUAL, *AT_TAPS, *SINGLE_TAP)
    assert H_LOST | L_LOST in together(h_share=0.5, by=by)
    assert H_LOST | L_LOST not in together(h_share=0.42, by=by)
    # With no flow both taps stand at the same pressure, and either tube lost leaves all of it, of its sign.
    assert {frozenset(H_LOST), frozenset(L_LOST)} <= together(h_share=0.5, by=(*by, *BLOCKED))


@pytest.mark.parametrize(
    ("terminals", "by", "electrical"),
    [
        (2, (*USUAL, *AT_TAPS, *SINGLE_TAP), NO_CIRCUIT | {Fault.METER_LEAD_BROKEN}),
        (2, (*USUAL, *AT_TAPS, *SINGLE_TAP, *LEADS), NO_CIRCUIT),
        (3, (*USUAL_OF_THREE, *AT_TAPS, *SINGLE_TAP), {Fault.CONTACT_OPEN, Fault.WRONG_TERMINALS}),
    ],
    ids=["two terminals", "two terminals and the leads", "three terminals"],
)
def test_what_makes_no_circuit_is_told_apart_as_far_as_the_terminals_go(terminals, by, electrical) -> None:
    assert electrical in together(terminals=terminals, by=by)


def test_contacts_part_crossed_tubes_from_a_reversed_manometer_and_taps_the_two_at_once() -> None:
    without = [test for test in USUAL if not test.is_contact]
    assert any({Fault.TUBES_CROSSED} | REVERSED <= group for group in together(by=tuple(without)))
    assert REVERSED in together(by=USUAL)
    both = Fault.TUBES_CROSSED_MANOMETER_REVERSED
    assert any({both, Fault.STUCK_AT_REST} <= group for group in together(by=USUAL))
    assert not any(both in group for group in together(by=(*USUAL, *AT_TAPS)))


def test_a_hand_pump_that_holds_parts_a_stuck_switch_from_a_ruptured_one() -> None:
    rough = named("contacts/fan-off contacts/fan-running taps/fan-running")
    assert any({Fault.DIAPHRAGM_RUPTURED, Fault.STUCK_AT_REST} <= group for group in together(by=rough))
    held = together(by=(*rough, *named("ports/hand-pump")))
    assert not any(Fault.DIAPHRAGM_RUPTURED in group for group in held)


def test_a_contact_that_no_terminal_shows_is_no_fault_to_find() -> None:
    rig = known()
    assert told_apart(rig, fault=Fault.NC_CONTACT_OPEN, tests=USUAL, faults=faults_of(rig.rig))
    three = known(board(terminals=3))
    asked = faults_of(three.rig)
    assert alike(three, fault=Fault.NC_CONTACT_OPEN, tests=USUAL, faults=asked) == {
        None,
        Fault.NC_CONTACT_OPEN,
    }
    assert told_apart(three, fault=Fault.NC_CONTACT_OPEN, tests=USUAL_OF_THREE, faults=asked)


def test_one_fault_s_group_holds_it() -> None:
    rig = known()
    asked = faults_of(rig.rig)
    assert alike(rig, fault=Fault.H_TUBE_OFF, tests=(*USUAL, *AT_TAPS), faults=asked) == H_LOST
    assert told_apart(rig, fault=Fault.CONTACT_WELDED, tests=USUAL, faults=asked)
    assert not told_apart(rig, fault=Fault.H_TUBE_OFF, tests=USUAL, faults=asked)


def test_without_any_test_everything_looks_alike() -> None:
    rig = known()
    assert len(groups(rig, tests=(), faults=faults_of(rig.rig))) == 1
