"""Level drift and session effect of a design's rigs: in force, as checks tell them, and set by a centre."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import isfinite, sqrt

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.histories import LevelHistory, histories_of
from rigs.metrology.level_fit import History, Interval, fit_levels, level_intervals
from rigs.metrology.local_level import BaselineLevel, CheckMean
from rigs.metrology.samples import SampleError
from rigs.metrology.today import LevelModel
from rigs.models import Baseline, BaselineValue, LevelFigures, Measurand, RigDesign
from rigs.models.designs import MeasurandKind
from rigs.models.levels import FiguresSource

DAYS_A_WEEK = 7
# Two standard deviations told from fewer have intervals a factor of three wide, and more.
LEAST_CHECKS = 20
MOST_PERCENT = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Standard deviations in percent of the baseline, drift per √week. No ``row`` for the design's own."""

    drift_percent: float
    session_percent: float
    drift_dof: float
    session_dof: float
    row: LevelFigures | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What all checks of a design's rigs say of one measurand, in the units of `Figures`.

    A figure that can't be told from zero is None. Intervals are at 95.45 %.
    """

    drift_percent: float | None
    session_percent: float | None
    drift_dof: float
    session_dof: float
    drift: Interval
    session: Interval
    rigs: int
    checks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One measurand: the figures in force, and either an estimate or ``why_not``, in words.

    Near zero no figure means anything: a share of nothing is nothing.
    """

    measurand: Measurand
    figures: Figures
    estimate: Estimate | None
    why_not: str
    rigs: int
    checks: int
    is_near_zero: bool


def levels_of(design: RigDesign) -> tuple[Measurand, ...]:
    found = design.measurands.filter(kind=MeasurandKind.LEVEL)
    return tuple(found.select_related("test_point", "condition"))


def in_force(measurands: Iterable[Measurand]) -> dict[int, Figures]:
    """The figures in force, by measurand: the newest that were set, or the design's own. One query."""
    known = {each.pk: each for each in measurands}
    newest: dict[int, LevelFigures] = {}
    for row in LevelFigures.objects.filter(measurand__in=known).select_related("set_by"):
        newest.setdefault(row.measurand_id, row)
    return {pk: _figures(measurand, newest.get(pk)) for pk, measurand in known.items()}


def model_of(value: BaselineValue, *, figures: Figures, size: float) -> LevelModel:
    """Three standard deviations of a level (SI) of that ``size``; the repeats are the baseline's own."""
    assert value.repeat_sd is not None and value.repeat_dof is not None  # a level has them
    return LevelModel(
        drift_sd=figures.drift_percent / 100 * size / sqrt(DAYS_A_WEEK),
        session_sd=figures.session_percent / 100 * size,
        repeat_sd=value.repeat_sd,
        repeat_dof=value.repeat_dof,
        drift_dof=figures.drift_dof,
        session_dof=figures.session_dof,
    )


def standings(design: RigDesign) -> tuple[Standing, ...]:
    """How each level of a design stands. Work for a page of its own: it fits every level's history."""
    measurands = levels_of(design)
    figures = in_force(measurands)
    found: dict[int, list[LevelHistory]] = {each.pk: [] for each in measurands}
    for each in histories_of(_baselines(design)):
        if each.checks and each.value.measurand_id in found:
            found[each.value.measurand_id].append(each)
    return tuple(_standing(level, figures[level.pk], found[level.pk]) for level in measurands)


@transaction.atomic
def adopt(*, measurand: Measurand, checks: int, by: Person, at: datetime) -> LevelFigures:
    """Put the estimate in force for the sheets that are written from now on; old ones stay as they are.

    ``checks`` is how many the estimate that was looked at rested on: refused where there are more by now. A
    figure that can't be told from zero keeps the value in force: these checks say nothing of how large it
    may be.
    """
    RigDesign.objects.select_for_update().get(pk=measurand.design_id)
    standing = next(each for each in standings(measurand.design) if each.measurand == measurand)
    estimate = standing.estimate
    if estimate is None:
        raise Refused(standing.why_not)
    if estimate.checks != checks:
        raise Refused("A check was recorded meanwhile: look at the estimate again.")
    before = standing.figures
    drift = (before.drift_percent, before.drift_dof)
    if estimate.drift_percent is not None:
        drift = (estimate.drift_percent, estimate.drift_dof)
    session = (before.session_percent, before.session_dof)
    if estimate.session_percent is not None:
        session = (estimate.session_percent, estimate.session_dof)
    return _put_in_force(
        LevelFigures(
            measurand=measurand,
            drift_percent=drift[0],
            session_percent=session[0],
            drift_dof=_or_none(drift[1]),
            session_dof=_or_none(session[1]),
            source=FiguresSource.ESTIMATED,
            rigs=estimate.rigs,
            checks=estimate.checks,
            set_by=by,
            set_at=at,
        )
    )


@transaction.atomic
def set_by_hand(
    *,
    measurand: Measurand,
    drift_percent: float,
    session_percent: float,
    reason: str,
    by: Person,
    at: datetime,
) -> LevelFigures:
    """Put a centre's own figures in force, with the reason, for the sheets that are written from now on."""
    for name, percent in (("drift_percent", drift_percent), ("session_percent", session_percent)):
        if not (isfinite(percent) and 0 <= percent <= MOST_PERCENT):
            raise Refused(f"Give a percentage of the baseline, 0 to {MOST_PERCENT:g}.", field=name)
    if not reason.strip():
        raise Refused("Say what these figures rest on.", field="reason")
    return _put_in_force(
        LevelFigures(
            measurand=measurand,
            drift_percent=drift_percent,
            session_percent=session_percent,
            source=FiguresSource.SET,
            reason=reason.strip(),
            set_by=by,
            set_at=at,
        )
    )


def _put_in_force(row: LevelFigures) -> LevelFigures:
    row.save(force_insert=True)
    design = row.measurand.design
    ledger.append(
        centre=design.centre,
        actor=row.set_by,
        verb="levels.set",
        subject=row.pk,
        at=row.set_at,
        facts={
            "design": str(design.pk),
            "measurand": f"{row.measurand.test_point.slug}/{row.measurand.condition.slug}",
            "drift_percent": repr(row.drift_percent),
            "session_percent": repr(row.session_percent),
            "source": str(row.source),
            "checks": str(row.checks),
        },
    )
    return row


def _figures(measurand: Measurand, row: LevelFigures | None) -> Figures:
    if row is None:
        return Figures(
            drift_percent=measurand.drift_percent,
            session_percent=measurand.session_percent,
            drift_dof=float("inf"),
            session_dof=float("inf"),
            row=None,
        )
    return Figures(
        drift_percent=row.drift_percent,
        session_percent=row.session_percent,
        drift_dof=float("inf") if row.drift_dof is None else row.drift_dof,
        session_dof=float("inf") if row.session_dof is None else row.session_dof,
        row=row,
    )


def _baselines(design: RigDesign) -> list[Baseline]:
    """Every approved baseline of a design's rigs that was checked against, oldest first."""
    found = Baseline.objects.approved().filter(rig__design=design, checks__isnull=False).distinct()
    return list(found.select_related("rig__centre").order_by("started_at"))


def _standing(measurand: Measurand, figures: Figures, found: list[LevelHistory]) -> Standing:
    checks = sum(len(each.checks) for each in found)
    rigs = len({each.value.baseline.rig_id for each in found})
    estimate, why_not = None, ""
    is_near_zero = any(abs(each.value.mean or 0.0) <= measurand.tolerance_floor for each in found)
    if is_near_zero:
        why_not = "It is near zero, so its drift is no share of it, and none is counted."
    elif checks < LEAST_CHECKS:
        why_not = f"Too few checks: {checks} so far, {LEAST_CHECKS} are needed. Wait, or set it by hand."
    else:
        try:
            estimate = _estimate([_in_percent(each) for each in found], rigs=rigs)
        except SampleError as error:
            why_not = str(error)
    return Standing(
        measurand=measurand,
        figures=figures,
        estimate=estimate,
        why_not=why_not,
        rigs=rigs,
        checks=checks,
        is_near_zero=is_near_zero,
    )


def _estimate(found: list[History], *, rigs: int) -> Estimate:
    fit, intervals = fit_levels(found), level_intervals(found)
    week = sqrt(DAYS_A_WEEK)
    return Estimate(
        drift_percent=None if "drift" in fit.undetected else fit.drift_sd * week,
        session_percent=None if "session" in fit.undetected else fit.session_sd,
        drift_dof=fit.drift_dof,
        session_dof=fit.session_dof,
        drift=Interval(lower=intervals.drift.lower * week, upper=intervals.drift.upper * week),
        session=intervals.session,
        rigs=rigs,
        checks=fit.checks,
    )


def _in_percent(history: LevelHistory) -> History:
    """A history as percent of its own baseline, so that rigs of a design can be taken together."""
    assert history.value.repeat_sd is not None  # a level has one
    mean, to_percent = float(history.baseline.mean), 100 / abs(float(history.baseline.mean))
    return History(
        baseline=BaselineLevel(
            mean=mean * to_percent,
            n=history.baseline.n,
            days=history.baseline.days,
            at=history.baseline.at,
            air_u=history.baseline.air_u * to_percent,
        ),
        checks=tuple(
            CheckMean(
                at=each.at,
                mean=each.mean * to_percent,
                n=each.n,
                session=each.session,
                air_u=each.air_u * to_percent,
            )
            for each in history.checks
        ),
        repeat_sd=history.value.repeat_sd * to_percent,
    )


def _or_none(dof: float) -> float | None:
    return dof if isfinite(dof) else None
