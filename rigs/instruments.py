"""Which instruments may be used for what, today."""

from collections.abc import Collection, Iterable
from datetime import date

from academy.models import Centre
from rigs.metrology.instruments import RangeSpec, Spec
from rigs.metrology.quantities import Quantity
from rigs.models import Calibration, Instrument, InstrumentModel, Measurand, SpecRange
from rigs.models.instruments import CALIBRATED_KINDS, InstrumentKind, InstrumentQuerySet

KIND_FOR_QUANTITY = {
    Quantity.PRESSURE: InstrumentKind.MANOMETER,
    Quantity.RESISTANCE: InstrumentKind.MULTIMETER,
    Quantity.VOLTAGE: InstrumentKind.VOLTAGE_INDICATOR,
    Quantity.TEMPERATURE: InstrumentKind.THERMOMETER,
    Quantity.TIME: InstrumentKind.STOPWATCH,
    Quantity.VOLUME: InstrumentKind.GAS_METER,
}


def kind_for(measurand: Measurand) -> InstrumentKind:
    """The kind of instrument that a measurand is read with. Needs ``test_point``."""
    return KIND_FOR_QUANTITY[Quantity(measurand.test_point.quantity)]


def spec_of(model: InstrumentModel) -> Spec:
    """A model's specification as a value. Prefetch ``ranges`` when asking for many."""
    return spec_from_rows(model.ranges.all())


def spec_from_rows(rows: Iterable[SpecRange]) -> Spec:
    return Spec(
        ranges=tuple(
            RangeSpec(
                quantity=Quantity(row.quantity),
                unit=row.unit,
                full_scale=row.full_scale,
                resolution=row.resolution,
                percent_reading=row.percent_reading,
                percent_full_scale=row.percent_full_scale,
                counts=row.counts,
                continuity_threshold=row.continuity_threshold,
            )
            for row in rows
        )
    )


def calibration_in_force(*, instrument: Instrument, on: date) -> Calibration | None:
    """The newest certificate, if its interval covers the day: an older one that does is no help."""
    known = (each for each in instrument.calibrations.all() if each.calibrated_on <= on)
    newest = max(known, key=lambda each: (each.calibrated_on, each.recorded_at), default=None)
    return newest if newest is not None and newest.due_on >= on else None


def refusal(*, instrument: Instrument, kind: str, on: date, in_candidates_hands: bool = True) -> str | None:
    """Why it can't be used as ``kind`` on a day, in words for the person holding it; None if it can."""
    if instrument.model.kind != kind:
        wanted = InstrumentKind(kind).label.lower()
        return f"{instrument.tag} is a {instrument.model.get_kind_display().lower()}; this needs a {wanted}."
    if instrument.retired_at is not None:
        return f"{instrument.tag} is retired."
    hold = next((each for each in instrument.holds.all() if each.released_at is None), None)
    if hold is not None:
        return f"{instrument.tag} is on hold: {hold.reason}"
    if in_candidates_hands and instrument.is_reference:
        return f"{instrument.tag} is a reference instrument, kept for checks and baselines."
    if kind in CALIBRATED_KINDS and calibration_in_force(instrument=instrument, on=on) is None:
        return _overdue(instrument)
    return None


def _overdue(instrument: Instrument) -> str:
    known = instrument.calibrations.all()
    newest = max(known, key=lambda each: (each.calibrated_on, each.recorded_at), default=None)
    if newest is None:
        return f"{instrument.tag} has no calibration certificate on record."
    return f"{instrument.tag} is overdue: its calibration ran out on {newest.due_on:%d %B %Y}."


def choices(*, centre: Centre, kinds: Collection[str]) -> InstrumentQuerySet:
    """What a person may pick from, with all that `refusal` asks of them; it is told when one is picked."""
    return (
        Instrument.objects.filter(centre=centre, model__kind__in=kinds)
        .in_use()
        .select_related("model", "centre")
        .prefetch_related("model__ranges", "calibrations__points", "holds")
    )
