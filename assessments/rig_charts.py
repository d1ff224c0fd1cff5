"""What a rig's charts show beside its checks: the readings of attempts, and its baselines side by side."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, tzinfo
from statistics import fmean
from uuid import UUID

from assessments import whose
from rigs.board import LevelState
from rigs.drawings import Dot, Panel, dots_panel, percent
from rigs.metrology.quantities import from_si, si_factor
from rigs.metrology.uncertainty import reported
from rigs.models import Baseline, BaselineValue, Rig, SheetValue
from rigs.models.designs import MeasurandKind


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """The readings of one session with one instrument: how far they are from the sheet, on average."""

    at: datetime
    instrument: str
    readings: int
    people: int
    mean: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Attempts' readings and checks, as shares of the value on the sheet that each was marked against."""

    panel: Panel | None
    rows: tuple[SessionRow, ...]


def beside(state: LevelState, *, rig: Rig, zone: tzinfo) -> Beside | None:
    """A constant number of queries; None for a level near zero, where shares mean nothing."""
    found = state.series
    if found.reference.is_near_zero:
        return None
    seen = whose.on_rig(rig=rig, measurand=found.measurand.pk)
    sheets = _on_sheets(found.measurand.pk, checks=[each.check for each in found.points])
    dots = [
        Dot(
            at=each.at,
            share=100 * each.share,
            kind="reading",
            words=f"{each.at.astimezone(zone):%-d %B, %H:%M}, {each.tag}: {percent(100 * each.share)}",
        )
        for each in seen
    ]
    checks = [
        Dot(
            at=each.at,
            share=100 * (each.mean / sheets[each.check] - 1),
            kind="check",
            words=f"check of {each.at.astimezone(zone):%-d %B, %H:%M}",
        )
        for each in found.points
        if seen and sheets.get(each.check)
    ]
    return Beside(
        panel=dots_panel(
            [*checks, *dots],
            title="Readings of attempts",
            description=f"{len(dots)} readings of attempts and {len(checks)} checks, as shares away from the "
            "value that was on the sheet.",
            zone=zone,
        )
        if dots
        else None,
        rows=_rows(seen),
    )


def _on_sheets(measurand: int, *, checks: list[UUID]) -> dict[UUID, float]:
    rows = SheetValue.objects.filter(measurand=measurand, sheet__rig_check__in=checks, value__isnull=False)
    return {check: value for check, value in rows.values_list("sheet__rig_check", "value") if value}


def _rows(seen: tuple[whose.Seen, ...]) -> tuple[SessionRow, ...]:
    """The newest first."""
    groups: dict[tuple[UUID | None, str], list[whose.Seen]] = defaultdict(list)
    for each in seen:
        groups[each.session, each.tag].append(each)
    rows = [
        SessionRow(
            at=group[0].at,
            instrument=tag,
            readings=len(group),
            people=len({each.candidate for each in group}),
            mean=percent(100 * fmean(each.share for each in group)),
        )
        for (_, tag), group in groups.items()
    ]
    return tuple(sorted(rows, key=lambda row: row.at, reverse=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One level over the approved baselines of a rig: (mean, change since the one before), in their order."""

    label: str
    unit: str
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    baselines: tuple[Baseline, ...]
    levels: tuple[Compared, ...]


def baselines_side_by_side(rig: Rig) -> SideBySide:
    """The approved baselines, the oldest first. Two queries."""
    approved = tuple(Baseline.objects.approved().filter(rig=rig).order_by("number"))
    values = BaselineValue.objects.filter(
        baseline__in=approved, measurand__kind=MeasurandKind.LEVEL
    ).select_related("measurand__test_point", "measurand__condition")
    known = {(each.measurand_id, each.baseline_id): each for each in values}
    measurands = {each.measurand_id: each.measurand for each in values}
    ordered = sorted(measurands.values(), key=lambda each: each.position)
    return SideBySide(
        baselines=approved,
        levels=tuple(
            Compared(
                label=str(each),
                unit=each.test_point.unit,
                cells=_cells([known.get((each.pk, baseline.pk)) for baseline in approved]),
            )
            for each in ordered
        ),
    )


def _cells(values: list[BaselineValue | None]) -> tuple[tuple[str, str], ...]:
    cells, before = [], None
    for each in values:
        if each is None or each.mean is None or each.repeat_sd is None:
            cells.append(("", ""))
            continue
        unit = each.measurand.test_point.unit
        shown = reported(value=from_si(each.mean, unit=unit), expanded=each.repeat_sd / si_factor(unit))
        is_share = before is not None and abs(before) > each.measurand.tolerance_floor
        change = percent((each.mean / before - 1) * 100) if is_share and before else ""
        cells.append((f"{shown.value:f}".replace("-", "\N{MINUS SIGN}"), change))
        before = each.mean
    return tuple(cells)
