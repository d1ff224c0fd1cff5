"""Value sheets: what a rig reads at one moment, from its baseline and its checks."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from rigs import baselines, levels, sessions
from rigs.histories import LevelHistory, back_in, days_between, histories
from rigs.metrology.environment import Density
from rigs.metrology.today import PresentValue, present_value
from rigs.models import Baseline, BaselineValue, Check, Rig, Session, SheetValue, ValueSheet
from rigs.models.designs import MeasurandKind


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
    """Write down every measurand's present value. ``after`` is the check that proves them for its session.

    Levels that follow the air's density are put back to the density of the session in which the sheet is
    written, or to the usual one where its room isn't known.
    """
    sheet = ValueSheet.objects.create(rig=baseline.rig, baseline=baseline, rig_check=after, made_at=at)
    session = after.session if after else sessions.current(centre=baseline.rig.centre, at=at)
    values = list(baseline.values.select_related("measurand"))
    known = histories(baseline, session=session)
    figures = levels.in_force(value.measurand for value in values)
    rows = []
    for value in values:
        row = SheetValue(sheet=sheet, measurand=value.measurand, repeats=value.repeats, state=value.state)
        if value.measurand.kind == MeasurandKind.LEVEL:
            history = known[value.measurand_id]
            present = _present(
                history,
                figures=figures[value.measurand_id],
                at=days_between(baseline.started_at, at),
                session=session,
                is_checked=after is not None,
            )
            _fill(row, present, value=value, history=history, session=session)
        rows.append(row)
    SheetValue.objects.bulk_create(rows)
    return sheet


def _present(
    history: LevelHistory,
    *,
    figures: levels.Figures,
    at: float,
    session: Session | None,
    is_checked: bool,
) -> PresentValue:
    size = abs(float(history.baseline.mean))
    air = history.airs.of(_key(session))
    return present_value(
        levels.model_of(history.value, figures=figures, size=size),
        baseline=history.baseline,
        checks=history.checks,
        # A check may have been written by somebody whose request came in a moment later.
        at=max([at, *(check.at for check in history.checks)]),
        session=_key(session) if is_checked else None,
        reference_u=history.reference_u,
        air_u=0.0 if air is None else air.u / air.value * size,
    )


def _fill(
    row: SheetValue,
    present: PresentValue,
    *,
    value: BaselineValue,
    history: LevelHistory,
    session: Session | None,
) -> None:
    """Keep the present value, put back from reference air to the session's own."""
    air: Density | None = history.airs.of(_key(session))
    back = back_in(air)
    row.value, row.other_u = float(present.value) * back, float(present.u) * back
    row.other_dof = None if present.dof == float("inf") else float(present.dof)
    row.repeat_sd, row.repeat_dof = float(present.repeat_sd) * back, value.repeat_dof
    row.repeat_share = float(present.repeat_share)
    row.air_source = history.airs.source(_key(session))
    if air is not None:
        row.air_density, row.air_u = air.value, air.u / air.value


def _key(session: Session | None) -> UUID | None:
    return None if session is None else session.pk
