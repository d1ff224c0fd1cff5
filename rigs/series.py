"""Levels of rigs since their baselines, check by check: what charts, verdicts and the board are made from."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot, sqrt
from uuid import UUID

from academy.models import Centre
from rigs import levels
from rigs.histories import LevelHistory, histories_of
from rigs.metrology.standing import Forecast, Judgement, Reference, Thresholds, forecast, judge
from rigs.metrology.today import LevelModel
from rigs.models import Baseline, BaselineValue, Measurand, Session
from rigs.models.designs import MeasurandKind

READ_IN_A_CHECK = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPoint:
    """The mean (SI, in the air that the history is carried in) of one check's ``n`` readings of a level."""

    check: UUID
    at: datetime
    mean: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One level of one rig: its baseline in force, and the checks against that, in time."""

    history: LevelHistory
    model: LevelModel

    @property
    def value(self) -> BaselineValue:
        return self.history.value

    @property
    def measurand(self) -> Measurand:
        return self.value.measurand

    @property
    def points(self) -> tuple[CheckPoint, ...]:
        start = self.value.baseline.started_at
        return tuple(
            CheckPoint(check=check, at=start + timedelta(days=each.at), mean=float(each.mean), n=each.n)
            for each, check in zip(self.history.checks, self.history.made, strict=True)
        )

    @property
    def reference(self) -> Reference:
        baseline = self.history.baseline
        return _reference(self.value, self.model, mean=float(baseline.mean), air_u=float(baseline.air_u))

    @property
    def means(self) -> list[float]:
        return [float(each.mean) for each in self.history.checks]

    @property
    def days(self) -> list[float]:
        """When each check was made, in days from the start of the baseline."""
        return [each.at for each in self.history.checks]

    def judged(self, thresholds: Thresholds) -> Judgement | None:
        """How the level stands by its last check; None without one."""
        found = self.means
        return judge(self.reference, means=found, thresholds=thresholds) if found else None

    def forecast(self, thresholds: Thresholds) -> Forecast | None:
        u = [check_sd(self.model, n=each.n) for each in self.history.checks]
        return forecast(self.reference, at=self.days, means=self.means, u=u, thresholds=thresholds)

    def percent(self, mean: float) -> float:
        """How far a mean is from the baseline. For levels that aren't near zero."""
        return (mean / float(self.history.baseline.mean) - 1.0) * 100


def thresholds_of(centre: Centre) -> Thresholds:
    return Thresholds(
        watch_percent=float(centre.watch_percent),
        hold_percent=float(centre.hold_percent),
        least_margin=float(centre.least_margin),
    )


def check_sd(model: LevelModel, *, n: int) -> float:
    """Standard deviation of the mean of ``n`` readings of one check, the session's effect included."""
    return hypot(model.session_sd, model.repeat_sd / sqrt(n))


def values_in_check(baselines: Collection[UUID]) -> list[BaselineValue]:
    """The levels that checks read, of each of several baselines. One query."""
    found = BaselineValue.objects.filter(
        baseline__in=baselines, measurand__kind=MeasurandKind.LEVEL, measurand__in_check=True
    )
    return list(found.select_related("measurand"))


def references_of(values: Sequence[BaselineValue]) -> list[Reference]:
    """What each level is judged by, as its baseline was read. One query."""
    figures = levels.in_force(each.measurand for each in values)
    return [
        _reference(
            each,
            levels.model_of(each, figures=figures[each.measurand_id], size=abs(each.mean)),
            mean=each.mean,
        )
        for each in values
        if each.mean is not None
    ]


def _reference(value: BaselineValue, model: LevelModel, *, mean: float, air_u: float = 0.0) -> Reference:
    return Reference(
        mean=mean,
        sd=check_sd(model, n=READ_IN_A_CHECK),
        mean_u=hypot(model.session_sd / sqrt(value.days), model.repeat_sd / sqrt(value.repeats), air_u),
        floor=value.measurand.tolerance_floor,
    )


def of_baselines(
    baselines: Sequence[Baseline], *, session: Session | None = None
) -> dict[UUID, tuple[Series, ...]]:
    """The series of the levels that checks read, by their baseline's id. A constant number of queries.

    ``session`` is one that has no check yet, whose room counts all the same.
    """
    found: dict[UUID, list[Series]] = defaultdict(list)
    for each in _with_models(histories_of(baselines, session=session)):
        found[each.value.baseline_id].append(each)
    return {baseline: tuple(series) for baseline, series in found.items()}


def of_baseline(baseline: Baseline, *, session: Session | None = None) -> tuple[Series, ...]:
    return of_baselines([baseline], session=session).get(baseline.pk, ())


def _with_models(found: Iterable[LevelHistory]) -> list[Series]:
    read = [each for each in found if each.value.measurand.in_check]
    figures = levels.in_force(each.value.measurand for each in read)
    return [
        Series(
            history=each,
            model=levels.model_of(
                each.value, figures=figures[each.value.measurand_id], size=abs(float(each.baseline.mean))
            ),
        )
        for each in read
    ]
