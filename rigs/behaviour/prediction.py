"""What every test point should read in a condition, under a fault: a spread of levels or a set of states."""

import math
from dataclasses import dataclass

from rigs.behaviour.contacts import LEADS, contact_state, positions
from rigs.behaviour.faults import DEGREES, NEVER_SEEN_TO_CHANGE, REVERSED, Fault, degree
from rigs.behaviour.pressures import pressures
from rigs.behaviour.venturi import Condition, Figures, Number, Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import ContactState

SWITCH_POINTS = frozenset({TestPoint.MAKE_POINT, TestPoint.BREAK_POINT})
CONTACT_POINTS = LEADS | {TestPoint.CONTACTS, TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO}
WIDE = 2  # standard deviations: a switch this close to its point may do either
HUNDRED = 100  # Pa in a mbar: the usual slip of unit
BY_HAND = 0.1  # spread of what a hand pump is brought to, as a share (common practice, no source)
SWITCH_SD = 1.0  # Pa, from one making of the switch to the next (common practice, no source)
EXCHANGED = {Condition.FAN_OFF: Condition.FAN_RUNNING, Condition.FAN_RUNNING: Condition.FAN_OFF}


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A pressure in Pa: anywhere from ``lower`` to ``upper``, and normal with ``sd`` about that.

    The two are equal unless the fault comes in degrees.
    """

    lower: float
    upper: float
    sd: float

    @property
    def mean(self) -> float:
        return (self.lower + self.upper) / 2

    @property
    def is_range(self) -> bool:
        return self.lower < self.upper


@dataclass(frozen=True, slots=True, kw_only=True)
class Contacts:
    """The states that are right between two terminals, leads taken off: two where history or luck decides."""

    states: frozenset[ContactState]

    @property
    def is_marginal(self) -> bool:
        return len(self.states) > 1


def predict(
    rig: VenturiRig,
    *,
    condition: Condition,
    at: TestPoint,
    fault: Fault | None = None,
    coming_from: Position | None = None,
) -> Level | Contacts | None:
    """What a competent person writes down there, from a pool of sessions: the session's spread is counted in.

    None where nothing is to be had: the make point of a switch that is never seen to make. A fault may be the
    rig's, an instrument's or the pen's. ``coming_from`` is where the switch stood before; without it both
    answers are right between break and make. RigError for terminals that the rig hasn't, and for a make or
    break point without a hand pump.
    """
    if not can_be_read(at, fault=fault):
        return None
    if at in CONTACT_POINTS:
        return predict_contacts(rig, condition=condition, at=at, fault=fault, coming_from=coming_from)
    return predict_level(rig, condition=condition, at=at, fault=fault)


def predict_level(
    rig: VenturiRig, *, condition: Condition, at: TestPoint, fault: Fault | None = None
) -> Level:
    """`predict` for a pressure. RigError for a test point that has none."""
    ends = [
        level(rig, condition=condition, at=at, fault=fault, severity=severity)
        for severity in _severities(fault)
    ]
    lower, upper = min(ends), max(ends)
    return Level(lower=lower, upper=upper, sd=spread(rig, (lower + upper) / 2, condition=condition, at=at))


def predict_contacts(
    rig: VenturiRig,
    *,
    condition: Condition,
    at: TestPoint,
    fault: Fault | None = None,
    coming_from: Position | None = None,
) -> Contacts:
    """`predict` for contacts. RigError for a test point that has none."""
    if at not in CONTACT_POINTS:
        raise RigError(f"{at} is a pressure, not a pair of terminals.")
    condition = as_written(condition, fault)
    ends = [
        pressures(rig, condition=condition, fault=fault, severity=severity).ports
        for severity in _severities(fault)
    ]
    either_way = WIDE * _sd(rig, max(ends, key=abs))
    found = positions(
        rig, lower=min(ends) - either_way, upper=max(ends) + either_way, fault=fault, coming_from=coming_from
    )
    return Contacts(
        states=frozenset(contact_state(rig, at=at, position=position, fault=fault) for position in found)
    )


def level(
    rig: Figures[Number],
    *,
    condition: Condition,
    at: TestPoint,
    fault: Fault | None = None,
    severity: Number | float = 0.5,
) -> Number:
    """The pressure written down, in Pa, without noise; the instrument's and the pen's slips included.

    Figures and severity may be columns of one shape. RigError as for `predict`.
    """
    shown = _at(rig, condition=as_written(condition, fault), at=at, fault=fault, severity=severity)
    if fault is Fault.MANOMETER_NOT_ZEROED:
        return shown + degree(fault, severity=0.0 * rig.running + severity)
    if fault in REVERSED:
        return -shown
    return shown * HUNDRED if fault is Fault.UNIT_SLIP else shown


def can_be_read(at: TestPoint, *, fault: Fault | None) -> bool:
    """Whether anything is to be had there: a meter never seen to change gives no make or break point."""
    return at not in SWITCH_POINTS or fault not in NEVER_SEEN_TO_CHANGE


def as_written(condition: Condition, fault: Fault | None) -> Condition:
    """The condition whose reading stands on this condition's line of the sheet."""
    return EXCHANGED.get(condition, condition) if fault is Fault.WRONG_LINE else condition


def repeat_sd(rig: VenturiRig, *, pressure: float) -> float:
    """Standard deviation of repeats within a session at another pressure than the running Δp, all in Pa."""
    return math.hypot(rig.rest_sd, rig.repeat_sd * pressure / rig.running)


def spread(rig: VenturiRig, pressure: float, *, condition: Condition, at: TestPoint) -> float:
    """Standard deviation of what is written down at a level, in Pa, the session's effect included."""
    fixed, share = noise(rig, condition=condition, at=at)
    session = 0.0 if condition is Condition.HAND_PUMP else rig.session_sd / rig.running
    return math.hypot(fixed, share * pressure, session * pressure)


def noise(rig: VenturiRig, *, condition: Condition, at: TestPoint) -> tuple[float, float]:
    """The spread of repeats within a session: u² = fixed² + (share × p)², ``fixed`` in Pa."""
    if condition is not Condition.HAND_PUMP:
        return rig.rest_sd, rig.repeat_sd / rig.running
    if at in SWITCH_POINTS:
        return math.hypot(rig.rest_sd, SWITCH_SD), 0.0
    return rig.rest_sd, BY_HAND


def _at(
    rig: Figures[Number],
    *,
    condition: Condition,
    at: TestPoint,
    fault: Fault | None,
    severity: Number | float,
) -> Number:
    if at in SWITCH_POINTS:
        if condition is not Condition.HAND_PUMP:
            raise RigError("Make and break points are found with a hand pump.")
        return rig.make if at is TestPoint.MAKE_POINT else rig.break_
    found = pressures(rig, condition=condition, fault=fault, severity=severity)
    match at:
        case TestPoint.TAPS:
            return found.taps
        case TestPoint.PORTS:
            return found.ports
        case TestPoint.HIGH_TAP:
            return found.high_tap
        case TestPoint.LOW_TAP:
            return found.low_tap
        case TestPoint.MANOMETER_ZERO:
            return 0.0 * found.high_tap
        case _:
            raise RigError(f"{at} is a pair of terminals, not a pressure.")


def _severities(fault: Fault | None) -> tuple[float, ...]:
    return (0.0, 1.0) if fault in DEGREES else (0.5,)


def _sd(rig: VenturiRig, pressure: float) -> float:
    return math.hypot(repeat_sd(rig, pressure=pressure), rig.session_sd * pressure / rig.running)
