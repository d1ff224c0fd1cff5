"""Whether a rig's level stands where its baseline found it: steady, to be watched, or to be taken out of use.

Two things are kept apart: how far one check is from the baseline (the centre's percentages), and whether
checks drift away from it together (the EWMA chart, in σ). A level near zero, where a share of it means
nothing, has its own tolerance and no chart. SI units throughout; times in days.
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from scipy.special import ndtr

from rigs.metrology.drift import Ewma, ewma
from rigs.metrology.run_lengths import false_alarm_chance
from rigs.metrology.samples import positive
from rigs.metrology.trend import MINIMUM_POINTS, Leaving, NoTrend, Trend, leaving, trend

# Confidence of the days between which a level leaves its range.
FORECAST_CONFIDENCE = 0.90
_STEP = 0.01


class Standing(StrEnum):
    STEADY = "steady"
    WATCH = "watch"
    HOLD = "hold"


class Why(StrEnum):
    """What a level stands out by. ``AVERAGE``: not this check alone, but the weighted average of the last."""

    FAR = "far"
    AWAY = "away"
    AVERAGE = "average"
    NOTHING = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """A centre's values: percent of the baseline, and the least running Δp ÷ make point."""

    watch_percent: float
    hold_percent: float
    least_margin: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """What a baseline says of a level, for judging checks by it.

    ``sd`` is that of one check's mean, the spread between sessions included; ``mean_u`` the standard
    uncertainty of the baseline's own mean, which limits about it allow for. ``floor`` is the tolerance of a
    level near zero.
    """

    mean: float
    sd: float
    mean_u: float
    floor: float = 0.0

    def __post_init__(self) -> None:
        positive(self.sd, of="spread of checks")
        positive(self.mean_u, of="uncertainty of the baseline's mean", or_zero=True)

    @property
    def is_near_zero(self) -> bool:
        return abs(self.mean) <= self.floor

    @property
    def distance_sd(self) -> float:
        """Standard deviation of one check's distance from the baseline, with nothing drifting."""
        return math.hypot(self.sd, self.mean_u)

    def chart(self, means: Sequence[float]) -> Ewma:
        """The weighted averages of checks with their limits, the baseline's own uncertainty allowed for."""
        return ewma(means, centre=self.mean, sigma=self.sd, centre_u=self.mean_u)

    def hold_at(self, thresholds: Thresholds) -> float:
        """The distance from the baseline at which a hold is proposed."""
        return max(thresholds.hold_percent / 100 * abs(self.mean), self.floor)

    def watch_at(self, thresholds: Thresholds) -> float:
        return self.hold_at(thresholds) * thresholds.watch_percent / thresholds.hold_percent


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    standing: Standing
    why: Why = Why.NOTHING


def judge(reference: Reference, *, means: Sequence[float], thresholds: Thresholds) -> Judgement:
    """Judge the last of ``means``, those of the checks since the baseline in order."""
    away = abs(means[-1] - reference.mean)
    if away >= reference.hold_at(thresholds):
        return Judgement(standing=Standing.HOLD, why=Why.FAR)
    if away >= reference.watch_at(thresholds):
        return Judgement(standing=Standing.WATCH, why=Why.AWAY)
    if not reference.is_near_zero:
        chart = reference.chart(means)
        if chart.signals and chart.signals[-1] == len(means) - 1:
            return Judgement(standing=Standing.WATCH, why=Why.AVERAGE)
    return Judgement(standing=Standing.STEADY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Where checks are heading, by the line through them; ``leaving`` is NoTrend where it has no slope."""

    line: Trend
    leaving: Leaving | NoTrend


def forecast(
    reference: Reference,
    *,
    at: Sequence[float],
    means: Sequence[float],
    u: Sequence[float],
    thresholds: Thresholds,
) -> Forecast | None:
    """Return when the level leaves the range in which no hold is proposed. None with fewer than five checks.

    It holds if the drift goes on as it did since the baseline. The days between which it happens are at 90 %,
    given that a line describes it.
    """
    if len(means) < MINIMUM_POINTS or len(set(at)) < 2:
        return None
    line, half = trend(at, means, u=u), reference.hold_at(thresholds)
    found = leaving(
        line, lower=reference.mean - half, upper=reference.mean + half, confidence=FORECAST_CONFIDENCE
    )
    return Forecast(line=line, leaving=found)


def false_watch_chance(references: Iterable[Reference], *, thresholds: Thresholds, checks: int) -> float:
    """Return the chance of one false watch or more while each level is checked ``checks`` times.

    That is from the baseline on, with nothing drifting. Levels of one rig share its session's effect and each
    level its baseline, but taking all as independent never understates the chance: several normal values are
    together within limits about zero at least as often as the product says (Royen, Far East J. Theor. Stat.
    48 (2014) 139–145). Uncertainties are rounded up, so that levels that are alike are worked out once.
    """
    quiet = 1.0
    charts: Counter[float] = Counter()
    for each in references:
        beyond = 2.0 * float(ndtr(-each.watch_at(thresholds) / each.distance_sd))
        quiet *= (1.0 - beyond) ** checks
        if not each.is_near_zero:
            charts[math.ceil(each.mean_u / each.sd / _STEP) * _STEP] += 1
    for u, count in charts.items():
        allowed = max(0.0, u - _STEP)
        quiet *= 1.0 - false_alarm_chance(checks=checks, charts=count, centre_u=u, allowed_u=allowed)
    return 1.0 - quiet
