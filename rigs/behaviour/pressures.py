"""The air side: what stands at the taps and at the switch's ports, in Pa above the room."""

from dataclasses import dataclass
from typing import Generic

from rigs.behaviour.faults import CROSSED, HIGH_SIDE_LOST, LOW_SIDE_LOST, NO_AIR, Fault, degree
from rigs.behaviour.venturi import PUMPED, Condition, Figures, Number

STILL = frozenset({Condition.ISOLATED, Condition.FAN_OFF, Condition.HAND_PUMP})


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures(Generic[Number]):
    high_tap: Number
    low_tap: Number
    high_port: Number
    low_port: Number

    @property
    def taps(self) -> Number:
        return self.high_tap - self.low_tap

    @property
    def ports(self) -> Number:
        return self.high_port - self.low_port


def pressures(
    rig: Figures[Number], *, condition: Condition, fault: Fault | None = None, severity: Number | float = 0.5
) -> Pressures[Number]:
    """Pressures without noise. Losses grow with flow squared, so everything is linear in the Δp that is left.

    From no flow, where both taps stand at the fan's dead head, to full flow: taps = f·Δp and
    high tap = dead head − f·(dead head − a·Δp), with f the share of the healthy Δp. Figures and severity may
    be columns of one shape. A hand pump stands at the high port, held for ten seconds: a ruptured diaphragm
    holds nothing (common practice, no source).
    """
    how_bad = 0.0 * rig.running + severity
    high, low = _at_taps(rig, condition, fault, how_bad)
    if condition is Condition.HAND_PUMP:
        held = 0.0 if fault is Fault.DIAPHRAGM_RUPTURED else PUMPED
        return Pressures(high_tap=high, low_tap=low, high_port=held * rig.make, low_port=low)
    high_end, low_end = _through_tubes(high, low, fault, how_bad)
    if (condition is Condition.TUBES_CROSSED) != (fault in CROSSED):
        high_end, low_end = low_end, high_end
    if fault is Fault.DIAPHRAGM_RUPTURED:
        # Air goes through the diaphragm, so the ports draw together about their middle.
        middle, half = (high_end + low_end) / 2, degree(fault, severity=how_bad) * (high_end - low_end) / 2
        high_end, low_end = middle + half, middle - half
    return Pressures(high_tap=high, low_tap=low, high_port=high_end, low_port=low_end)


def _at_taps(
    rig: Figures[Number], condition: Condition, fault: Fault | None, severity: Number
) -> tuple[Number, Number]:
    room = 0.0 * rig.running
    if condition in STILL or fault in NO_AIR:
        return room, room
    full = room + 1.0
    flowing, scale = full, full
    if condition is Condition.OUTLET_BLOCKED or fault is Fault.OUTLET_BLOCKED:
        flowing = room
    elif fault is Fault.OUTLET_PARTLY_BLOCKED:
        flowing = degree(fault, severity=severity)
    elif fault is Fault.THROAT_DEPOSIT:
        scale = degree(fault, severity=severity)
    if fault is Fault.FAN_SLOW:
        scale = rig.slow_speed**2
    high = rig.no_flow - flowing * (rig.no_flow - rig.h_share * rig.running)
    return scale * high, scale * (high - flowing * rig.running)


def _through_tubes(high: Number, low: Number, fault: Fault | None, severity: Number) -> tuple[Number, Number]:
    if fault in HIGH_SIDE_LOST:
        return 0.0 * high, low
    if fault in LOW_SIDE_LOST:
        return high, 0.0 * low
    if fault is Fault.H_TUBE_HOLED:
        return high * (1.0 - degree(fault, severity=severity)), low
    if fault is Fault.L_TUBE_HOLED:
        return high, low * (1.0 - degree(fault, severity=severity))
    return high, low
