"""What a display shows at a rig: the model sampled with its noise, through an instrument with its errors."""

import math
from dataclasses import dataclass

import numpy as np

from rigs.behaviour.contacts import contact_state, positions
from rigs.behaviour.faults import DEGREES, Fault
from rigs.behaviour.prediction import (
    BY_HAND,
    CONTACT_POINTS,
    HUNDRED,
    SWITCH_POINTS,
    SWITCH_SD,
    as_written,
    can_be_read,
    level,
    repeat_sd,
)
from rigs.behaviour.pressures import pressures
from rigs.behaviour.venturi import Condition, Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import ContactState
from rigs.metrology.quantities import from_si

OVER_LIMIT = "OL"
NOTHING = ""  # shown where the meter never changes: there is no make or break point to write down
CONTACT_SD = 0.03  # Ω, from one making of a contact to the next (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manometer:
    """A display of pressure: shows gain × pressure + offset. All but the gain in ``unit``."""

    unit: str = "mbar"
    resolution: float = 0.01
    full_scale: float = 20.0
    offset: float = 0.0
    gain: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Multimeter:
    """A display of resistance, in Ω: ``leads`` is in everything that it shows."""

    resolution: float = 0.1
    full_scale: float = 400.0
    leads: float = 0.2


def simulate(
    rig: VenturiRig,
    *,
    condition: Condition,
    at: TestPoint,
    using: Manometer | Multimeter,
    rng: np.random.Generator,
    fault: Fault | None = None,
    severity: float = 0.5,
    coming_from: Position = Position.AT_REST,
) -> str:
    """One reading as the display shows it: “1.58”, “OL”, “0.4”.

    Readings of one session share its difference: take them from ``rig.in_session(rng=…)``. ``severity`` says
    how bad a fault is that comes in degrees, from 0 to 1. `NOTHING` for the make point of a switch that is
    never seen to make. RigError for the wrong instrument.
    """
    if isinstance(using, Manometer) == (at in CONTACT_POINTS):
        raise RigError(f"{at} isn't read with this instrument.")
    if isinstance(using, Manometer):
        if not can_be_read(at, fault=fault):
            return NOTHING
        truth = level(rig, condition=condition, at=at, fault=fault, severity=severity)
        if condition is Condition.HAND_PUMP:
            truth += _by_hand(at, truth, rng)
        return _pressure_shown(rig, truth, using, rng, in_pascals=fault is Fault.UNIT_SLIP)
    if at is TestPoint.LEADS_TOGETHER and fault is not Fault.METER_LEAD_BROKEN:
        return shown(using.leads, resolution=using.resolution, full_scale=using.full_scale)
    position = settled(
        rig, condition=condition, rng=rng, fault=fault, severity=severity, coming_from=coming_from
    )
    ohms = _ohms(rig, contact_state(rig, at=at, position=position, fault=fault), severity, rng)
    return shown(ohms + using.leads, resolution=using.resolution, full_scale=using.full_scale)


def settled(
    rig: VenturiRig,
    *,
    condition: Condition,
    rng: np.random.Generator,
    fault: Fault | None = None,
    severity: float = 0.5,
    coming_from: Position = Position.AT_REST,
) -> Position:
    """Where the switch comes to stand this time: pass it on as ``coming_from`` for the next condition."""
    truth = pressures(rig, condition=as_written(condition, fault), fault=fault, severity=severity).ports
    found = rng.normal(truth, repeat_sd(rig, pressure=truth))
    (position,) = positions(rig, lower=found, upper=found, fault=fault, coming_from=coming_from)
    return position


def shown(value: float, *, resolution: float, full_scale: float) -> str:
    """A value as a display of that resolution shows it; over-limit beyond its scale."""
    if abs(value) > full_scale:
        return OVER_LIMIT
    decimals = max(0, -math.floor(math.log10(resolution)))
    return f"{round(value / resolution) * resolution:.{decimals}f}"


def _pressure_shown(
    rig: VenturiRig, truth: float, using: Manometer, rng: np.random.Generator, *, in_pascals: bool
) -> str:
    times = HUNDRED if in_pascals else 1
    found = rng.normal(truth / times, repeat_sd(rig, pressure=truth / times))
    value = using.gain * from_si(found, unit=using.unit) + using.offset
    return shown(value * times, resolution=using.resolution * times, full_scale=using.full_scale * times)


def _by_hand(at: TestPoint, truth: float, rng: np.random.Generator) -> float:
    """What the hand at the pump adds, in Pa: it never brings it to the same pressure twice."""
    return float(rng.normal(0.0, SWITCH_SD if at in SWITCH_POINTS else BY_HAND * abs(truth)))


def _ohms(rig: VenturiRig, state: ContactState, severity: float, rng: np.random.Generator) -> float:
    if state is ContactState.OPEN:
        return math.inf
    if state is ContactState.HIGH_RESISTANCE:
        mildest, worst = DEGREES[Fault.CONTACT_HIGH_RESISTANCE]
        return float(mildest * (worst / mildest) ** severity)
    return abs(float(rng.normal(rig.contact_resistance, CONTACT_SD)))
