"""What every test point should read in a condition, under a fault: a spread of levels or a set of states."""

import math
from dataclasses import dataclass

from rigs.behaviour.contacts import LEADS, contact_state, positions
from rigs.behaviour.faults import DEGREES, Fault, degree
from rigs.behaviour.pressures import Pressures, pressures
from rigs.behaviour.venturi import Condition, Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import ContactState

CONTACT_POINTS = LEADS | {TestPoint.CONTACTS, TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO}
WIDE = 2  # standard deviations: a switch this close to its point may do either
HUNDRED = 100  # Pa in a mbar: the usual slip of unit
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
) -> Level | Contacts:
    """What a competent person writes down there, from a pool of sessions: the session's spread is counted in.

    A fault may be the rig's, an instrument's or the pen's. ``coming_from`` is where the switch stood before;
    without it both answers are right between break and make. RigError for terminals that the rig hasn't.
    """
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
    return Level(lower=lower, upper=upper, sd=_sd(rig, (lower + upper) / 2))


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
    spread = WIDE * _sd(rig, max(ends, key=abs))
    found = positions(
        rig, lower=min(ends) - spread, upper=max(ends) + spread, fault=fault, coming_from=coming_from
    )
    return Contacts(
        states=frozenset(contact_state(rig, at=at, position=position, fault=fault) for position in found)
    )


def level(
    rig: VenturiRig, *, condition: Condition, at: TestPoint, fault: Fault | None = None, severity: float = 0.5
) -> float:
    """The pressure written down, in Pa, without noise; the instrument's and the pen's slips included."""
    found = pressures(rig, condition=as_written(condition, fault), fault=fault, severity=severity)
    shown = _at(found, at)
    if fault is Fault.MANOMETER_NOT_ZEROED:
        return shown + degree(fault, severity=severity)
    if fault in (Fault.MANOMETER_REVERSED, Fault.SIGN_SLIP):
        return -shown
    return shown * HUNDRED if fault is Fault.UNIT_SLIP else shown


def as_written(condition: Condition, fault: Fault | None) -> Condition:
    """The condition whose reading stands on this condition's line of the sheet."""
    return EXCHANGED.get(condition, condition) if fault is Fault.WRONG_LINE else condition


def repeat_sd(rig: VenturiRig, *, pressure: float) -> float:
    """Standard deviation of repeats within a session at another pressure than the running Δp, all in Pa."""
    return math.hypot(rig.rest_sd, rig.repeat_sd * pressure / rig.running)


def _at(found: Pressures, at: TestPoint) -> float:
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
            return 0.0
        case _:
            raise RigError(f"{at} is a pair of terminals, not a pressure.")


def _severities(fault: Fault | None) -> tuple[float, ...]:
    return (0.0, 1.0) if fault in DEGREES else (0.5,)


def _sd(rig: VenturiRig, pressure: float) -> float:
    return math.hypot(repeat_sd(rig, pressure=pressure), rig.session_sd * pressure / rig.running)
