"""Certificates of instruments."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isfinite

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.metrology.quantities import Quantity, to_si, unit_quantity
from rigs.models import Calibration, CalibrationPoint, Instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class PointLine:
    """One line of a certificate's table, in ``unit``. Errors are indicated minus reference."""

    quantity: Quantity
    unit: str
    nominal: float
    as_left_error: float
    expanded_u: float
    coverage_factor: float = 2.0
    as_found_error: float | None = None


@transaction.atomic
def record(
    *,
    instrument: Instrument,
    certificate: str,
    laboratory: str,
    calibrated_on: date,
    due_on: date,
    points: Sequence[PointLine],
    as_found_in_tolerance: bool,
    by: Person,
    at: datetime,
    late_note: str = "",
) -> Calibration:
    """Record a certificate. Refused when known already, dated in the future, or due before it was made.

    Also with two points at one nominal value, whatever their units, or a point without its uncertainty.
    """
    if instrument.calibrations.filter(certificate=certificate).exists():
        raise Refused(
            f"Certificate {certificate} is recorded for {instrument.tag} already.", field="certificate"
        )
    _require_dates(calibrated_on, due_on, today=instrument.centre.date_at(at))
    is_late = _require_late_note(instrument, calibrated_on=calibrated_on, note=late_note)
    _require_own_quantities(instrument, points)
    _refuse_broken(points)
    calibration = Calibration.objects.create(
        instrument=instrument,
        certificate=certificate,
        laboratory=laboratory,
        calibrated_on=calibrated_on,
        due_on=due_on,
        as_found_in_tolerance=as_found_in_tolerance,
        recorded_by=by,
        recorded_at=at,
        late_note=late_note.strip() if is_late else "",
    )
    CalibrationPoint.objects.bulk_create(_rows(calibration, points))
    ledger.append(
        centre=instrument.centre,
        actor=by,
        verb="calibration.record",
        subject=calibration.pk,
        at=at,
        facts={
            "instrument": str(instrument.pk),
            "as_found_in_tolerance": as_found_in_tolerance,
            "late": is_late,
        },
    )
    return calibration


def _require_dates(calibrated_on: date, due_on: date, *, today: date) -> None:
    if calibrated_on > today:
        raise Refused("The calibration date lies in the future.", field="calibrated_on")
    if due_on <= calibrated_on:
        raise Refused("The next calibration must be due after this one was made.", field="due_on")


def _refuse_broken(points: Sequence[PointLine]) -> None:
    """Refuse points that no correction follows from: not numbers, another quantity's, without U, doubled."""
    known = set()
    for point in points:
        why = _broken(point)
        nominal = None if why else (point.quantity, to_si(point.nominal, unit=point.unit))
        if nominal in known:
            why = f"Two points have the same nominal value, {point.nominal:g} {point.unit}. Leave one out."
        if why is not None:
            raise Refused(why, field="points")
        known.add(nominal)


def _broken(point: PointLine) -> str | None:
    figures = (point.nominal, point.as_left_error, point.expanded_u, point.coverage_factor)
    if not all(map(isfinite, (*figures, point.as_found_error or 0.0))):
        return "A point has a nominal value, its errors, U and k: all of them numbers."
    at = f"At {point.nominal:g} {point.unit}"
    if unit_quantity(point.unit) is not point.quantity:
        return f"{at}: {point.unit} doesn’t measure {point.quantity.words}. Pick the certificate’s unit."
    if point.expanded_u <= 0 or point.coverage_factor <= 0:
        return f"{at}, the uncertainty U and its factor k must be above 0: copy them from the certificate."
    return None


def _require_late_note(instrument: Instrument, *, calibrated_on: date, note: str) -> bool:
    """Whether a later certificate is on record. Refused then without a note: most often it is a slip."""
    later = instrument.calibrations.filter(calibrated_on__gt=calibrated_on).first()
    if later is None:
        return False
    if not note.strip():
        raise Refused(
            f"{instrument.tag} has a later certificate already: {later.certificate}, made on "
            f"{later.calibrated_on:%d %B %Y}. If this one is entered late, say why.",
            field="late_note",
        )
    return True


def _require_own_quantities(instrument: Instrument, points: Sequence[PointLine]) -> None:
    measured = {each.quantity for each in instrument.model.ranges.all()}
    for point in points:
        if point.quantity not in measured:
            raise Refused(
                f"{instrument.tag} doesn’t measure {point.quantity.words}: {point.unit} is the wrong unit.",
                field="points",
            )


def _rows(calibration: Calibration, points: Sequence[PointLine]) -> list[CalibrationPoint]:
    return [
        CalibrationPoint(
            calibration=calibration,
            quantity=point.quantity,
            unit=point.unit,
            nominal=point.nominal,
            as_found_error=point.as_found_error,
            as_left_error=point.as_left_error,
            expanded_u=point.expanded_u,
            coverage_factor=point.coverage_factor,
        )
        for point in points
    ]
