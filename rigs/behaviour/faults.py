"""Faults of a venturi rig, of the instruments at it, and slips in writing down what they show."""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from types import MappingProxyType

from rigs.behaviour.venturi import Number, VenturiRig


class Fault(StrEnum):
    """Each is one fault by itself, but for the two that hide one another: crossed tubes read backwards.

    A rig design's faults have the same names. A contact that is bridged out is as one that is welded.
    """

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
    TUBES_CROSSED_MANOMETER_REVERSED = "tubes-crossed-manometer-reversed"
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

# The pressure of that side doesn't reach the switch, whose port stands at the room's. A limit of the model:
# faults are taken to be set with the fan stopped, so that a shut tube holds the room's pressure too. One that
# shuts while air flows traps what it held, reads otherwise with the fan off, and drifts.
HIGH_SIDE_LOST = frozenset({Fault.H_TAPPING_BLOCKED, Fault.H_TUBE_OFF, Fault.H_TUBE_KINKED})
LOW_SIDE_LOST = frozenset({Fault.L_TAPPING_BLOCKED, Fault.L_TUBE_OFF, Fault.L_TUBE_KINKED})
NO_AIR = frozenset({Fault.FAN_NOT_RUNNING, Fault.INLET_BLOCKED})
STAYS_AT_REST = frozenset({Fault.DIAPHRAGM_RUPTURED, Fault.STUCK_AT_REST})


CROSSED = frozenset({Fault.TUBES_CROSSED, Fault.TUBES_CROSSED_MANOMETER_REVERSED})
NEVER_SEEN_TO_CHANGE = STAYS_AT_REST | {
    Fault.CONTACT_WELDED,
    Fault.CONTACT_OPEN,
    Fault.METER_LEAD_BROKEN,
    Fault.WRONG_TERMINALS,
}

INSTRUMENT_FAULTS = frozenset(
    {
        Fault.MANOMETER_NOT_ZEROED,
        Fault.MANOMETER_REVERSED,
        Fault.TUBES_CROSSED_MANOMETER_REVERSED,
        Fault.METER_LEAD_BROKEN,
        Fault.WRONG_TERMINALS,
    }
)
SLIPS = frozenset({Fault.SIGN_SLIP, Fault.UNIT_SLIP, Fault.WRONG_LINE})
REVERSED = frozenset({Fault.MANOMETER_REVERSED, Fault.TUBES_CROSSED_MANOMETER_REVERSED, Fault.SIGN_SLIP})


def faults_of(rig: VenturiRig) -> tuple[Fault, ...]:
    """The faults that this rig can have: without a normally closed contact, none of that contact."""
    return considered(design=Fault, terminals=rig.terminals)


def considered(*, design: Iterable[Fault], terminals: int) -> tuple[Fault, ...]:
    """What a diagnosis must reckon with: a design's faults, its instruments' and the pen's, each once."""
    wanted = INSTRUMENT_FAULTS | SLIPS | frozenset(design)
    return tuple(
        fault for fault in Fault if fault in wanted and (terminals == 3 or fault is not Fault.NC_CONTACT_OPEN)
    )


def degree(fault: Fault, *, severity: Number) -> Number:
    """The figure of a fault that comes in degrees: ``severity`` 0 is the mildest, 1 the worst.

    A manometer may be off zero either way: a severity below 0 says by how much it reads low.
    """
    mildest, worst = DEGREES[fault]
    if fault is Fault.MANOMETER_NOT_ZEROED:
        return mildest * (1 - 2 * (severity < 0)) + (worst - mildest) * severity
    return mildest + (worst - mildest) * severity
