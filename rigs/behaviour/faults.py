"""Faults of a venturi rig, of the instruments at it, and slips in writing down what they show."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from rigs.behaviour.venturi import VenturiRig


class Fault(StrEnum):
    """Each is one fault by itself. A rig design's faults have the same names."""

    OUTLET_BLOCKED = "outlet-blocked"
    INLET_BLOCKED = "inlet-blocked"
    OUTLET_PARTLY_BLOCKED = "outlet-partly-blocked"
    THROAT_DEPOSIT = "throat-deposit"
    H_TAPPING_BLOCKED = "h-tapping-blocked"
    L_TAPPING_BLOCKED = "l-tapping-blocked"
    H_TUBE_OFF = "h-tube-off"
    L_TUBE_OFF = "l-tube-off"
    TUBES_CROSSED = "tubes-crossed"
    H_TUBE_KINKED = "h-tube-kinked"
    L_TUBE_KINKED = "l-tube-kinked"
    H_TUBE_HOLED = "h-tube-holed"
    L_TUBE_HOLED = "l-tube-holed"
    DIAPHRAGM_RUPTURED = "diaphragm-ruptured"
    STUCK_AT_REST = "stuck-at-rest"
    CONTACT_WELDED = "contact-welded"
    CONTACT_OPEN = "contact-open"
    CONTACT_HIGH_RESISTANCE = "contact-high-resistance"
    NC_CONTACT_OPEN = "nc-contact-open"
    NC_AND_NO_EXCHANGED = "nc-and-no-exchanged"
    FAN_NOT_RUNNING = "fan-not-running"
    FAN_SLOW = "fan-slow"

    MANOMETER_NOT_ZEROED = "manometer-not-zeroed"
    MANOMETER_REVERSED = "manometer-reversed"
    METER_LEAD_BROKEN = "meter-lead-broken"
    WRONG_TERMINALS = "wrong-terminals"

    SIGN_SLIP = "sign-slip"
    UNIT_SLIP = "unit-slip"
    WRONG_LINE = "wrong-line"


# Mildest and worst, for faults that come in degrees (common practice, no source).
DEGREES: Mapping[Fault, tuple[float, float]] = MappingProxyType(
    {
        Fault.OUTLET_PARTLY_BLOCKED: (0.7, 0.3),  # what is left of the Δp
        Fault.THROAT_DEPOSIT: (1.05, 1.3),  # a narrower throat raises it
        Fault.H_TUBE_HOLED: (0.0, 1.0),  # what is lost of the pressure in the tube
        Fault.L_TUBE_HOLED: (0.0, 1.0),
        Fault.DIAPHRAGM_RUPTURED: (1.0, 0.8),  # what is left between the ports
        Fault.MANOMETER_NOT_ZEROED: (5.0, 20.0),  # Pa
        Fault.CONTACT_HIGH_RESISTANCE: (2.0, 200.0),  # Ω
    }
)

# The pressure of that side doesn't reach the switch, whose port stands at the room's. Faults are set with the
# fan stopped, so that a shut tube holds the room's pressure too.
HIGH_SIDE_LOST = frozenset({Fault.H_TAPPING_BLOCKED, Fault.H_TUBE_OFF, Fault.H_TUBE_KINKED})
LOW_SIDE_LOST = frozenset({Fault.L_TAPPING_BLOCKED, Fault.L_TUBE_OFF, Fault.L_TUBE_KINKED})
NO_AIR = frozenset({Fault.FAN_NOT_RUNNING, Fault.INLET_BLOCKED})
STAYS_AT_REST = frozenset({Fault.DIAPHRAGM_RUPTURED, Fault.STUCK_AT_REST})


def faults_of(rig: VenturiRig) -> tuple[Fault, ...]:
    """The faults that this rig can have: without a normally closed contact, none of that contact."""
    return tuple(fault for fault in Fault if rig.terminals == 3 or fault is not Fault.NC_CONTACT_OPEN)


def degree(fault: Fault, *, severity: float) -> float:
    """The figure of a fault that comes in degrees: ``severity`` 0 is the mildest, 1 the worst."""
    mildest, worst = DEGREES[fault]
    return mildest + (worst - mildest) * severity
