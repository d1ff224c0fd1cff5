"""Charts of one level of a rig: its checks, their weighted averages, where they are heading. No queries."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

import numpy as np

from academy.strip import number
from rigs.board import LevelState
from rigs.drawings import Frame, Mark, Panel, Path, percent, span, worded
from rigs.metrology.drift import Ewma
from rigs.metrology.quantities import from_si, si_factor
from rigs.metrology.standing import Thresholds
from rigs.metrology.trend import Leaving, Trend
from rigs.series import Series

AHEAD = timedelta(days=60)
BAND_STEPS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One check in the table behind the charts. Texts in the chart's unit."""

    check: object
    at: datetime
    mean: str
    change: str
    average: str
    average_limits: str
    is_beyond: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelChart:
    label: str
    unit: str
    baseline: str
    panels: tuple[Panel, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sparkline:
    """Checks as a share of the baseline, 120 by 32, with the shares at which a hold is proposed."""

    corners: str
    last_x: float
    last_y: float
    middle: float
    upper: float
    lower: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Figures:
    """One level in the unit of its test point, as its charts need it."""

    unit: str
    digits: int
    baseline: float
    sd: float
    hold_at: float
    watch_at: float
    at: tuple[datetime, ...]
    means: tuple[float, ...]

    @property
    def finest(self) -> float:
        return 10.0**-self.digits

    def text(self, value: float) -> str:
        return number(value, self.digits)


def level_chart(state: LevelState, *, thresholds: Thresholds, zone: tzinfo) -> LevelChart | None:
    """The charts of one level, in the unit of its test point. None before its first check.

    The checks with ±3σ of one check's distance from the baseline, where a hold is proposed, and the line
    through them with its 90 % band; then the weighted averages (EWMA) with their limits, where the level
    isn't near zero.
    """
    found = state.series
    if not found.points:
        return None
    figures = _figures(found, thresholds)
    chart = None
    if not found.reference.is_near_zero:
        chart = _in_unit(found.reference.chart(found.means), unit=figures.unit)
    forecast = found.forecast(thresholds)
    line = None if forecast is None or not isinstance(forecast.leaving, Leaving) else forecast.line
    panels = [_checks_panel(figures, found, line, zone=zone, until=_until(found, forecast))]
    if chart is not None:
        panels.append(_average_panel(figures, chart, zone=zone))
    return LevelChart(
        label=state.label,
        unit=figures.unit,
        baseline=figures.text(figures.baseline),
        panels=tuple(panels),
        rows=_rows(figures, found, chart),
    )


def _figures(found: Series, thresholds: Thresholds) -> _Figures:
    unit, reference = found.measurand.test_point.unit, found.reference
    factor = si_factor(unit)
    sd = reference.distance_sd / factor
    return _Figures(
        unit=unit,
        digits=max(0, 1 - math.floor(math.log10(reference.sd / factor))),
        baseline=float(from_si(reference.mean, unit=unit)),
        sd=sd,
        hold_at=reference.hold_at(thresholds) / factor,
        watch_at=reference.watch_at(thresholds) / factor,
        at=tuple(each.at for each in found.points),
        means=tuple(float(from_si(each.mean, unit=unit)) for each in found.points),
    )


def _in_unit(chart: Ewma, *, unit: str) -> Ewma:
    points, lower, upper = (
        tuple(float(from_si(each, unit=unit)) for each in ends)
        for ends in (chart.points, chart.lower, chart.upper)
    )
    return replace(chart, points=points, lower=lower, upper=upper)


def _until(found: Series, forecast: object) -> datetime:
    """How far ahead the line is drawn: to where it leaves the range, if that is soon."""
    last = found.points[-1].at
    leaves = getattr(forecast, "leaving", None)
    if not isinstance(leaves, Leaving):
        return last
    crossing = found.value.baseline.started_at + timedelta(days=min(leaves.at, 36_500.0))
    return min(max(last, crossing + timedelta(days=3)), last + AHEAD)


def _checks_panel(
    figures: _Figures, found: Series, line: Trend | None, *, zone: tzinfo, until: datetime
) -> Panel:
    start, end = span(figures.at, until)
    reach = 1.1 * max(figures.hold_at, 3 * figures.sd, *(abs(m - figures.baseline) for m in figures.means))
    frame = Frame(start=start, end=end, low=figures.baseline - reach, high=figures.baseline + reach)
    outside = [abs(mean - figures.baseline) > 3 * figures.sd for mean in figures.means]
    both = (1, -1)
    lines = [
        ("centre", figures.baseline, "baseline"),
        *(("hold", figures.baseline + side * figures.hold_at, "hold") for side in both),
        *(("limit", figures.baseline + side * 3 * figures.sd, "3σ") for side in both),
        *(("watch", figures.baseline + side * figures.watch_at, "watch") for side in both),
    ]
    bands, paths = ((), ()) if line is None else _trend(frame, figures, found, line)
    return Panel(
        title="Checks",
        unit=figures.unit,
        description=f"{len(figures.means)} check means, the last {figures.text(figures.means[-1])} "
        f"{figures.unit}; the baseline is {figures.text(figures.baseline)} {figures.unit}. "
        f"{sum(outside)} beyond 3σ.",
        x_ticks=frame.x_ticks(zone),
        y_ticks=frame.y_ticks(finest=figures.finest),
        lines=worded(frame, lines),
        bands=bands,
        paths=(
            *paths,
            Path(kind="joined", corners=frame.corners(zip(figures.at, figures.means, strict=True))),
        ),
        marks=_marks(frame, figures, figures.means, outside, zone=zone),
    )


def _trend(
    frame: Frame, figures: _Figures, found: Series, line: Trend
) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """The line through the checks, and the band in which it lies at 90 %."""
    started = found.value.baseline.started_at
    moments = [
        frame.start + (frame.end - frame.start) * float(share) for share in np.linspace(0, 1, BAND_STEPS + 1)
    ]
    levels = [line.level_at((at - started) / timedelta(days=1), confidence=0.90) for at in moments]
    middle, lower, upper = (
        [(at, float(from_si(end, unit=figures.unit))) for at, end in zip(moments, ends, strict=True)]
        for ends in zip(*((each.value, each.lower, each.upper) for each in levels), strict=True)
    )
    band = Path(kind="trend", corners=frame.corners([*upper, *reversed(lower)]))
    return (band,), (Path(kind="trend", corners=frame.corners(middle)),)


def _average_panel(figures: _Figures, chart: Ewma, *, zone: tzinfo) -> Panel:
    start, end = span(figures.at, figures.at[-1])
    reach = 1.15 * max(
        *(upper - figures.baseline for upper in chart.upper),
        *(abs(point - figures.baseline) for point in chart.points),
    )
    frame = Frame(start=start, end=end, low=figures.baseline - reach, high=figures.baseline + reach)
    signals = [place in chart.signals for place in range(len(chart.points))]
    ends = [
        *zip(figures.at, chart.upper, strict=True),
        *reversed([*zip(figures.at, chart.lower, strict=True)]),
    ]
    return Panel(
        title="Weighted average of the checks (EWMA)",
        unit=figures.unit,
        description=f"The last is {figures.text(chart.points[-1])} {figures.unit}, its limits "
        f"{figures.text(chart.lower[-1])} to {figures.text(chart.upper[-1])} {figures.unit}. "
        f"{sum(signals)} beyond their limits.",
        x_ticks=frame.x_ticks(zone),
        y_ticks=frame.y_ticks(finest=figures.finest),
        lines=worded(frame, [("centre", figures.baseline, "baseline")]),
        bands=(Path(kind="limits", corners=frame.corners(ends)),),
        paths=(Path(kind="joined", corners=frame.corners(zip(figures.at, chart.points, strict=True))),),
        marks=_marks(frame, figures, chart.points, signals, zone=zone),
    )


def _marks(
    frame: Frame, figures: _Figures, values: Sequence[float], beyond: Sequence[bool], *, zone: tzinfo
) -> tuple[Mark, ...]:
    return tuple(
        Mark(
            x=frame.x(at),
            y=frame.y(value),
            kind="beyond" if is_beyond else "in",
            words=f"{at.astimezone(zone):%-d %B %Y, %H:%M}: {figures.text(value)} {figures.unit}",
        )
        for at, value, is_beyond in zip(figures.at, values, beyond, strict=True)
    )


def _rows(figures: _Figures, found: Series, chart: Ewma | None) -> tuple[Row, ...]:
    """The newest first."""
    rows = []
    for place, point in enumerate(found.points):
        mean = figures.means[place]
        rows.append(
            Row(
                check=point.check,
                at=point.at,
                mean=figures.text(mean),
                change="" if chart is None else percent(found.percent(point.mean)),
                average="" if chart is None else figures.text(chart.points[place]),
                average_limits=""
                if chart is None
                else f"{figures.text(chart.lower[place])} to {figures.text(chart.upper[place])}",
                is_beyond=abs(mean - figures.baseline) > 3 * figures.sd
                or (chart is not None and place in chart.signals),
            )
        )
    return tuple(reversed(rows))


def sparkline(state: LevelState, *, hold_percent: float) -> Sparkline | None:
    """A level's checks in little; None with fewer than two."""
    changes = state.changes
    if len(changes) < 2:
        return None
    reach = 1.15 * max(hold_percent, *(abs(each) for each in changes))
    step = 112 / (len(changes) - 1)
    places = [(4 + step * place, 16 - 14 * each / reach) for place, each in enumerate(changes)]
    half = 14 * hold_percent / reach
    return Sparkline(
        corners=" ".join(f"{x:.1f},{y:.1f}" for x, y in places),
        last_x=round(places[-1][0], 1),
        last_y=round(places[-1][1], 1),
        middle=16.0,
        upper=round(16 - half, 1),
        lower=round(16 + half, 1),
        words=f"{state.label}: {len(changes)} checks, the first {percent(changes[0])} and the last "
        f"{percent(changes[-1])} of the baseline away from it.",
    )
