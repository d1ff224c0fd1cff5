"""What an instrument's figure is worth: its ranges and specification, its certificate, its suitability.

A range is kept in its own unit, because a specification is: 0.5 % of reading, of full scale, so many digits.
Results are in SI unless the name says otherwise.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.quantities import Quantity, from_si, si_factor, unit_quantity, width_to_si
from rigs.metrology.uncertainty import Budget, Component, last_place, rounded

TOLERANCE_SHARE: Final = 4
"""An instrument is suitable if its expanded uncertainty is at most a quarter of the tolerance."""


class InstrumentError(ValueError):
    """A specification or certificate that cannot be right. The message says which figure, and why."""


class NoRange(InstrumentError):
    """No range of this instrument reaches the value."""


@dataclass(frozen=True, kw_only=True)
class RangeSpec:
    """Accuracy ±(`percent_reading` % of reading + `percent_full_scale` % of full scale + `counts` digits).

    `full_scale`, `resolution` and `continuity_threshold` are in `unit`. A continuity range sounds at or under
    its threshold.
    """

    quantity: Quantity
    unit: str
    full_scale: float
    resolution: float
    percent_reading: float = 0.0
    percent_full_scale: float = 0.0
    counts: float = 0.0
    continuity_threshold: float | None = None

    def __post_init__(self) -> None:
        if unit_quantity(self.unit) is not self.quantity:
            raise InstrumentError(f"{self.unit} doesn't measure {self.quantity.words}.")
        _require(self.full_scale, above_zero=True, name="The full scale")
        _require(self.resolution, above_zero=True, name="The resolution")
        for name, figure in (
            ("The % of reading", self.percent_reading),
            ("The % of full scale", self.percent_full_scale),
            ("The number of digits", self.counts),
            ("The continuity threshold", self.continuity_threshold or 0.0),
        ):
            _require(figure, above_zero=False, name=name)
        if self.resolution > self.full_scale:
            raise InstrumentError("The resolution is wider than the full scale.")

    @cached_property
    def full_scale_si(self) -> float:
        return width_to_si(self.full_scale, unit=self.unit)

    @cached_property
    def resolution_si(self) -> float:
        return width_to_si(self.resolution, unit=self.unit)

    @cached_property
    def terms_si(self) -> tuple[float, float, float, float, float]:
        """% of reading, % of full scale, full scale, digits and resolution: what makes a half-width in SI."""
        return (
            self.percent_reading,
            self.percent_full_scale,
            self.full_scale_si,
            self.counts,
            self.resolution_si,
        )

    def decimals_in(self, unit: str) -> int:
        """How many decimals the display can show, once converted to another unit."""
        return _decimals(resolution=self.resolution, own=self.unit, unit=unit)

    def covers(self, *, value_si: float) -> bool:
        return abs(from_si(value_si, unit=self.unit)) <= self.full_scale

    def half_width(self, *, reading_si: float) -> float:
        """Half-width a of the specification at a reading, in SI."""
        reading = from_si(reading_si, unit=self.unit)
        in_own_unit = (
            self.percent_reading * abs(reading) / 100
            + self.percent_full_scale * self.full_scale / 100
            + self.counts * self.resolution
        )
        return width_to_si(in_own_unit, unit=self.unit)

    def budget(self, *, reading_si: float, certificate_u: float = 0.0) -> Budget:
        """Line by line, in SI. `certificate_u` is U/k of the correction, where one is applied."""
        components = [
            Component(name="accuracy", half_width=self.half_width(reading_si=reading_si)),
            Component.display(name="display", resolution=self.resolution_si),
        ]
        if certificate_u:
            components.append(Component.standard(name="certificate", u=certificate_u))
        return Budget(components=tuple(components))

    def standard_uncertainty(self, *, reading_si: float, certificate_u: float = 0.0) -> float:
        return self.budget(reading_si=reading_si, certificate_u=certificate_u).combined


@cache
def _decimals(*, resolution: float, own: str, unit: str) -> int:
    if unit == own:
        step = last_place(Decimal(str(resolution)).normalize())
    else:
        in_unit = width_to_si(resolution, unit=own) / si_factor(unit)
        step = rounded(value=in_unit, last=Decimal("1e-12"))
    return max(0, -step.adjusted())


@dataclass(frozen=True, kw_only=True)
class Spec:
    """All the ranges of one instrument, of whatever quantities it measures."""

    ranges: tuple[RangeSpec, ...]

    @cached_property
    def finest_first(self) -> tuple[RangeSpec, ...]:
        return tuple(sorted(self.ranges, key=lambda each: (each.full_scale_si, each.resolution_si)))

    def range_for(self, *, quantity: Quantity, value_si: float) -> RangeSpec:
        """The finest range that reaches a value. Raises NoRange."""
        for candidate in self.finest_first:
            if candidate.quantity is quantity and candidate.covers(value_si=value_si):
                return candidate
        raise NoRange(f"This instrument has no range for {quantity.words} that reaches the value.")


def spec_uncertainty(
    *,
    reading: ArrayLike,
    percent_reading: ArrayLike = 0.0,
    percent_full_scale: ArrayLike = 0.0,
    full_scale: ArrayLike = 0.0,
    counts: ArrayLike = 0.0,
    resolution: ArrayLike = 0.0,
    certificate_u: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Standard uncertainty of columns of readings, in whatever one unit the columns are in.

    u² = a²/3 + r²/12 + u_cal², with a = p|y|/100 + qF/100 + d·r (GUM 4.3.7, F.2.2.1): its ν is infinite.
    """
    display = np.asarray(resolution, dtype=np.float64)
    half_width = (
        np.asarray(percent_reading, dtype=np.float64) * np.abs(np.asarray(reading, dtype=np.float64)) / 100
        + np.asarray(percent_full_scale, dtype=np.float64) * np.asarray(full_scale, dtype=np.float64) / 100
        + np.asarray(counts, dtype=np.float64) * display
    )
    certificate = np.asarray(certificate_u, dtype=np.float64)
    return np.asarray(np.sqrt(half_width**2 / 3 + display**2 / 12 + certificate**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Suitability:
    """Whether an instrument can judge a test point.

    `reason` may be shown to a candidate: it has no number, and is the same whatever stands in the way.
    `working` is for staff. `ratio` is tolerance / U.
    """

    suitable: bool
    expanded_u: float
    ratio: float
    reason: str
    working: str


def suitable(
    spec: Spec, *, quantity: Quantity, value_si: float, tolerance_si: float, certificate_u: float = 0.0
) -> Suitability:
    """Suitable if U ≤ tolerance / 4 at the rig's own value, on the finest range that reaches it."""
    _require(tolerance_si, above_zero=False, name="The tolerance")
    try:
        chosen = spec.range_for(quantity=quantity, value_si=value_si)
    except NoRange as error:
        return _unsuitable(expanded_u=math.inf, ratio=0.0, working=str(error))
    if tolerance_si == 0:
        return _unsuitable(
            expanded_u=math.inf,
            ratio=0.0,
            working="The tolerance at this test point is zero. Give it one in the unit of the reading.",
        )
    expanded = chosen.budget(reading_si=value_si, certificate_u=certificate_u).expanded()
    ratio = tolerance_si / expanded
    if ratio < TOLERANCE_SHARE:
        return _unsuitable(expanded_u=expanded, ratio=ratio, working=_ratio_in_words(ratio))
    return Suitability(
        suitable=True,
        expanded_u=expanded,
        ratio=ratio,
        reason="This instrument is suitable for this test point.",
        working=_ratio_in_words(ratio),
    )


def _ratio_in_words(ratio: float) -> str:
    # Cut, not rounded: 3.98 times is not four times.
    shown = math.floor(ratio * 10) / 10
    return f"The tolerance is {shown:g} times the instrument's uncertainty; {TOLERANCE_SHARE} are needed."


def _unsuitable(*, expanded_u: float, ratio: float, working: str) -> Suitability:
    return Suitability(
        suitable=False,
        expanded_u=expanded_u,
        ratio=ratio,
        reason="This instrument is not suitable for this test point. Choose another.",
        working=working,
    )


def _require(figure: float, *, above_zero: bool, name: str) -> None:
    if not math.isfinite(figure) or figure < 0 or (above_zero and figure == 0):
        least = "above 0" if above_zero else "0 or more"
        raise InstrumentError(f"{name} must be a number, {least}.")
