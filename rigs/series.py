"""Levels of rigs since their baselines, check by check: what charts, verdicts and the board are made from."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import hypot, sqrt
from uuid import UUID

from django.db.models import Avg, Count, Q, QuerySet

from academy.models import Centre
from rigs import sheets
from rigs.metrology.local_level import LevelModel
from rigs.metrology.standing import Forecast, Judgement, Reference, Thresholds, forecast, judge
from rigs.models import Baseline, BaselineValue, CheckReading, Measurand
from rigs.models.designs import MeasurandKind

SECONDS_A_DAY = 86_400
READ_IN_A_CHECK = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPoint:
    """The mean (SI) of one check's ``n`` readings of a level."""

    check: UUID
    session: UUID
    at: datetime
    mean: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One level of one rig: its baseline in force, and the checks against that, in time."""

    value: BaselineValue
    model: LevelModel
    points: tuple[CheckPoint, ...]

    @property
    def measurand(self) -> Measurand:
        return self.value.measurand

    @property
    def reference(self) -> Reference:
        return reference(self.value, self.model)

    @property
    def means(self) -> list[float]:
        return [each.mean for each in self.points]

    @property
    def days(self) -> list[float]:
        """When each check was made, in days from the start of the baseline."""
        start = self.value.baseline.started_at
        return [(each.at - start).total_seconds() / SECONDS_A_DAY for each in self.points]

    def judged(self, thresholds: Thresholds) -> Judgement | None:
        """How the level stands by its last check; None without one."""
        return judge(self.reference, means=self.means, thresholds=thresholds) if self.points else None

    def forecast(self, thresholds: Thresholds) -> Forecast | None:
        u = [check_sd(self.model, n=each.n) for each in self.points]
        return forecast(self.reference, at=self.days, means=self.means, u=u, thresholds=thresholds)

    def percent(self, mean: float) -> float:
        """How far a mean is from the baseline. For levels that aren't near zero."""
        assert self.value.mean  # neither None nor zero
        return (mean / self.value.mean - 1.0) * 100


def thresholds_of(centre: Centre) -> Thresholds:
    return Thresholds(
        watch_percent=float(centre.watch_percent),
        hold_percent=float(centre.hold_percent),
        least_margin=float(centre.least_margin),
    )


def reference(value: BaselineValue, model: LevelModel) -> Reference:
    assert value.mean is not None  # a level has one
    mean_u = hypot(model.session_sd / sqrt(value.days), model.repeat_sd / sqrt(value.repeats))
    return Reference(
        mean=value.mean,
        sd=check_sd(model, n=READ_IN_A_CHECK),
        mean_u=mean_u,
        floor=value.measurand.tolerance_floor,
    )


def check_sd(model: LevelModel, *, n: int) -> float:
    """Standard deviation of the mean of ``n`` readings of one check, the session's effect included."""
    return hypot(model.session_sd, model.repeat_sd / sqrt(n))


def values_in_check(baselines: QuerySet[Baseline] | Collection[UUID]) -> list[BaselineValue]:
    """The levels that checks read, of each of several baselines. One query."""
    found = BaselineValue.objects.filter(
        baseline__in=baselines, measurand__kind=MeasurandKind.LEVEL, measurand__in_check=True
    ).select_related("measurand__test_point", "measurand__condition", "baseline")
    return sorted(found, key=lambda each: each.measurand.position)


def references_of(values: Iterable[BaselineValue]) -> list[Reference]:
    return [reference(each, sheets.level_model(each)) for each in values]


def of_baselines(values: Sequence[BaselineValue]) -> dict[UUID, tuple[Series, ...]]:
    """The series of each baseline's levels, by the baseline's id. One query."""
    points = _points({each.baseline_id for each in values})
    found: dict[UUID, list[Series]] = defaultdict(list)
    for each in values:
        found[each.baseline_id].append(
            Series(
                value=each,
                model=sheets.level_model(each),
                points=tuple(points[each.baseline_id, each.measurand_id]),
            )
        )
    return {baseline: tuple(series) for baseline, series in found.items()}


def of_baseline(baseline: Baseline) -> tuple[Series, ...]:
    return of_baselines(values_in_check([baseline.pk])).get(baseline.pk, ())


def _points(baselines: Collection[UUID]) -> dict[tuple[UUID, int], list[CheckPoint]]:
    rows = (
        CheckReading.objects.filter(Q(si_value__isnull=False), rig_check__baseline__in=baselines)
        .order_by()
        .values_list(
            "rig_check__baseline", "measurand", "rig_check", "rig_check__session", "rig_check__made_at"
        )
        .annotate(mean=Avg("si_value"), n=Count("pk"))
    )
    points: dict[tuple[UUID, int], list[CheckPoint]] = defaultdict(list)
    for baseline, measurand, check, session, at, mean, n in sorted(rows, key=lambda row: row[4]):
        points[baseline, measurand].append(CheckPoint(check=check, session=session, at=at, mean=mean, n=n))
    return points
