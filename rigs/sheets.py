"""Value sheets: what a rig reads at one moment, from its baseline and its checks."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from statistics import fmean

from django.db import transaction

from rigs import baselines, sessions
from rigs.metrology.today import BaselineLevel, CheckMean, LevelModel, PresentValue, present_value
from rigs.models import Baseline, BaselineValue, Check, CheckReading, Rig, Session, SheetValue, ValueSheet
from rigs.models.designs import MeasurandKind

SECONDS_A_DAY = 86_400
DAYS_A_WEEK = 7


def of_session(*, rig: Rig, session: Session | None) -> ValueSheet | None:
    """The sheet of this session's latest check, if that was against the baseline in force."""
    if session is None:
        return None
    return (
        ValueSheet.objects.filter(rig=rig, rig_check__session=session, baseline=baselines.in_force(rig=rig))
        .order_by("-made_at")
        .first()
    )


def newest(*, rig: Rig) -> ValueSheet | None:
    """The newest sheet of a rig, if it was made from the baseline in force."""
    sheets = ValueSheet.objects.filter(rig=rig, baseline=baselines.in_force(rig=rig))
    return sheets.select_related("rig_check__session", "baseline").first()


@transaction.atomic
def for_start(*, rig: Rig, at: datetime) -> ValueSheet | None:
    """The sheet that an attempt starting now is pinned to.

    After a check this session, that check's. Without, one from what is known so far, good for practice only.
    None for a rig without a baseline.
    """
    checked = of_session(rig=rig, session=sessions.current(centre=rig.centre, at=at))
    if checked is not None:
        return checked
    baseline = baselines.in_force(rig=rig)
    return None if baseline is None else write(baseline=baseline, at=at)


def write(*, baseline: Baseline, at: datetime, after: Check | None = None) -> ValueSheet:
    """Write down every measurand's present value. ``after`` is the check that proves them for its session."""
    sheet = ValueSheet.objects.create(rig=baseline.rig, baseline=baseline, rig_check=after, made_at=at)
    started = baseline.started_at
    history = check_means(baseline, since=started)
    session = after.session_id if after else None
    rows = [
        _row(sheet, value, checks=history[value.measurand_id], started=started, at=at, session=session)
        for value in baseline.values.select_related("measurand")
    ]
    SheetValue.objects.bulk_create(rows)
    return sheet


def level_model(value: BaselineValue) -> LevelModel:
    """Three standard deviations of a level (SI): repeats from the baseline, the others from the design."""
    assert value.mean is not None and value.repeat_sd is not None and value.repeat_dof is not None
    size = abs(value.mean) / 100
    return LevelModel(
        drift_sd=value.measurand.drift_percent * size / DAYS_A_WEEK**0.5,
        session_sd=value.measurand.session_percent * size,
        repeat_sd=value.repeat_sd,
        repeat_dof=value.repeat_dof,
    )


def _row(
    sheet: ValueSheet,
    value: BaselineValue,
    *,
    checks: list[CheckMean],
    started: datetime,
    at: datetime,
    session: object,
) -> SheetValue:
    row = SheetValue(sheet=sheet, measurand=value.measurand, repeats=value.repeats, state=value.state)
    if value.measurand.kind == MeasurandKind.LEVEL:
        assert value.mean is not None and value.repeat_sd is not None and value.reference_u is not None
        present = present_value(
            level_model(value),
            baseline=BaselineLevel(mean=value.mean, n=value.repeats, days=value.days, at=0.0),
            checks=checks,
            # A check may have been written by somebody whose request came in a moment later.
            at=max([days(started, at), *(check.at for check in checks)]),
            session=session,
            reference_u=value.reference_u,
        )
        _fill(row, present, dof=value.repeat_dof)
    return row


def _fill(row: SheetValue, present: PresentValue, *, dof: int | None) -> None:
    row.value, row.other_u = present.value, present.u
    row.other_dof = None if present.dof == float("inf") else present.dof
    row.repeat_sd, row.repeat_dof, row.repeat_share = present.repeat_sd, dof, present.repeat_share


def check_means(baseline: Baseline, *, since: datetime) -> Mapping[int, list[CheckMean]]:
    """Each measurand's check means since the baseline, in order, in days from ``since``."""
    readings = CheckReading.objects.filter(
        rig_check__baseline=baseline, si_value__isnull=False, measurand__kind=MeasurandKind.LEVEL
    ).select_related("rig_check")
    means: dict[int, list[CheckMean]] = defaultdict(list)
    for check, measurand, values in _grouped(readings):
        means[measurand].append(
            CheckMean(
                at=days(since, check.made_at), mean=fmean(values), n=len(values), session=check.session_id
            )
        )
    return means


def _grouped(readings: Iterable[CheckReading]) -> list[tuple[Check, int, list[float]]]:
    groups: dict[tuple[object, int], tuple[Check, list[float]]] = {}
    for reading in readings:
        key = (reading.rig_check_id, reading.measurand_id)
        groups.setdefault(key, (reading.rig_check, []))[1].append(reading.si_value or 0.0)
    ordered = sorted(groups.items(), key=lambda item: item[1][0].made_at)
    return [(check, measurand, values) for (_, measurand), (check, values) in ordered]


def days(start: datetime, end: datetime) -> float:
    return (end - start).total_seconds() / SECONDS_A_DAY
