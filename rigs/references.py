"""What a reference instrument's reading is worth: corrected by its certificate, or by its specification."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from rigs.instruments import calibration_in_force, spec_of
from rigs.metrology.certificates import Certificate, CertificatePoint, CorrectionCurve
from rigs.metrology.quantities import Quantity, to_si, width_to_si
from rigs.models import Calibration, CalibrationPoint, Instrument
from rigs.models.baselines import ReferenceReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """In SI. ``correction`` is to be added to the reading; ``calibration`` says so, None where nothing does.

    ``u`` is √(U²/k² + r²/12) with a certificate that reaches the reading, else the specification's.
    """

    correction: float
    u: float
    calibration: Calibration | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionLine:
    """A point of the curve in force, in the certificate's ``unit``: what is added there, and its u = U/k."""

    nominal: float
    correction: float
    u: float
    unit: str


def corrections(*, instrument: Instrument, on: date) -> tuple[Calibration | None, tuple[CorrectionLine, ...]]:
    """What a reference instrument's readings are corrected by on a day; no lines where by nothing."""
    calibration = calibration_in_force(instrument=instrument, on=on)
    if calibration is None or not instrument.is_reference:
        return None, ()
    points = list(calibration.points.all())
    several = {each.quantity for each in points if sum(one.quantity == each.quantity for one in points) > 1}
    lines = (
        CorrectionLine(
            nominal=each.nominal,
            correction=-each.as_left_error,
            u=each.expanded_u / each.coverage_factor,
            unit=each.unit,
        )
        for each in points
        if each.quantity in several
    )
    return calibration, tuple(lines)


def worth(*, instrument: Instrument, quantity: Quantity, value_si: float, on: date) -> Worth:
    """What a reading with a reference instrument is worth on a day, on the finest range that reaches it.

    The certificate in force is applied as it left the instrument, where its points reach: u = U/k stands in
    the place of the specification, which would count the same error a second time. Outside its points, and
    without any, the specification counts and nothing is corrected. Candidates' readings are never corrected:
    they write down what the display shows. Raises NoRange.
    """
    display = spec_of(instrument.model).range_for(quantity=quantity, value_si=value_si)
    calibration = calibration_in_force(instrument=instrument, on=on)
    curve = None if calibration is None else curve_of(calibration, quantity=quantity)
    if curve is not None:
        found = curve.correct(reading=value_si)
        if found.covered:
            u = math.hypot(float(found.u), display.resolution_si / math.sqrt(12))
            return Worth(correction=-float(found.error), u=u, calibration=calibration)
    return Worth(correction=0.0, u=display.standard_uncertainty(reading_si=value_si), calibration=None)


def curve_of(calibration: Calibration, *, quantity: Quantity) -> CorrectionCurve | None:
    """The curve that a certificate leaves an instrument with, in SI; None without points of this quantity.

    A straight line needs two ends: one point alone corrects nothing.
    """
    points = [each for each in calibration.points.all() if each.quantity == quantity]
    return certificate_from(points).after if len(points) > 1 else None


def certificate_from(points: Sequence[CalibrationPoint]) -> Certificate:
    """One quantity's points in SI, whatever their units and order. Raises InstrumentError.

    As found is only known where every point says it; otherwise it was left as it was found.
    """
    left = _curve(points, (each.as_left_error for each in points))
    found = [each.as_found_error for each in points if each.as_found_error is not None]
    if len(found) < len(points):
        return Certificate(as_found=left)
    return Certificate(as_found=_curve(points, found), as_left=left)


def _curve(points: Sequence[CalibrationPoint], errors: Iterable[float]) -> CorrectionCurve:
    in_si = (
        CertificatePoint(
            nominal=float(to_si(point.nominal, unit=point.unit)),
            error=width_to_si(error, unit=point.unit),
            expanded=width_to_si(point.expanded_u, unit=point.unit),
            k=point.coverage_factor,
        )
        for point, error in zip(points, errors, strict=True)
    )
    return CorrectionCurve(points=tuple(sorted(in_si, key=lambda each: each.nominal)))


def origin(readings: Iterable[ReferenceReading]) -> str:
    """What made a level's readings right, in words. Needs ``instrument`` and ``calibration``."""
    certificates: set[str] = set()
    specified: set[str] = set()
    for each in readings:
        if each.calibration is None:
            specified.add(each.instrument.tag)
        else:
            certificates.add(f"{each.instrument.tag} corrected by its certificate {each.calibration}")
    specifications = [f"{tag} by its specification, outside its certificate’s points" for tag in specified]
    return "; ".join([*sorted(certificates), *sorted(specifications)])
