"""Looking back on what was read. Nothing is written here: sheets stay as they are.

Which sheets an instrument fed, what its error made of them, and what a drifted rig read on a day gone by,
from all its checks.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import QuerySet

from rigs import levels
from rigs.histories import LevelHistory, back_in, days_between, histories
from rigs.metrology.doubt import Column, Doubt
from rigs.metrology.passed_on import passed_on
from rigs.metrology.quantities import Quantity
from rigs.metrology.today import BaselineLevel, CheckMean, LevelModel, PresentValue, smoothed_values
from rigs.models import (
    Baseline,
    BaselineReading,
    Calibration,
    Check,
    CheckReading,
    Instrument,
    Measurand,
    Rig,
    ValueSheet,
)
from rigs.models.baselines import BaselineStatus
from rigs.models.checks import CheckVerdict
from rigs.models.designs import MeasurandKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Fed:
    """A sheet that an instrument's readings went into: through its baseline, and through so many checks."""

    sheet: UUID
    through_baseline: bool
    checks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Level:
    """One level of one baseline, as the filter takes it: in reference air where any room is known."""

    key: str
    model: LevelModel
    history: LevelHistory

    @property
    def baseline(self) -> BaselineLevel:
        return self.history.baseline

    @property
    def checks(self) -> tuple[CheckMean, ...]:
        return self.history.checks


def certificate_before(calibration: Calibration) -> Calibration | None:
    """The certificate that the instrument had before this one, by their dates of calibration."""
    earlier = Calibration.objects.filter(
        instrument=calibration.instrument_id, calibrated_on__lt=calibration.calibrated_on
    )
    return earlier.order_by("-calibrated_on", "-recorded_at").first()


def last_steady_check(*, rig: Rig, before: datetime) -> Check | None:
    """The last check before a moment that found the rig steady against its baseline."""
    return rig.checks.filter(verdict=CheckVerdict.STEADY, made_at__lt=before).order_by("-made_at").first()


def baseline_in_force(*, rig: Rig, before: datetime) -> Baseline | None:
    return rig.baselines.approved().filter(decided_at__lt=before).first()


def fed_by(*, instrument: Instrument, since: datetime, until: datetime) -> list[Fed]:
    """The sheets that levels read with an instrument in that time went into, then or later."""
    made = _levels_read(BaselineReading.objects.all(), instrument, since, until)
    baselines = set(
        made.filter(baseline__status=BaselineStatus.APPROVED).values_list("baseline", flat=True).distinct()
    )
    checks: dict[UUID, list[datetime]] = defaultdict(list)
    read = _levels_read(CheckReading.objects.all(), instrument, since, until)
    for baseline, _, at in read.values_list(
        "rig_check__baseline", "rig_check", "rig_check__made_at"
    ).distinct():
        checks[baseline].append(at)
    found = ValueSheet.objects.filter(baseline__in=baselines | checks.keys()).order_by("made_at")
    return [
        Fed(sheet=pk, through_baseline=baseline in baselines, checks=before)
        for pk, baseline, at in found.values_list("pk", "baseline", "made_at")
        for before in [sum(each <= at for each in checks.get(baseline, ()))]
        if before or baseline in baselines
    ]


def _levels_read(
    readings: QuerySet[Any], instrument: Instrument, since: datetime, until: datetime
) -> QuerySet[Any]:
    """Without an order, which would make rows differ that are to be alike."""
    return readings.order_by().filter(
        instrument=instrument, taken_at__gte=since, taken_at__lte=until, measurand__kind=MeasurandKind.LEVEL
    )


def errors_on(
    sheet_ids: Collection[UUID], *, instrument: Instrument, doubt: Doubt
) -> dict[UUID, dict[str, Column]]:
    """By how much each level of these sheets is wrong, if the instrument was: a row for each of its courses.

    By sheet, then by measurand ("test point/condition"). NaN where the error of a reading isn't known. Levels
    that the instrument had no part in are left out. What a certificate had taken off a reading already
    counts; what the air of the day makes of an error, a few percent of it, is left aside.
    """
    found: dict[UUID, dict[str, Column]] = defaultdict(dict)
    for baseline, wanted in _by_baseline(sheet_ids):
        of_baseline, of_checks = _errors_read(baseline, instrument=instrument, doubt=doubt)
        none = np.zeros(len(doubt.courses))
        for measurand, level in _levels(baseline).items():
            checks = of_checks.get(measurand, {})
            if measurand not in of_baseline and not checks:
                continue
            for sheet in wanted:
                at = days_between(baseline.started_at, sheet.made_at)
                known = [check for check in level.checks if check.at <= at]
                found[sheet.pk][level.key] = passed_on(
                    level.model,
                    baseline=level.baseline,
                    checks=known,
                    at=at,
                    session=_session(sheet),
                    of_baseline=of_baseline.get(measurand, none),
                    of_checks=[checks.get(check.at, none) for check in known],
                )
    return found


def smoothed(sheet_ids: Collection[UUID], *, until: datetime) -> dict[UUID, dict[str, PresentValue]]:
    """What each level of these sheets was, from every check up to ``until``, later ones as well.

    By sheet, then by measurand ("test point/condition").
    """
    found: dict[UUID, dict[str, PresentValue]] = defaultdict(dict)
    for baseline, wanted in _by_baseline(sheet_ids):
        end = days_between(baseline.started_at, until)
        for level in _levels(baseline).values():
            values = smoothed_values(
                level.model,
                baseline=level.baseline,
                checks=[check for check in level.checks if check.at <= end],
                at=[days_between(baseline.started_at, sheet.made_at) for sheet in wanted],
                sessions=[_session(sheet) for sheet in wanted],
                reference_u=level.history.reference_u,
            )
            for sheet, value in zip(wanted, values, strict=True):
                back = back_in(level.history.airs.of(_session(sheet)))
                found[sheet.pk][level.key] = replace(
                    value, value=value.value * back, u=value.u * back, repeat_sd=value.repeat_sd * back
                )
    return found


def _by_baseline(sheet_ids: Collection[UUID]) -> Iterable[tuple[Baseline, list[ValueSheet]]]:
    wanted: dict[Baseline, list[ValueSheet]] = defaultdict(list)
    found = ValueSheet.objects.filter(pk__in=sheet_ids).select_related("baseline", "rig_check")
    for sheet in found.order_by("made_at"):
        wanted[sheet.baseline].append(sheet)
    return wanted.items()


def _session(sheet: ValueSheet) -> UUID | None:
    return None if sheet.rig_check is None else sheet.rig_check.session_id


def _levels(baseline: Baseline) -> Mapping[int, _Level]:
    """Each level of a baseline by its measurand."""
    known = histories(baseline)
    figures = levels.in_force(each.value.measurand for each in known.values())
    return {measurand: _level(history, figures=figures[measurand]) for measurand, history in known.items()}


def _level(history: LevelHistory, *, figures: levels.Figures) -> _Level:
    return _Level(
        key=_key_of(history.value.measurand),
        model=levels.model_of(history.value, figures=figures, size=abs(float(history.baseline.mean))),
        history=history,
    )


def _key_of(measurand: Measurand) -> str:
    return f"{measurand.test_point.slug}/{measurand.condition.slug}"


def _errors_read(
    baseline: Baseline, *, instrument: Instrument, doubt: Doubt
) -> tuple[dict[int, Column], dict[int, dict[float, Column]]]:
    """The errors of a baseline's means by measurand; of its checks' means by measurand and day."""
    of_baseline = {
        measurand: _mean_error(group, instrument=instrument, doubt=doubt)
        for (measurand,), group in _grouped(baseline.readings.all(), "measurand_id").items()
    }
    of_checks: dict[int, dict[float, Column]] = defaultdict(dict)
    readings = CheckReading.objects.filter(rig_check__baseline=baseline).select_related("rig_check")
    for (measurand, _), group in _grouped(readings, "measurand_id", "rig_check_id").items():
        at = days_between(baseline.started_at, group[0].rig_check.made_at)
        of_checks[measurand][at] = _mean_error(group, instrument=instrument, doubt=doubt)
    touched = {measurand: error for measurand, error in of_baseline.items() if error.any()}
    return touched, {
        measurand: errors
        for measurand, errors in of_checks.items()
        if any(error.any() for error in errors.values())
    }


def _grouped(readings: QuerySet[Any], *names: str) -> dict[tuple[Any, ...], list[Any]]:
    groups: dict[tuple[Any, ...], list[Any]] = defaultdict(list)
    read = readings.filter(measurand__kind=MeasurandKind.LEVEL, si_value__isnull=False)
    for each in read.select_related("measurand__test_point"):
        groups[tuple(getattr(each, name) for name in names)].append(each)
    return groups


def _mean_error(readings: Sequence[Any], *, instrument: Instrument, doubt: Doubt) -> Column:
    """The error of the mean of some readings, of which those with the instrument may be wrong."""
    none = np.zeros(len(doubt.courses))
    errors = [
        doubt.errors(
            quantity=Quantity(each.measurand.test_point.quantity),
            reading=each.si_value,
            at=each.taken_at,
            corrected_by=each.correction,
        )
        if each.instrument_id == instrument.pk
        else none
        for each in readings
    ]
    return np.asarray(np.mean(errors, axis=0))
