"""Where a rig's checks are heading: a weighted straight line, and when it leaves the range.

A line says more than a wandering level deserves: its band holds if the drift goes on as it did.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from rigs.metrology.samples import SampleError, finite, positive, probability, sample

# Common practice, no source: a forecast from fewer checks isn't worth showing.
MINIMUM_POINTS = 5
# A slope less sure than this is no trend.
TREND_ALPHA = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    value: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """level(t) = ``level`` + ``slope`` · (t − ``centre``), t in days.

    ``centre`` is the weighted mean of the times, so that level and slope don't correlate. ``unit_sd`` is the
    standard deviation of a value of weight 1, from the residuals, with ``dof`` degrees of freedom. ``p`` is
    that of a slope at least so steep if there were none.
    """

    centre: float
    level: float
    slope: float
    level_u: float
    slope_u: float
    unit_sd: float
    dof: int
    p: float

    def level_at(self, at: float, *, confidence: float = 0.95) -> Interval:
        """Return the line's height at ``at``, with the interval of the line itself."""
        return self._interval(at, noise=0.0, confidence=confidence)

    def prediction(self, at: float, *, u: float = 1.0, confidence: float = 0.95) -> Interval:
        """Return the interval for one more value, its ``u`` on the scale of those fitted."""
        noise = self.unit_sd * positive(u, of="uncertainty of the value to come")
        return self._interval(at, noise=noise, confidence=confidence)

    def _interval(self, at: float, *, noise: float, confidence: float) -> Interval:
        ahead = finite(at, of="time") - self.centre
        value = self.level + self.slope * ahead
        half = _t(self.dof, confidence) * math.hypot(self.level_u, self.slope_u * ahead, noise)
        return Interval(value=value, lower=value - half, upper=value + half)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTrend:
    """The slope can't be told from none: ``p`` is over the limit."""

    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """The day the line crosses ``limit``, and the days between which it does.

    ``latest`` None: it may never cross. ``earliest`` None: there is no telling how long ago it may have been.
    """

    limit: float
    at: float
    earliest: float | None
    latest: float | None


def trend(at: Sequence[float], values: Sequence[float], *, u: Sequence[float] | None = None) -> Trend:
    """Fit a line by weighted least squares, each value with weight 1/u² (all alike where ``u`` is left out).

    Only the ratios of ``u`` matter: the scale comes from the residuals. Raises SampleError for fewer than
    five values, all at one time, or a ``u`` of zero.
    """
    times = sample(at, of="times", at_least=MINIMUM_POINTS)
    column = sample(values, of="values", at_least=MINIMUM_POINTS)
    spread = np.ones_like(column) if u is None else sample(u, of="uncertainties", at_least=MINIMUM_POINTS)
    if not times.size == column.size == spread.size:
        raise SampleError(
            f"{times.size} times, {column.size} values and {spread.size} uncertainties. Pair them."
        )
    if (spread <= 0).any():
        raise SampleError(
            "An uncertainty of zero or less would outweigh everything. Give each value its own."
        )
    weights = 1.0 / spread**2
    centre, level = float(np.average(times, weights=weights)), float(np.average(column, weights=weights))
    ahead = times - centre
    leverage = float(weights @ ahead**2)
    if np.ptp(times) == 0:
        raise SampleError("All values are of one moment, so no trend shows. Add values of other days.")
    slope = float(weights @ (ahead * (column - level))) / leverage
    residuals = column - level - slope * ahead
    dof = column.size - 2
    unit_sd = math.sqrt(float(weights @ residuals**2) / dof)
    slope_u = unit_sd / math.sqrt(leverage)
    return Trend(
        centre=centre,
        level=level,
        slope=slope,
        level_u=unit_sd / math.sqrt(float(weights.sum())),
        slope_u=slope_u,
        unit_sd=unit_sd,
        dof=dof,
        p=_two_sided_p(slope, slope_u, dof),
    )


def leaving(
    line: Trend, *, lower: float, upper: float, confidence: float = 0.95, alpha: float = TREND_ALPHA
) -> Leaving | NoTrend:
    """Return when ``line`` leaves ``lower`` to ``upper`` in the direction it goes, or NoTrend.

    The band is Fieller's (J. R. Stat. Soc. B 16 (1954) 175–185): all days on which the line's own interval
    holds the limit. Where the slope is less sure than ``confidence`` it has no end. A day gone by means that
    the line is past its limit already. Raises SampleError for a range of no width.
    """
    if not finite(lower, of="lower limit") < finite(upper, of="upper limit"):
        raise SampleError(
            f"A range from {lower:g} to {upper:g} has no width. Give the lower limit, then the upper."
        )
    if line.slope == 0 or line.p > probability(alpha, of="significance level"):
        return NoTrend(p=line.p)
    limit = upper if line.slope > 0 else lower
    earliest, latest = _fieller(line, limit, _t(line.dof, confidence))
    return Leaving(
        limit=limit,
        at=line.centre + (limit - line.level) / line.slope,
        earliest=None if earliest is None else line.centre + earliest,
        latest=None if latest is None else line.centre + latest,
    )


def _fieller(line: Trend, limit: float, t: float) -> tuple[float | None, float | None]:
    """Solve (level + slope τ − limit)² ≤ t² (u_level² + u_slope² τ²) for τ, the days from the centre."""
    gap = line.level - limit
    square = line.slope**2 - (t * line.slope_u) ** 2
    half = gap * line.slope
    constant = gap**2 - (t * line.level_u) ** 2
    root = math.sqrt(max(half**2 - square * constant, 0.0))
    if square > 0:
        return (-half - root) / square, (-half + root) / square
    # The slope may be none. Any day will do where the level isn't told from the limit; else the days are
    # those outside two roots, one on each side of the centre, and the crossing lies on the side of ``half``.
    if constant <= 0:
        return None, None
    pivot = -half + math.copysign(root, -half)
    near = constant / pivot
    far = pivot / square if square else -math.copysign(math.inf, near)
    return (max(near, far), None) if half < 0 else (None, min(near, far))


def _t(dof: int, confidence: float) -> float:
    return float(stdtrit(dof, (1 + probability(confidence, of="confidence")) / 2))


def _two_sided_p(slope: float, slope_u: float, dof: int) -> float:
    if slope_u == 0:
        return 0.0 if slope else 1.0
    return 2.0 * float(stdtr(dof, -abs(slope) / slope_u))
