"""Control charts of a rig's checks against its baseline. Any one unit; positions count from 0.

The EWMA chart alone raises an alarm. The others annotate: all of them together would cry wolf.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri, stdtrit

from rigs.metrology.samples import Column, SampleError, finite, positive, probability, sample

# Mean range of two readings, in standard deviations, and the limit of a range, in mean ranges: rounded as the
# tables print them (ISO 7870-2; ASTM E2587), so that limits agree with a hand-made chart.
D2 = 1.128
D4 = 3.267
# In control, an alarm once in about 500 checks (Lucas & Saccucci, Technometrics 32 (1990) 1–12).
EWMA_WEIGHT = 0.2
EWMA_WIDTH = 2.962


@dataclass(frozen=True, slots=True, kw_only=True)
class Individuals:
    """A chart of single values (or check means) with that of their moving ranges."""

    centre: float
    sigma: float
    lower: float
    upper: float
    moving_ranges: tuple[float, ...]
    mean_range: float
    range_upper: float
    beyond: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ewma:
    """The weighted averages, each with its own limits, and the positions of those beyond them."""

    points: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    signals: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """The tabular sums above and below, the plain sum of deviations, and the positions of signals."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    plain: tuple[float, ...]
    signals: tuple[int, ...]


class RunRules(StrEnum):
    """Which edition of the run rules: they differ, as in how many on one side make a run (8 or 9)."""

    WESTERN_ELECTRIC_1956 = "western-electric-1956"
    NELSON_1984 = "nelson-1984"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRule:
    """One rule: ``holds`` says of windows of ``span`` values (rows, in σ from the centre) which break it."""

    edition: RunRules
    number: int
    words: str
    span: int
    holds: Callable[[Column], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleHit:
    """A rule first broken at a position: the last of its run."""

    rule: RunRule
    index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """A check's scatter against the pooled one: variance ratio, and the ratio that is too much."""

    ratio: float
    critical: float

    @property
    def in_control(self) -> bool:
        return self.ratio <= self.critical


def individuals(
    values: Sequence[float], *, centre: float | None = None, sigma: float | None = None
) -> Individuals:
    """Return limits centre ± 3σ, and D4·R̄ for the ranges (NIST/SEMATECH e-Handbook 6.3.2.2).

    Give the baseline's ``centre`` and ``sigma`` to judge checks by the baseline. Left out, they are the
    values' own mean and R̄/1.128. Raises SampleError for no spread.
    """
    column = sample(values, of="values on the chart", at_least=2)
    ranges = np.abs(np.diff(column))
    if sigma is None and not ranges.any():
        raise SampleError(
            "All values are the same, so the chart has no width. Give sigma: at least resolution/√12."
        )
    middle = float(column.mean()) if centre is None else finite(centre, of="centre")
    spread = float(ranges.mean()) / D2 if sigma is None else positive(sigma, of="sigma")
    lower, upper = middle - 3 * spread, middle + 3 * spread
    return Individuals(
        centre=middle,
        sigma=spread,
        lower=lower,
        upper=upper,
        moving_ranges=tuple(ranges.tolist()),
        mean_range=float(ranges.mean()),
        range_upper=D4 * D2 * spread,
        beyond=_positions((column < lower) | (column > upper)),
    )


def ewma(
    values: Sequence[float],
    *,
    centre: float,
    sigma: float,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
    centre_u: float = 0.0,
) -> Ewma:
    """Return z_i = λ x_i + (1 − λ) z_{i−1} from z_0 = centre, with its exact limits.

    centre ± L σ √(λ/(2 − λ) · (1 − (1 − λ)^{2i})). ``sigma`` is that of one value, the spread between
    sessions included (NIST/SEMATECH e-Handbook 6.3.2.4; λ is ``weight``, L is ``width``). Where the centre
    itself is known to ``centre_u`` only, its variance is added under the root: without, a chart around a mean
    that is a little off would sooner or later alarm for that alone.
    """
    column = sample(values, of="values on the chart")
    middle = finite(centre, of="centre")
    half = np.hypot(
        ewma_half_widths(len(column), weight=weight, width=width) * positive(sigma, of="sigma"),
        width * positive(centre_u, of="centre's uncertainty", or_zero=True),
    )
    points = np.empty_like(column)
    running = middle
    for index, value in enumerate(column):
        running = weight * value + (1 - weight) * running
        points[index] = running
    return Ewma(
        points=tuple(points.tolist()),
        lower=tuple((middle - half).tolist()),
        upper=tuple((middle + half).tolist()),
        signals=_positions(np.abs(points - middle) > half),
    )


def ewma_half_widths(count: int, *, weight: float, width: float) -> Column:
    """Return the half-widths of the first ``count`` limits, in σ."""
    if not 0.0 < weight <= 1.0:
        raise SampleError(f"An EWMA weight of {weight:g}. Give a number above 0 and not above 1.")
    positive(width, of="width of the limits")
    places = np.arange(1, count + 1)
    return np.asarray(width * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2.0 * places))))


def cusum(values: Sequence[float], *, target: float, allowance: float, decision: float) -> Cusum:
    """Return the tabular CUSUM (NIST/SEMATECH e-Handbook 6.3.2.3), all in the values' own unit.

    S⁺_i = max(0, S⁺_{i−1} + x_i − target − k), S⁻ alike below; a signal where either is over h. k is
    ``allowance`` (half the shift to be found), h is ``decision`` (4 to 5 σ as a rule).
    """
    deviations = sample(values, of="values on the chart") - finite(target, of="target")
    positive(allowance, of="allowance", or_zero=True)
    positive(decision, of="decision interval")
    high = _one_sided(deviations, allowance)
    low = _one_sided(-deviations, allowance)
    return Cusum(
        high=tuple(high.tolist()),
        low=tuple(low.tolist()),
        plain=tuple(np.cumsum(deviations).tolist()),
        signals=_positions((high > decision) | (low > decision)),
    )


def broken_rules(
    values: Sequence[float], *, centre: float, sigma: float, edition: RunRules
) -> tuple[RuleHit, ...]:
    """Return where each rule of ``edition`` is first broken, a run once, in order of position."""
    column = (sample(values, of="values on the chart") - finite(centre, of="centre")) / positive(
        sigma, of="sigma"
    )
    hits = []
    for rule in RULES[edition]:
        # What was before the first value is unknown, and an unknown breaks no rule.
        padded = np.concatenate([np.full(rule.span - 1, np.nan), column])
        broken = rule.holds(np.lib.stride_tricks.sliding_window_view(padded, rule.span))
        if rule.span > 1:
            broken[1:] &= ~broken[:-1].copy()
        hits += [RuleHit(rule=rule, index=index) for index in _positions(broken)]
    return tuple(sorted(hits, key=lambda hit: (hit.index, hit.rule.number)))


def check_limits(*, mean: float, sd: float, dof: int, alpha: float = 0.05) -> tuple[float, float]:
    """Return mean ± t(1 − α/2, ν)·s, between which a check standard lies (NIST/SEMATECH e-Handbook 2.1.2)."""
    half = float(stdtrit(dof, 1 - probability(alpha, of="significance level") / 2)) * positive(sd, of="sd")
    return finite(mean, of="mean") - half, mean + half


def precision(*, sd: float, n: int, pooled_sd: float, pooled_dof: int, alpha: float = 0.05) -> Precision:
    """Return the F test of ``n`` repeats' scatter against the pooled one (NIST/SEMATECH e-Handbook 2.3.5)."""
    if n < 2:
        raise SampleError("One reading shows no scatter. Take at least 2.")
    ratio = (positive(sd, of="sd", or_zero=True) / positive(pooled_sd, of="pooled sd")) ** 2
    critical = float(fdtri(n - 1, pooled_dof, 1 - probability(alpha, of="significance level")))
    return Precision(ratio=ratio, critical=critical)


def _one_sided(deviations: Column, allowance: float) -> Column:
    sums = np.empty_like(deviations)
    running = 0.0
    for index, deviation in enumerate(deviations):
        running = max(0.0, running + deviation - allowance)
        sums[index] = running
    return sums


def _positions(mask: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(place) for place in np.flatnonzero(mask))


def _beyond(limit: float, *, least: int) -> Callable[[Column], NDArray[np.bool_]]:
    """At least ``least`` of the window further than ``limit`` σ out, all on one side."""

    def holds(windows: Column) -> NDArray[np.bool_]:
        above = np.count_nonzero(windows > limit, axis=-1)
        below = np.count_nonzero(windows < -limit, axis=-1)
        return np.asarray(np.maximum(above, below) >= least)

    return holds


def _steady_climb(windows: Column) -> NDArray[np.bool_]:
    steps = np.diff(windows, axis=-1)
    return np.asarray((steps > 0).all(axis=-1) | (steps < 0).all(axis=-1))


def _zigzag(windows: Column) -> NDArray[np.bool_]:
    steps = np.diff(windows, axis=-1)
    return np.asarray((steps[..., 1:] * steps[..., :-1] < 0).all(axis=-1))


def _hugging(windows: Column) -> NDArray[np.bool_]:
    return np.asarray((np.abs(windows) < 1).all(axis=-1))


def _avoiding(windows: Column) -> NDArray[np.bool_]:
    return np.asarray((np.abs(windows) > 1).all(axis=-1))


def _rules(
    edition: RunRules, *rows: tuple[str, int, Callable[[Column], NDArray[np.bool_]]]
) -> tuple[RunRule, ...]:
    return tuple(
        RunRule(edition=edition, number=number, words=words, span=span, holds=holds)
        for number, (words, span, holds) in enumerate(rows, start=1)
    )


# Both from memory. Western Electric, Statistical Quality Control Handbook (1956); Nelson, Journal of Quality
# Technology 16 (1984) 237–239. Nelson's six in a row are six values, so five steps.
RULES = {
    RunRules.WESTERN_ELECTRIC_1956: _rules(
        RunRules.WESTERN_ELECTRIC_1956,
        ("1 beyond 3σ", 1, _beyond(3, least=1)),
        ("2 of 3 beyond 2σ on one side", 3, _beyond(2, least=2)),
        ("4 of 5 beyond 1σ on one side", 5, _beyond(1, least=4)),
        ("8 in a row on one side", 8, _beyond(0, least=8)),
    ),
    RunRules.NELSON_1984: _rules(
        RunRules.NELSON_1984,
        ("1 beyond 3σ", 1, _beyond(3, least=1)),
        ("9 in a row on one side", 9, _beyond(0, least=9)),
        ("6 in a row rising, or falling", 6, _steady_climb),
        ("14 in a row going up and down by turns", 14, _zigzag),
        ("2 of 3 beyond 2σ on one side", 3, _beyond(2, least=2)),
        ("4 of 5 beyond 1σ on one side", 5, _beyond(1, least=4)),
        ("15 in a row within 1σ", 15, _hugging),
        ("8 in a row beyond 1σ, on either side", 8, _avoiding),
    ),
}
