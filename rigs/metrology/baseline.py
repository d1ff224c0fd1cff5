"""A baseline: repeated readings by a competent person, and what may be said from them.

All functions take one measurand's readings in one unit (SI throughout the project) and give answers in it.
"""

import math
from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtr, ndtr, stdtrit
from scipy.stats import shapiro

from rigs.metrology.samples import Column, SampleError, positive, probability, sample

MINIMUM_READINGS = 5
RECOMMENDED_READINGS = 10
# Generalised ESD needs about 25 readings for its critical values to hold (Rosner 1983).
ESD_FROM = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A standard deviation and the degrees of freedom behind it."""

    sd: float
    dof: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """One step of an outlier test: the reading furthest out, how far, and how far is too far."""

    index: int
    statistic: float
    critical: float

    @property
    def beyond(self) -> bool:
        return self.statistic > self.critical


@dataclass(frozen=True, slots=True, kw_only=True)
class Normality:
    """Shapiro and Wilk's W with its p. A hint to whoever looks, never a reason to drop a reading."""

    w: float
    p: float

    @property
    def doubtful(self) -> bool:
        return self.p < 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What a baseline says.

    ``sd`` is over all readings. ``repeat_sd`` is pooled within days, never under resolution/√12, with
    ``repeat_dof``. ``between_sd`` is what days add to it, None where all readings are of one day. ``u_ref``
    is the standard uncertainty of the mean, the reference instrument's included. ``flagged`` are the
    positions of readings to look at again; they are *not* left out of the other numbers. ``normality`` is
    None where the display is too coarse to show the shape.
    """

    mean: float
    n: int
    days: int
    sd: float
    repeat_sd: float
    repeat_dof: int
    between_sd: float | None
    u_ref: float
    flagged: tuple[int, ...]
    normality: Normality | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelColumns:
    """Of many baselines, each taken on the same days: columns as in ``Summary``."""

    mean: Column
    repeat_sd: Column
    repeat_dof: int
    between_sd: Column | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceInterval:
    lower: float
    upper: float
    factor: float


def summarise(
    readings: Sequence[float], *, days: Sequence[Hashable], resolution: float, reference_u: float = 0.0
) -> Summary:
    """Return what ``readings`` say, ``days`` labelling the day of each.

    One-way analysis of variance (ISO 5725-2, 7.4): s_r² within days; s_b² = (MSB − MSW)/n₀, not below zero.
    u_ref² = s_b²/days + s_r²/n + reference_u².

    Raises SampleError for under five readings, no two of one day, or no spread and no resolution known.
    """
    column = sample(readings, of="readings", at_least=MINIMUM_READINGS)
    reference = positive(reference_u, of="reference instrument's uncertainty", or_zero=True)
    repeat = repeat_spread(readings, groups=days, resolution=resolution)
    found = _between_sd(column, days)
    between = None if found is None else float(found)
    count = len(set(days))
    return Summary(
        mean=float(column.mean()),
        n=column.size,
        days=count,
        sd=float(column.std(ddof=1)),
        repeat_sd=repeat.sd,
        repeat_dof=repeat.dof,
        between_sd=between,
        u_ref=math.hypot((between or 0.0) / math.sqrt(count), repeat.sd / math.sqrt(column.size), reference),
        flagged=screen(readings, resolution=resolution),
        normality=normality(readings, groups=days, resolution=resolution),
    )


def level_columns(readings: Column, *, days: Sequence[Hashable], resolution: float) -> LevelColumns:
    """Return what ``summarise`` says of many baselines at once, a row of ``readings`` each, taken alike.

    Raises SampleError as it does, for any row.
    """
    rows = np.asarray(readings, dtype=np.float64)
    if rows.ndim != 2 or not np.all(np.isfinite(rows)):
        raise SampleError("Each row of readings must be a baseline's, all of them numbers.")
    floor = positive(resolution, of="resolution", or_zero=True) / math.sqrt(12)
    sd, dof = _repeat_sd(rows, days, floor)
    return LevelColumns(
        mean=rows.mean(axis=-1), repeat_sd=sd, repeat_dof=dof, between_sd=_between_sd(rows, days)
    )


def repeat_spread(readings: Sequence[float], *, groups: Sequence[Hashable], resolution: float) -> Spread:
    """Return the repeat noise pooled within groups (days, or checks), never under resolution/√12.

    Zero spread is normal for a reading of zero: the display hides it, and the floor stands in for it
    (JCGM 100 F.2.2.1).
    Raises SampleError where no group has two readings, or where the spread is zero and so is ``resolution``.
    """
    column = sample(readings, of="readings", at_least=2)
    floor = positive(resolution, of="resolution", or_zero=True) / math.sqrt(12)
    sd, dof = _repeat_sd(column, groups, floor)
    return Spread(sd=float(sd), dof=dof)


def screen(readings: Sequence[float], *, resolution: float, alpha: float = 0.05) -> tuple[int, ...]:
    """Return the positions of readings to look at again: by Grubbs, from 25 readings up by generalised ESD.

    A reading within one display step of its nearest neighbour isn't flagged, whatever the test says: a
    display that shows nine times 0.00 and once 0.01 has shown nothing odd.
    """
    column = sample(readings, of="readings", at_least=3)
    if column.size >= ESD_FROM:
        steps = generalised_esd(readings, at_most=column.size // 10, alpha=alpha)
        last = max((number for number, step in enumerate(steps, start=1) if step.beyond), default=0)
        suspects = [step.index for step in steps[:last]]
    else:
        worst = grubbs(readings, alpha=alpha)
        suspects = [worst.index] if worst.beyond else []
    gap = resolution * (1 + 1e-9)
    rest = np.delete(column, suspects)
    return tuple(sorted(index for index in suspects if np.min(np.abs(rest - column[index])) > gap))


def grubbs(readings: Sequence[float], *, alpha: float = 0.05, two_sided: bool = True) -> Outlier:
    """Return Grubbs' test of the one reading furthest from the mean (Grubbs 1969; ISO 5725-2, 7.3.4).

    One-sided tests the greatest reading, its critical value at ``alpha``/n; two-sided either end, at
    ``alpha``/2n.
    """
    column = sample(readings, of="readings", at_least=3)
    probability(alpha, of="significance level")
    tail = alpha / column.size / (2 if two_sided else 1)
    distance = column - column.mean()
    index, statistic = _furthest(np.abs(distance) if two_sided else distance, column)
    return Outlier(index=index, statistic=statistic, critical=_esd_critical(column.size, tail))


def generalised_esd(readings: Sequence[float], *, at_most: int, alpha: float = 0.05) -> tuple[Outlier, ...]:
    """Return the generalised extreme studentised deviate test, a step for each suspect.

    Rosner, Technometrics 25 (1983) 165–172. The outliers are the suspects up to the *last* step that is
    ``beyond``, even if an earlier one isn't.
    """
    column = sample(readings, of="readings", at_least=ESD_FROM)
    probability(alpha, of="significance level")
    if not 1 <= at_most <= column.size // 2:
        raise SampleError(
            f"At most {at_most} outliers among {column.size} readings. Allow 1 to {column.size // 2}."
        )
    places = np.arange(column.size)
    steps = []
    for _ in range(at_most):
        position, statistic = _furthest(np.abs(column - column.mean()), column)
        critical = _esd_critical(column.size, alpha / (2 * column.size))
        steps.append(Outlier(index=int(places[position]), statistic=statistic, critical=critical))
        column, places = np.delete(column, position), np.delete(places, position)
    return tuple(steps)


def normality(
    readings: Sequence[float], *, groups: Sequence[Hashable] | None = None, resolution: float = 0.0
) -> Normality | None:
    """Return Shapiro and Wilk's test of the readings, each less its group's mean. None where it can't say.

    It can't where the spread is under the resolution: it would then see the display's steps.
    """
    column = sample(readings, of="readings", at_least=3)
    residuals, count = _within(column, groups or [None] * column.size)
    dof = column.size - count
    if dof < 2 or math.sqrt(float(residuals @ residuals) / dof) <= resolution or np.ptp(residuals) == 0:
        return None
    found = shapiro(residuals)
    return Normality(w=float(found.statistic), p=float(found.pvalue))


def tolerance_interval(
    *,
    mean: float,
    sd: float,
    n: int,
    coverage: float = 0.95,
    confidence: float = 0.95,
    dof: int | None = None,
) -> ToleranceInterval:
    """Return the interval that holds at least ``coverage`` of readings, with ``confidence`` (ISO 16269-6)."""
    positive(sd, of="standard deviation")
    factor = tolerance_factor(n=n, coverage=coverage, confidence=confidence, dof=dof)
    return ToleranceInterval(lower=mean - factor * sd, upper=mean + factor * sd, factor=factor)


@lru_cache(maxsize=256)
def tolerance_factor(*, n: int, coverage: float, confidence: float, dof: int | None = None) -> float:
    """Return k of the two-sided normal tolerance interval mean ± k·s, mean and sd unknown: the exact factor.

    k solves ∫ P(χ²_ν ≥ ν r(x)²/k²) φ(x; 0, 1/n) dx = ``confidence``, where Φ(x + r) − Φ(x − r) = ``coverage``
    (ISO 16269-6:2014, annex on exact factors). ν is n − 1, or ``dof`` where s is pooled. The standard's
    tables round up at the fourth decimal.
    """
    if n < 2:
        raise SampleError(f"A tolerance interval from {n} readings. At least 2 are needed.")
    probability(coverage, of="coverage")
    probability(confidence, of="confidence")
    freedom = n - 1 if dof is None else dof
    if freedom < 1:
        raise SampleError(f"{freedom} degrees of freedom. At least 1 is needed.")
    nodes, weights = np.polynomial.legendre.leggauss(120)
    reach = 9.0 / math.sqrt(n)  # beyond nine standard errors of the mean there is nothing left to add
    x = (nodes + 1) * reach / 2
    density = weights * reach * np.sqrt(n / (2 * math.pi)) * np.exp(-n * x**2 / 2)
    half_width = _half_widths(x, coverage)

    def excess(k: float) -> float:
        return float(density @ (1.0 - chdtr(freedom, freedom * (half_width / k) ** 2))) - confidence

    top = 2.0
    while excess(top) < 0:
        top *= 2.0
    return float(brentq(excess, top / 1e3, top, xtol=1e-12))


def _half_widths(offsets: Column, coverage: float) -> Column:
    """Solve Φ(x + r) − Φ(x − r) = coverage for r at each offset x, by bisection on all of them at once."""
    low = np.zeros_like(offsets)
    high = offsets + 10.0
    for _ in range(60):
        middle = (low + high) / 2
        short = ndtr(offsets + middle) - ndtr(offsets - middle) < coverage
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2


def _furthest(distance: Column, column: Column) -> tuple[int, float]:
    index = int(np.argmax(distance))
    sd = float(column.std(ddof=1))
    return index, float(distance[index]) / sd if sd > 0 else 0.0


def _esd_critical(n: int, tail: float) -> float:
    t = float(stdtrit(n - 2, 1.0 - tail))
    return (n - 1) * t / math.sqrt((n - 2 + t * t) * n)


def _within(column: Column, groups: Sequence[Hashable]) -> tuple[Column, int]:
    """Return each reading less its group's mean, and the number of groups. Along the last axis."""
    residuals = column.copy()
    places = _places(column, groups)
    for members in places:
        residuals[..., members] -= column[..., members].mean(axis=-1, keepdims=True)
    return residuals, len(places)


def _repeat_sd(column: Column, groups: Sequence[Hashable], floor: float) -> tuple[Column, int]:
    """Return the spread within groups, never under ``floor``, and its degrees of freedom."""
    residuals, count = _within(column, groups)
    dof = column.shape[-1] - count
    if dof == 0:
        raise SampleError(
            "No day has two readings, so repeat noise can't be told. Take at least two on one day."
        )
    sd = np.maximum(np.sqrt(np.sum(residuals**2, axis=-1) / dof), floor)
    if np.any(sd == 0):
        raise SampleError(
            "All readings are the same and no resolution is known. Give the display's resolution."
        )
    return np.asarray(sd), dof


def _between_sd(column: Column, days: Sequence[Hashable]) -> Column | None:
    places = _places(column, days)
    if len(places) == 1:
        return None
    count = column.shape[-1]
    sizes = np.array([len(members) for members in places], dtype=np.float64)
    means = np.stack([column[..., members].mean(axis=-1) for members in places], axis=-1)
    residuals, _ = _within(column, days)
    between = (means - column.mean(axis=-1, keepdims=True)) ** 2 @ sizes / (len(places) - 1)
    within = np.sum(residuals**2, axis=-1) / (count - len(places))
    typical_size = (count - float(sizes @ sizes) / count) / (len(places) - 1)
    return np.asarray(np.sqrt(np.maximum(between - within, 0.0) / typical_size))


def _places(column: Column, groups: Sequence[Hashable]) -> list[list[int]]:
    count = column.shape[-1]
    if len(groups) != count:
        raise SampleError(f"{count} readings, but {len(groups)} days. Give each reading its day.")
    places: dict[Hashable, list[int]] = defaultdict(list)
    for index, group in enumerate(groups):
        places[group].append(index)
    return list(places.values())
