"""The rig board: how every rig stands, in words and as a share of its baseline, never as what it reads."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from academy.models import Centre
from rigs import series
from rigs.due_dates import months_after
from rigs.metrology.standing import Forecast, Judgement, Thresholds, false_watch_chance
from rigs.metrology.trend import Leaving
from rigs.models import Baseline, Rig
from rigs.series import Series

ALARM_CHECKS = 20
# A line drawn further ahead than this says nothing: common practice, no source.
HORIZON = timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """Where a level is heading, for people. Days are None where there is no such end.

    ``kind`` is "none" (no trend), "few" (too few checks to say), "past" (its line is out of the range
    already), "leaving" (on a day between two, or from the first on where the band is open), or "far" (not
    within a year).
    """

    kind: str
    on: date | None = None
    earliest: date | None = None
    latest: date | None = None

    @property
    def urgency(self) -> tuple[int, date]:
        """Orders the most pressing first."""
        order = {"past": 0, "leaving": 1, "far": 2, "none": 3, "few": 4}
        return order[self.kind], self.on or date.max


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelState:
    """How one level of a rig stands.

    ``change`` is in percent of the baseline; None near zero, and for one that was never checked.
    """

    series: Series
    judgement: Judgement | None
    heading: Heading
    change: float | None

    @property
    def label(self) -> str:
        return str(self.series.measurand)

    @property
    def changes(self) -> list[float]:
        """Every check's distance from the baseline in percent, in time; none near zero."""
        if self.series.reference.is_near_zero:
            return []
        return [self.series.percent(mean) for mean in self.series.means]


@dataclass(frozen=True, slots=True, kw_only=True)
class RigState:
    """What the board says of a rig beyond its own row. ``baseline_due`` is None without a baseline."""

    levels: tuple[LevelState, ...]
    baseline_due: date | None

    @property
    def leading(self) -> LevelState | None:
        """The level nearest to trouble: it leaves its range first, or is furthest from its baseline."""
        charted = [each for each in self.levels if each.changes]
        return min(
            charted,
            key=lambda each: (*each.heading.urgency, -abs(each.change or 0.0)),
            default=None,
        )


def states(*, rigs: Iterable[Any], centre: Centre, on: date) -> Mapping[UUID, RigState]:
    """How each of these rigs stands. They are annotated by ``with_board``. A constant number of queries."""
    in_force = {rig.pk: rig.baseline_in_force for rig in rigs if rig.baseline_in_force}
    baselines = Baseline.objects.filter(pk__in=in_force.values()).select_related("rig__centre").in_bulk()
    known = series.of_baselines(list(baselines.values()))
    thresholds = series.thresholds_of(centre)
    return {
        rig: RigState(
            levels=tuple(level_state(each, thresholds=thresholds, on=on) for each in known.get(baseline, ())),
            baseline_due=_due(centre, baselines[baseline].decided_at),
        )
        for rig, baseline in in_force.items()
    }


def level_state(found: Series, *, thresholds: Thresholds, on: date) -> LevelState:
    near_zero = found.reference.is_near_zero
    return LevelState(
        series=found,
        judgement=found.judged(thresholds),
        heading=heading(found, found.forecast(thresholds), on=on),
        change=None if near_zero or not found.points else found.percent(found.means[-1]),
    )


def heading(found: Series, forecast: Forecast | None, *, on: date) -> Heading:
    """Put a forecast on the calendar, as seen on a day."""
    if forecast is None:
        return Heading(kind="few")
    leaves = forecast.leaving
    if not isinstance(leaves, Leaving):
        return Heading(kind="none")
    start = found.value.baseline.started_at
    when, earliest, latest = (_day(start, each) for each in (leaves.at, leaves.earliest, leaves.latest))
    if when is None or when > on + HORIZON:
        return Heading(kind="far", earliest=earliest)
    kind = "past" if when <= on else "leaving"
    return Heading(kind=kind, on=when, earliest=earliest, latest=latest)


def _day(start: datetime, days: float | None) -> date | None:
    """The date so many days after; None for none, and for one that no calendar reaches."""
    if days is None or abs(days) > 36_500:
        return None
    return (start + timedelta(days=days)).date()


def _due(centre: Centre, decided_at: datetime | None) -> date | None:
    if decided_at is None:
        return None
    return months_after(centre.date_at(decided_at), months=centre.baseline_months)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRate:
    """How often the whole board would cry wolf: ``chance`` that any level does in ``checks`` checks each."""

    chance: float
    checks: int
    levels: int
    rigs: int


def alarm_rate(*, centre: Centre) -> AlarmRate | None:
    """Over all rigs in use that have a baseline; None where there is none. Three queries."""
    rigs: Iterable[Any] = Rig.objects.filter(centre=centre).in_use().with_board(session=None)
    values = series.values_in_check([rig.baseline_in_force for rig in rigs if rig.baseline_in_force])
    if not values:
        return None
    return AlarmRate(
        chance=false_watch_chance(
            series.references_of(values), thresholds=series.thresholds_of(centre), checks=ALARM_CHECKS
        ),
        checks=ALARM_CHECKS,
        levels=len(values),
        rigs=len({each.baseline_id for each in values}),
    )


def rows(*, rigs: Sequence[Any], centre: Centre, on: date) -> list[tuple[Any, RigState | None]]:
    """Each rig with its state, in their order."""
    known = states(rigs=rigs, centre=centre, on=on)
    return [(rig, known.get(rig.pk)) for rig in rigs]
