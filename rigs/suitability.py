"""Which instruments can decide what on a rig, at the rig's own values, before anything is measured."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby

from django.db.models import OuterRef, Subquery

from rigs.instruments import KIND_FOR_QUANTITY, kind_for, spec_of
from rigs.metrology.conformity import agrees
from rigs.metrology.instruments import NoRange, Suitability, suitable
from rigs.metrology.quantities import Quantity, from_si
from rigs.models import Baseline, Instrument, Measurand, Rig, SheetValue, ValueSheet
from rigs.models.designs import MeasurandKind

AMPLE = 10
"""The tolerance is so many times the instrument's U: it could be worn a good deal and still decide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedRange:
    """What a competent reading with one instrument should be, in ``unit``."""

    lower: float
    upper: float
    value: float
    unit: str
    decimals: int


class Fitness(StrEnum):
    """How tolerance and U compare, no finer: from the ratio itself the rig's value could be worked out."""

    AMPLE = "ample"
    ENOUGH = "enough"
    TOO_COARSE = "too-coarse"

    @property
    def is_enough(self) -> bool:
        return self is not Fitness.TOO_COARSE

    @property
    def words(self) -> str:
        match self:
            case Fitness.AMPLE:
                return f"{AMPLE} : 1 or better"
            case Fitness.ENOUGH:
                return f"4 : 1 to {AMPLE} : 1"
            case Fitness.TOO_COARSE:
                return "below 4 : 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decides:
    """What an instrument can decide on one rig, point by point, as the rig is today."""

    rig: Rig
    points: tuple[tuple[Measurand, Fitness], ...]

    @property
    def is_suitable(self) -> bool:
        return all(fitness.is_enough for _, fitness in self.points)


def decided_by(instrument: Instrument) -> list[Decides]:
    """The rigs in use whose levels this kind of instrument reads. A constant number of queries.

    A rig without a value sheet of the baseline in force isn't there.
    """
    in_force = Baseline.objects.approved().filter(rig=OuterRef("rig")).values("pk")[:1]
    newest = ValueSheet.objects.filter(rig=OuterRef("pk"), baseline=Subquery(in_force)).values("pk")[:1]
    # Asked of each rig, of which there are few, and not of each of its sheets.
    rigs = Rig.objects.filter(centre=instrument.centre_id, retired_at=None)
    sheets = rigs.annotate(newest_sheet=Subquery(newest)).values("newest_sheet")
    measured = [each for each, kind in KIND_FOR_QUANTITY.items() if kind == instrument.model.kind]
    levels = SheetValue.objects.filter(
        sheet__in=sheets,
        measurand__kind=MeasurandKind.LEVEL,
        measurand__test_point__quantity__in=measured,
    )
    related = ("sheet__rig", "measurand__test_point", "measurand__condition")
    found = levels.select_related(*related).order_by("sheet__rig__tag", "measurand__position")
    return [
        Decides(
            rig=rig,
            points=tuple((each.measurand, fitness(of_value(each, instrument=instrument))) for each in values),
        )
        for rig, values in groupby(found, key=lambda each: each.sheet.rig)
    ]


def fitness(found: Suitability) -> Fitness:
    if not found.suitable:
        return Fitness.TOO_COARSE
    return Fitness.AMPLE if found.ratio >= AMPLE else Fitness.ENOUGH


def levels_of(sheet: ValueSheet | None) -> list[SheetValue]:
    """The sheet's levels, with what suitability asks of them; none without a sheet."""
    if sheet is None:
        return []
    return list(
        sheet.values.filter(measurand__kind=MeasurandKind.LEVEL).select_related("measurand__test_point")
    )


def refusal(*, instrument: Instrument, levels: Iterable[SheetValue]) -> str | None:
    """Why an instrument can't decide this rig's readings, without a number; None when it can."""
    mine = (each for each in levels if kind_for(each.measurand) == instrument.model.kind)
    if all(of_value(each, instrument=instrument).suitable for each in mine):
        return None
    return f"{instrument.tag} isn't suitable for what is read on this rig. Choose another."


def of_value(value: SheetValue, *, instrument: Instrument) -> Suitability:
    """Whether an instrument is fine enough for one present value: U at most a quarter of the tolerance."""
    measurand = value.measurand
    assert value.value is not None  # a level has one
    centre_percent = float(instrument.centre.tolerance_percent)
    percent = centre_percent if measurand.tolerance_percent is None else measurand.tolerance_percent
    return suitable(
        spec_of(instrument.model),
        quantity=Quantity(measurand.test_point.quantity),
        value_si=value.value,
        tolerance_si=max(percent / 100 * abs(value.value), measurand.tolerance_floor),
    )


def expected_range(value: SheetValue, *, instrument: Instrument) -> ExpectedRange | None:
    """The range for the instrument in hand, t at 95.45 %; None where its display can't show the value."""
    if value.value is None or value.other_u is None or value.repeat_sd is None:
        return None
    unit = value.measurand.test_point.unit
    try:
        found = spec_of(instrument.model).range_for(
            quantity=Quantity(value.measurand.test_point.quantity), value_si=value.value
        )
    except NoRange:
        return None
    agreement = agrees(
        reading=value.value,
        value=value.value,
        repeat_sd=value.repeat_sd,
        repeat_dof=value.repeat_dof or 1,
        repeat_share=value.repeat_share or 0.0,
        value_u=value.other_u,
        value_dof=float("inf") if value.other_dof is None else value.other_dof,
        instrument_u=found.standard_uncertainty(reading_si=value.value),
        floor=float(instrument.centre.floor_percent) / 100 * abs(value.value),
    )
    return ExpectedRange(
        lower=from_si(float(agreement.lower), unit=unit),
        upper=from_si(float(agreement.upper), unit=unit),
        value=from_si(value.value, unit=unit),
        unit=unit,
        decimals=found.decimals_in(unit),
    )
