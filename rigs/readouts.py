"""What was read on a rig, laid out for people: in the unit of the test point, rounded, compared.

These are a rig's answers. Whoever is shown them is not to be assessed on that rig afterwards.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from rigs import baselines, histories, references, repeats, suitability
from rigs.metrology.environment import REFERENCE_DENSITY
from rigs.metrology.quantities import from_si, si_factor
from rigs.metrology.uncertainty import last_place, reported, rounded
from rigs.models import (
    Baseline,
    BaselineReading,
    BaselineValue,
    Check,
    CheckReading,
    Instrument,
    Measurand,
    SheetValue,
    ValueSheet,
)
from rigs.models.designs import MeasurandKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One reading as typed; ``unit`` is empty where it was typed too, or there is no number.

    ``flagged`` is one that the outlier screen asks to look at again, ``outlier`` what became of it, in words.
    """

    label: str
    text: str
    unit: str
    flagged: bool = False
    outlier: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    number: int
    taken_at: datetime
    instruments: tuple[str, ...]
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What a baseline says of one measurand. Texts in ``unit``; empty where a measurand has no such figure.

    ``flagged`` are runs that nobody has decided on yet. ``before`` is the mean of the baseline before,
    ``change`` since then; no
    change is told where only one of them is in reference air. ``note`` says what was made of the readings.
    """

    label: str
    unit: str
    repeats: int
    days: int
    mean: str = ""
    u: str = ""
    repeat_sd: str = ""
    between_sd: str = ""
    flagged: tuple[int, ...] = ()
    before: str = ""
    change: str = ""
    state: str = ""
    expected_state: str = ""
    note: str = ""

    @property
    def is_as_expected(self) -> bool:
        return self.state == self.expected_state


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What a check found of one measurand beside its baseline: means of a level, or states.

    Both are corrected and in the same air; ``note`` says by what.
    """

    label: str
    unit: str
    cells: tuple[Cell, ...]
    found: str
    baseline: str
    change: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """The present value of one measurand, and what one instrument should show of it.

    ``lower`` and ``upper`` are what its display can show that is still in range; empty where it has no range
    for this. ``suitable`` is None where the measurand is not for this instrument, ``working`` for staff.
    ``note`` says in which air, where that matters.
    """

    label: str
    unit: str
    value: str = ""
    u: str = ""
    state: str = ""
    lower: str = ""
    upper: str = ""
    suitable: bool | None = None
    working: str = ""
    note: str = ""


def runs(*, baseline: Baseline, summaries: Iterable[Summary] = ()) -> tuple[Run, ...]:
    """Every run of a baseline in order, its flagged readings marked."""
    flagged = {(each.label, number) for each in summaries for number in each.flagged}
    return tuple(
        Run(
            number=number,
            taken_at=readings[0].taken_at,
            instruments=tuple(sorted({each.instrument.tag for each in readings})),
            cells=tuple(
                Cell(
                    label=str(each.measurand),
                    text=each.text,
                    unit=_unit_beside(each),
                    flagged=(str(each.measurand), number) in flagged,
                    outlier=each.get_outlier_display(),
                )
                for each in readings
            ),
        )
        for number, readings in _by_repeat(baseline)
    )


def by_measurand(runs: Iterable[Run]) -> tuple[tuple[Cell, ...], ...]:
    """The readings of each measurand, in the order of the runs."""
    return tuple(zip(*(run.cells for run in runs), strict=True))


def summaries(*, baseline: Baseline, values: Iterable[BaselineValue] | None = None) -> tuple[Summary, ...]:
    """What a baseline says so far; nothing before it has enough runs to say anything.

    ``values`` are its figures, where they are known already.
    """
    values = baselines.figures(baseline=baseline) if values is None else values
    before = baselines.before(baseline)
    earlier = {} if before is None else {value.measurand_id: value for value in before.values.all()}
    made_right = _origins(baseline.readings.all())
    settled = set(baseline.readings.exclude(outlier="").values_list("measurand", "repeat"))
    return tuple(
        replace(
            _summary(value, earlier.get(value.measurand_id), made_right.get(value.measurand_id, "")),
            flagged=tuple(run for run in value.flagged if (value.measurand_id, run) not in settled),
        )
        for value in values
    )


def comparisons(*, check: Check) -> tuple[Comparison, ...]:
    readings = check.readings.select_related("measurand__test_point", "measurand__condition", "rig_check")
    values = {value.measurand_id: value for value in check.baseline.values.select_related("measurand")}
    airs = histories.airs(check.baseline, session=check.session)
    made_right = _origins(check.readings.all())
    ordered = sorted(readings, key=lambda each: (each.measurand.position, each.repeat))
    return tuple(
        _comparison(
            measurand, list(group), values[measurand.pk], airs=airs, origin=made_right.get(measurand.pk, "")
        )
        for measurand, group in groupby(ordered, key=lambda each: each.measurand)
    )


def present_values(*, sheet: ValueSheet, instrument: Instrument | None) -> tuple[Present, ...]:
    """Every value of a sheet. ``instrument`` needs its centre and its model's ranges."""
    values = sheet.values.select_related("measurand__test_point", "measurand__condition")
    return present(values, instrument=instrument)


def present(values: Iterable[SheetValue], *, instrument: Instrument | None = None) -> tuple[Present, ...]:
    """The same of values that were looked up before, with their measurands."""
    return tuple(_present(value, instrument) for value in values)


def _origins(readings: QuerySet[Any]) -> dict[int, str]:
    """What made each level's readings right, in words, by measurand."""
    levels = readings.filter(measurand__kind=MeasurandKind.LEVEL).select_related("instrument", "calibration")
    ordered = sorted(levels, key=lambda each: each.measurand_id)
    return {
        measurand: references.origin(group)
        for measurand, group in groupby(ordered, key=lambda each: each.measurand_id)
    }


def _by_repeat(baseline: Baseline) -> list[tuple[int, list[BaselineReading]]]:
    readings = baseline.readings.select_related("measurand__test_point", "measurand__condition", "instrument")
    ordered = sorted(readings, key=lambda each: (each.repeat, each.measurand.position))
    return [(number, list(group)) for number, group in groupby(ordered, key=lambda each: each.repeat)]


def _summary(value: BaselineValue, earlier: BaselineValue | None, origin: str) -> Summary:
    measurand = value.measurand
    if value.mean is None or value.repeat_sd is None:
        return Summary(
            label=str(measurand),
            unit="",
            repeats=value.repeats,
            days=value.days,
            state=repeats.state_words(value.state),
            expected_state=measurand.expected_state,
        )
    unit = measurand.test_point.unit
    mean, u = _with_u(value.mean, _u_of_mean(value), unit=unit)
    before = None if earlier is None else earlier.mean
    comparable = earlier is not None and (earlier.air_u is None) == (value.air_u is None)
    return Summary(
        label=str(measurand),
        unit=unit,
        repeats=value.repeats,
        days=value.days,
        mean=mean,
        u=u,
        repeat_sd=_spread(value.repeat_sd, unit=unit),
        between_sd="" if value.between_sd is None else _spread(value.between_sd, unit=unit),
        before="" if before is None else _level(before, unit=unit, last=last_place(Decimal(u))),
        change=_change(measurand, now=value.mean, before=before) if before is not None and comparable else "",
        note=_note(origin, in_reference_air=value.air_u is not None),
    )


def _note(origin: str, *, in_reference_air: bool) -> str:
    air = f"As air of {REFERENCE_DENSITY:g} kg/m³ would give it" if in_reference_air else ""
    return "; ".join(filter(None, (air, origin)))


def _u_of_mean(value: BaselineValue) -> float:
    """Standard uncertainty of a baseline's mean: between days, repeats, the reference instrument, the air."""
    assert value.repeat_sd is not None and value.mean is not None
    between = (value.between_sd or 0.0) / math.sqrt(value.days)
    repeats_u = value.repeat_sd / math.sqrt(value.repeats)
    return math.hypot(between, repeats_u, value.reference_u or 0.0, (value.air_u or 0.0) * value.mean)


def _comparison(
    measurand: Measurand,
    readings: Sequence[CheckReading],
    value: BaselineValue,
    *,
    airs: histories.Airs,
    origin: str,
) -> Comparison:
    label, unit = str(measurand), measurand.test_point.unit
    cells = tuple(Cell(label=label, text=each.text, unit=_unit_beside(each)) for each in readings)
    if measurand.kind == MeasurandKind.STATE:
        found = repeats.state_words(repeats.state_of(readings))
        return Comparison(label=label, unit="", cells=cells, found=found, baseline=value.state)
    frame = histories.frame_of(measurand, airs)
    baseline = float(histories.baseline_level(value, usual=frame.usual).mean)
    mean = histories.mean_in(frame, readings=readings, session=readings[0].rig_check.session_id)
    last = _last_typed(readings, unit=unit)
    return Comparison(
        label=label,
        unit=unit,
        cells=cells,
        found=_level(mean, unit=unit, last=last),
        baseline=_level(baseline, unit=unit, last=last),
        change=_change(measurand, now=mean, before=baseline),
        note=_note(origin, in_reference_air=frame.usual is not None),
    )


def _present(value: SheetValue, instrument: Instrument | None) -> Present:
    label, unit = str(value.measurand), value.measurand.test_point.unit
    if value.value is None or value.other_u is None:
        return Present(label=label, unit="", state=repeats.state_words(value.state))
    repeat_u = math.sqrt(value.repeat_share or 0.0) * (value.repeat_sd or 0.0)
    shown, u = _with_u(value.value, math.hypot(value.other_u, repeat_u), unit=unit)
    note = _air_of(value)
    if instrument is None:
        return Present(label=label, unit=unit, value=shown, u=u, note=note)
    expected = suitability.expected_range(value, instrument=instrument)
    lower, upper = ("", "") if expected is None else _shown_range(expected)
    found = suitability.of_value(value, instrument=instrument)
    return Present(
        label=label,
        unit=unit,
        value=shown,
        u=u,
        lower=lower,
        upper=upper,
        suitable=found.suitable,
        working=found.working,
        note=note,
    )


def _air_of(value: SheetValue) -> str:
    if value.air_density is None:
        return ""
    return f"In air of {value.air_density:.3f} kg/m³, {value.get_air_source_display()}"


def _unit_beside(reading: BaselineReading | CheckReading) -> str:
    return reading.unit if reading.text.rstrip()[-1:].isdigit() else ""


def _shown_range(expected: suitability.ExpectedRange) -> tuple[str, str]:
    """The first and last figure on the instrument's display that are in range.

    Where none is, the bounds themselves, with two decimals more.
    """
    step = Decimal(1).scaleb(-expected.decimals)
    low, high = (Decimal(repr(round(end, expected.decimals + 6))) for end in (expected.lower, expected.upper))
    first = low.quantize(step, rounding=ROUND_CEILING)
    last = high.quantize(step, rounding=ROUND_FLOOR)
    if first > last:
        first, last = (rounded(value=end, last=step.scaleb(-2)) for end in (low, high))
    return _signed(first), _signed(last)


def _with_u(value_si: float, u_si: float, *, unit: str) -> tuple[str, str]:
    """A value and its standard uncertainty to the same decimal."""
    found = reported(value=from_si(value_si, unit=unit), expanded=u_si / si_factor(unit))
    return _signed(found.value), f"{found.expanded:f}"


def _spread(sd_si: float, *, unit: str) -> str:
    """A standard deviation to two digits; one of zero, between days that agree, as 0."""
    return f"{reported(value=0, expanded=sd_si / si_factor(unit)).expanded:f}" if sd_si else "0"


def _level(value_si: float, *, unit: str, last: Decimal) -> str:
    return _signed(rounded(value=from_si(value_si, unit=unit), last=last))


def _last_typed(readings: Iterable[CheckReading], *, unit: str) -> Decimal:
    """The finest decimal that was typed, in another unit if need be."""
    finest = min(each.si_resolution or math.inf for each in readings) / si_factor(unit)
    return Decimal(1).scaleb(rounded(value=finest, last=Decimal("1e-12")).adjusted())


def _change(measurand: Measurand, *, now: float, before: float) -> str:
    """By how much a level changed: in percent, but near zero in the unit of the test point."""
    if abs(before) > measurand.tolerance_floor:
        return f"{_signed(Decimal(f'{(now / before - 1) * 100:.1f}'), plus=True)} %"
    unit = measurand.test_point.unit
    return f"{_signed(Decimal(f'{(now - before) / si_factor(unit):.3f}'), plus=True)} {unit}"


def _signed(number: Decimal, *, plus: bool = False) -> str:
    """A number with a real minus; zero has no sign."""
    text = f"{number + 0:+f}" if plus and number else f"{number + 0:f}"
    return text.replace("-", "\N{MINUS SIGN}")
