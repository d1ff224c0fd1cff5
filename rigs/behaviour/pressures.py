"""The air side: what stands at the taps and at the switch's ports, in Pa above the room."""

from dataclasses import dataclass

from rigs.behaviour.faults import HIGH_SIDE_LOST, LOW_SIDE_LOST, NO_AIR, Fault, degree
from rigs.behaviour.venturi import Condition, VenturiRig

STILL = frozenset({Condition.ISOLATED, Condition.FAN_OFF})


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures:
    high_tap: float
    low_tap: float
    high_port: float
    low_port: float

    @property
    def taps(self) -> float:
        return self.high_tap - self.low_tap

    @property
    def ports(self) -> float:
        return self.high_port - self.low_port


def pressures(
    rig: VenturiRig, *, condition: Condition, fault: Fault | None = None, severity: float = 0.5
) -> Pressures:
    """Pressures without noise. Losses grow with flow squared, so everything is linear in the Δp that is left.

    From no flow, where both taps stand at the fan's dead head, to full flow: taps = f·Δp and
    high tap = dead head − f·(dead head − a·Δp), with f the share of the healthy Δp.
    """
    high, low = _at_taps(rig, condition, fault, severity)
    high_end, low_end = _through_tubes(high, low, fault, severity)
    if (condition is Condition.TUBES_CROSSED) != (fault is Fault.TUBES_CROSSED):
        high_end, low_end = low_end, high_end
    if fault is Fault.DIAPHRAGM_RUPTURED:
        # Air goes through the diaphragm, so the ports draw together about their middle.
        middle, half = (high_end + low_end) / 2, degree(fault, severity=severity) * (high_end - low_end) / 2
        high_end, low_end = middle + half, middle - half
    return Pressures(high_tap=high, low_tap=low, high_port=high_end, low_port=low_end)


def _at_taps(
    rig: VenturiRig, condition: Condition, fault: Fault | None, severity: float
) -> tuple[float, float]:
    if condition in STILL or fault in NO_AIR:
        return 0.0, 0.0
    flowing = 1.0
    if condition is Condition.OUTLET_BLOCKED or fault is Fault.OUTLET_BLOCKED:
        flowing = 0.0
    elif fault is Fault.OUTLET_PARTLY_BLOCKED:
        flowing = degree(fault, severity=severity)
    scale = degree(fault, severity=severity) if fault is Fault.THROAT_DEPOSIT and flowing else 1.0
    if fault is Fault.FAN_SLOW:
        scale = rig.slow_speed**2
    high = rig.no_flow - flowing * (rig.no_flow - rig.h_share * rig.running)
    return scale * high, scale * (high - flowing * rig.running)


def _through_tubes(high: float, low: float, fault: Fault | None, severity: float) -> tuple[float, float]:
    if fault in HIGH_SIDE_LOST:
        return 0.0, low
    if fault in LOW_SIDE_LOST:
        return high, 0.0
    if fault is Fault.H_TUBE_HOLED:
        return high * (1.0 - degree(fault, severity=severity)), low
    if fault is Fault.L_TUBE_HOLED:
        return high, low * (1.0 - degree(fault, severity=severity))
    return high, low
