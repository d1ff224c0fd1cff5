"""A rig's figures and how well they are known: from its measurands, from common practice, or by chance."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from rigs.behaviour.prediction import SWITCH_SD
from rigs.behaviour.venturi import DEAD_HEAD, Column, ManyRigs, RigError, VenturiRig

# What a rig is taken to be like where it has no figure of its own, and how far off that may be
# (standard uncertainty as a share of the figure; common practice, no source).
USUAL_H_SHARE, USUAL_H_SHARE_U = 0.44, 0.08
USUAL_MAKE, USUAL_MAKE_U = 0.58, 0.06  # of the running Δp
USUAL_BREAK, USUAL_BREAK_U = 0.76, 0.05  # of the make point
USUAL_DEAD_HEAD_U = 0.1
USUAL_SLOW_SPEED, USUAL_SLOW_SPEED_U = 0.7, 0.03
USUAL_REPEAT_SD = 0.012  # of the running Δp
USUAL_REST_SD = 0.3  # Pa

TAPS, PORTS = "taps/fan-running", "ports/fan-running"
HIGH_TAP, DEAD = "high-tap/fan-running", "high-tap/outlet-blocked"
MAKE, BREAK = "make-point/hand-pump", "break-point/hand-pump"
AT_REST = "ports/fan-off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """What a measurand reads today, in Pa; ``u`` is its standard uncertainty, without a reading's noise."""

    value: float
    u: float
    repeat_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RigModel:
    """A rig's figures and the standard uncertainty of each, in its unit: Pa, or a share.

    A session that has its own effect is in ``u_running``, or in the rig's ``session_sd``, not in both.
    ``assumed`` names in words what is taken from common practice.
    """

    rig: VenturiRig
    u_running: float = 0.0
    u_h_share: float = 0.0
    u_make: float = 0.0
    u_break: float = 0.0
    u_dead_head: float = 0.0
    u_slow_speed: float = 0.0
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        spreads = (
            self.u_running, self.u_h_share, self.u_make, self.u_break, self.u_dead_head, self.u_slow_speed
        )  # fmt: skip
        if not all(math.isfinite(each) and each >= 0 for each in spreads):
            raise RigError("A figure's uncertainty must be a number, and not below zero.")


def rig_from(values: Mapping[str, Figure], *, terminals: int) -> RigModel:
    """The rig that its measurands' present values describe; their keys are “test-point/condition”.

    The high side's share is its single tap ÷ Δp at the taps, the uncertainties taken as independent. What is
    missing is taken from common practice; measurands that tell nothing are passed over. Raises RigError
    without a running Δp, for a figure that isn't a number, and for figures that no rig can have.
    """
    _require_numbers(values)
    running = values.get(TAPS) or values.get(PORTS)
    if running is None:
        raise RigError("Without the running Δp at the taps or the ports, nothing can be said about this rig.")
    if running.value <= 0:
        raise RigError("The running Δp must be above zero.")
    assumed: list[str] = []
    share = _share(values.get(HIGH_TAP), running, assumed)
    make = _or_usual(values.get(MAKE), USUAL_MAKE * running.value, USUAL_MAKE_U, assumed, "make point")
    break_ = _or_usual(values.get(BREAK), USUAL_BREAK * make.value, USUAL_BREAK_U, assumed, "break point")
    dead = _or_usual(
        values.get(DEAD), DEAD_HEAD * running.value, USUAL_DEAD_HEAD_U, assumed, "fan's pressure at no flow"
    )
    at_rest = values.get(AT_REST)
    rig = VenturiRig(
        running=running.value,
        h_share=share.value,
        make=make.value,
        break_=break_.value,
        terminals=terminals,
        dead_head=dead.value,
        slow_speed=USUAL_SLOW_SPEED,
        repeat_sd=running.repeat_sd or USUAL_REPEAT_SD * running.value,
        rest_sd=max(USUAL_REST_SD, at_rest.repeat_sd if at_rest else 0.0),
    )
    return RigModel(
        rig=rig,
        u_running=running.u,
        u_h_share=share.u,
        u_make=make.u,
        u_break=break_.u,
        u_dead_head=dead.u,
        u_slow_speed=USUAL_SLOW_SPEED_U * USUAL_SLOW_SPEED,
        assumed=(*assumed, "speed of a slow fan"),
    )


def drawn(rng: np.random.Generator, *, terminals: int) -> VenturiRig:
    """Figures of a rig that is none on any bench, such as one could be (common practice, no source)."""
    running = rng.uniform(140.0, 200.0)
    make = running / rng.uniform(1.55, 1.85)
    return VenturiRig(
        running=running,
        h_share=rng.uniform(0.38, 0.48),
        make=make,
        break_=make * rng.uniform(0.7, 0.82),
        terminals=terminals,
        contact_resistance=rng.uniform(0.1, 0.3),
        dead_head=running * DEAD_HEAD * rng.uniform(0.9, 1.1),
        slow_speed=rng.uniform(0.67, 0.73),
        repeat_sd=running * rng.uniform(0.009, 0.014),
        session_sd=running * 0.012,
        rest_sd=USUAL_REST_SD,
    )


def characterised(rig: VenturiRig, *, rng: np.random.Generator, repeats: int = 10) -> RigModel:
    """What a baseline of as many repeats would say of a rig: its figures, each off by as much as is stated.

    Every figure is the mean of its repeats, u = s/√n with the true s, from one session whose effect is common
    to all. RigError for no repeats.
    """
    if repeats < 1:
        raise RigError("A baseline has at least one repeat.")
    known = RigModel(
        rig=replace(rig, session_sd=0.0),
        u_running=math.hypot(rig.session_sd, rig.repeat_sd / math.sqrt(repeats)),
        u_h_share=rig.h_share * rig.repeat_sd / rig.running * math.sqrt(2 / repeats),
        u_make=SWITCH_SD / math.sqrt(repeats),
        u_break=SWITCH_SD / math.sqrt(repeats),
        u_dead_head=rig.no_flow * rig.repeat_sd / rig.running / math.sqrt(repeats),
        u_slow_speed=USUAL_SLOW_SPEED_U * rig.slow_speed,
    )
    one = many_of(known, rng=rng, size=1)
    off = replace(
        known.rig,
        running=float(one.running[0]),
        h_share=float(one.h_share[0]),
        make=float(one.make[0]),
        break_=float(one.break_[0]),
        dead_head=float(one.no_flow[0]),
        slow_speed=float(one.slow_speed[0]),
    )
    return replace(known, rig=off)


def many_of(known: RigModel, *, rng: np.random.Generator, size: int) -> ManyRigs:
    """Rigs that a model's figures may belong to: each figure normal, the session's effect in the running Δp.

    What no rig can be is brought to the nearest that one can.
    """
    rig = known.rig
    u_running = math.hypot(known.u_running, rig.session_sd)

    def around(value: float, u: float) -> Column:
        return np.asarray(rng.normal(value, u, size))

    running = np.maximum(around(rig.running, u_running), 0.05 * rig.running)
    h_share = np.clip(around(rig.h_share, known.u_h_share), 0.02, 0.98)
    make = np.maximum(around(rig.make, known.u_make), 0.05 * rig.make)
    # The fan's dead head goes with its speed and the air's density, as the running Δp does.
    no_flow = around(rig.no_flow, known.u_dead_head) * running / rig.running
    return ManyRigs(
        running=running,
        h_share=h_share,
        make=make,
        break_=np.clip(around(rig.break_, known.u_break), 0.05 * make, 0.98 * make),
        no_flow=np.maximum(no_flow, running * h_share),
        slow_speed=np.clip(around(rig.slow_speed, known.u_slow_speed), 0.05, 1.0),
    )


def _require_numbers(values: Mapping[str, Figure]) -> None:
    for key, figure in values.items():
        if not (math.isfinite(figure.value) and math.isfinite(figure.u) and figure.u >= 0):
            raise RigError(
                f"{key} needs a value and an uncertainty that are numbers, the latter not below zero."
            )


def _share(high_tap: Figure | None, running: Figure, assumed: list[str]) -> Figure:
    if high_tap is None or high_tap.value <= 0:
        return _or_usual(None, USUAL_H_SHARE, USUAL_H_SHARE_U, assumed, "high side's share of the Δp")
    share = high_tap.value / running.value
    return Figure(value=share, u=share * math.hypot(high_tap.u / high_tap.value, running.u / running.value))


def _or_usual(known: Figure | None, usual: float, u_as_share: float, assumed: list[str], name: str) -> Figure:
    if known is not None:
        return known
    assumed.append(name)
    return Figure(value=usual, u=usual * u_as_share)
