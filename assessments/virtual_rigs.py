"""A rig that exists nowhere: its own figures, its own instruments, and what their displays show.

Everything of it is drawn once, at the start of a practice, and kept with it. No figure comes from a rig of
the centre: `resembles` looks at those only to draw again where one happened to come near.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Test, tests_of
from rigs.behaviour.parameters import drawn
from rigs.behaviour.prediction import level, spread
from rigs.behaviour.simulation import Manometer, Multimeter, simulate
from rigs.behaviour.venturi import VenturiRig
from rigs.metrology.instruments import RangeSpec, Spec
from rigs.metrology.quantities import Quantity

REPEATS: Final = 10
TOO_NEAR: Final = 0.03
"""A share: with running Δp, make and break all this close, a virtual rig would tell of a real one."""
TONE_UP_TO: Final = 40.0  # Ω, where the continuity tone starts (common practice, no source)

# Specifications of no real maker, like those of the bench's own instruments.
MANOMETER: Final = RangeSpec(
    quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_reading=0.5, counts=1
)
MULTIMETER: Final = RangeSpec(
    quantity=Quantity.RESISTANCE,
    unit="Ω",
    full_scale=600,
    resolution=0.1,
    percent_reading=0.9,
    counts=3,
    continuity_threshold=TONE_UP_TO,
)
SPECS: Final[Mapping[str, Spec]] = {
    "manometer": Spec(ranges=(MANOMETER,)),
    "multimeter": Spec(ranges=(MULTIMETER,)),
}
NAMES: Final[Mapping[str, str]] = {
    "manometer": "Virtual manometer",
    "multimeter": "Virtual multimeter",
}
REFERENCE_RESOLUTION: Final = 0.1  # Pa: the reference manometer's last digit
REFERENCE_SHARE: Final = 0.001  # of the reading, the half-width of its specification


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLevel:
    """What a baseline of ten repeats says of one level of the rig, in Pa. Fields as on a value sheet."""

    value: float
    other_u: float
    repeat_sd: float
    repeat_dof: int
    repeat_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VirtualBench:
    """A virtual rig on the day of the practice, with its instruments.

    ``levels`` has a `KnownLevel` for each pressure that can be read, by “test-point/condition”. ``severity``
    is how bad a fault is that comes in degrees.
    """

    rig: VenturiRig
    manometer: Manometer
    multimeter: Multimeter
    severity: float
    levels: Mapping[str, KnownLevel]

    def written(self) -> dict[str, Any]:
        """As plain data, to be kept."""
        return asdict(self)

    @classmethod
    def read(cls, kept: Mapping[str, Any]) -> "VirtualBench":
        return cls(
            rig=VenturiRig(**kept["rig"]),
            manometer=Manometer(**kept["manometer"]),
            multimeter=Multimeter(**kept["multimeter"]),
            severity=kept["severity"],
            levels={key: KnownLevel(**level) for key, level in kept["levels"].items()},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RealFigures:
    """What is known of a rig on the bench, in Pa; None for what its baseline doesn't say."""

    running: float | None = None
    make: float | None = None
    break_: float | None = None


def draw_bench(*, seed: int, terminals: int) -> VirtualBench:
    """A healthy rig with its instruments, each with errors of its own inside its specification."""
    rng = np.random.default_rng(seed)
    rig = drawn(rng, terminals=terminals).in_session(rng=rng)
    return VirtualBench(
        rig=rig,
        manometer=Manometer(
            unit=MANOMETER.unit,
            resolution=MANOMETER.resolution,
            full_scale=MANOMETER.full_scale,
            # Zeroed a moment ago, so that what is left is under half a digit.
            offset=float(rng.uniform(-0.5, 0.5)) * MANOMETER.resolution,
            gain=1 + float(rng.uniform(-1, 1)) * MANOMETER.percent_reading / 100,
        ),
        multimeter=Multimeter(
            resolution=MULTIMETER.resolution,
            full_scale=MULTIMETER.full_scale,
            leads=round(float(rng.uniform(0.1, 0.4)), 2),
        ),
        severity=float(rng.uniform(0.1, 0.9)),
        levels={
            test.key: _characterised(rig, test, rng)
            for test in tests_of(terminals=terminals)
            if not test.is_contact
        },
    )


def resembles(rig: VenturiRig, *, real: Iterable[RealFigures]) -> bool:
    """Whether every figure that is known of one of those rigs is within `TOO_NEAR` of this one's."""
    return any(_is_near(rig, each) for each in real)


def shows(bench: VirtualBench, *, test: Test, fault: Fault | None, seed: int, number: int) -> str:
    """What the display shows: “1.58”, “OL”, or nothing where there is nothing to read.

    The same ``number`` of the same practice shows the same again. Each condition is reached from standstill:
    between two of them the board is isolated.
    """
    using = bench.multimeter if test.is_contact else bench.manometer
    return simulate(
        bench.rig,
        condition=test.condition,
        at=test.at,
        using=using,
        rng=np.random.default_rng([abs(seed), number]),
        fault=fault,
        severity=bench.severity,
    )


def sounds(text: str) -> bool:
    """Whether a continuity range would sound at what the meter shows in Ω."""
    try:
        return float(text) <= TONE_UP_TO
    except ValueError:
        return False


def _is_near(rig: VenturiRig, real: RealFigures) -> bool:
    pairs = ((rig.running, real.running), (rig.make, real.make), (rig.break_, real.break_))
    known = [(mine, theirs) for mine, theirs in pairs if theirs is not None]
    return bool(known) and all(abs(mine - theirs) <= TOO_NEAR * abs(theirs) for mine, theirs in known)


def _characterised(rig: VenturiRig, test: Test, rng: np.random.Generator) -> KnownLevel:
    """Ten repeats of this session with a reference manometer, its uncertainty as a half-width (GUM 4.3.7)."""
    truth = level(rig, condition=test.condition, at=test.at)
    repeats = rng.normal(truth, spread(rig, truth, condition=test.condition, at=test.at), REPEATS)
    repeats = np.round(repeats / REFERENCE_RESOLUTION) * REFERENCE_RESOLUTION
    value = float(repeats.mean())
    half_width = REFERENCE_SHARE * abs(value) + 2 * REFERENCE_RESOLUTION
    return KnownLevel(
        value=value,
        other_u=math.hypot(half_width / math.sqrt(3), REFERENCE_RESOLUTION / math.sqrt(12)),
        repeat_sd=max(float(repeats.std(ddof=1)), REFERENCE_RESOLUTION / math.sqrt(12)),
        repeat_dof=REPEATS - 1,
        repeat_share=1 / REPEATS,
    )
