"""Certificates of instruments."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import isfinite

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.metrology.instruments import InstrumentError
from rigs.metrology.quantities import Quantity, to_si
from rigs.models import Calibration, CalibrationPoint, Instrument
from rigs.references import certificate_from


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
) -> Calibration:
    """Record a certificate. Refused when known already, dated in the future, or due before it was made.

    Also with two points at one nominal value, whatever their units, or a point without its uncertainty.
    """
    if instrument.calibrations.filter(certificate=certificate).exists():
        raise Refused(
            f"Certificate {certificate} is recorded for {instrument.tag} already.", field="certificate"
        )
    if calibrated_on > instrument.centre.date_at(at):
        raise Refused("The calibration date lies in the future.", field="calibrated_on")
    if due_on <= calibrated_on:
        raise Refused("The next calibration must be due after this one was made.", field="due_on")
    calibration = Calibration.objects.create(
        instrument=instrument,
        certificate=certificate,
        laboratory=laboratory,
        calibrated_on=calibrated_on,
        due_on=due_on,
        as_found_in_tolerance=as_found_in_tolerance,
        recorded_by=by,
        recorded_at=at,
    )
    rows = _rows(calibration, points)
    _refuse_broken(rows)
    CalibrationPoint.objects.bulk_create(rows)
    ledger.append(
        centre=instrument.centre,
        actor=by,
        verb="calibration.record",
        subject=calibration.pk,
        at=at,
        facts={"instrument": str(instrument.pk), "as_found_in_tolerance": as_found_in_tolerance},
    )
    return calibration


def _refuse_broken(rows: Sequence[CalibrationPoint]) -> None:
    """Refuse points that no correction follows from: doubled, without U, or not numbers."""
    nominals = set()
    for row in rows:
        nominal = (row.quantity, to_si(row.nominal, unit=row.unit)) if isfinite(row.nominal) else None
        if nominal in nominals:
            raise Refused(
                f"Two points have the same nominal value, {row.nominal:g} {row.unit}. Leave one out.",
                field="points",
            )
        nominals.add(nominal)
        if row.expanded_u <= 0:
            raise Refused(
                f"At {row.nominal:g} {row.unit}, the uncertainty U must be above 0: copy it from the "
                "certificate.",
                field="points",
            )
    for quantity in sorted({row.quantity for row in rows}):
        try:
            certificate_from([row for row in rows if row.quantity == quantity])
        except InstrumentError as error:
            raise Refused(str(error), field="points") from error


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
