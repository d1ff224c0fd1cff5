"""Certificates as rows: one a point; the rows of one certificate say the same of the whole."""

from collections.abc import Iterator, Sequence
from typing import Any

from academy.models import Centre
from academy.permissions import Permission
from academy.refusals import Refused
from academy.transfer import cells
from academy.transfer.kinds import Kind, RowRefused, Sender, require_same, require_unchanged
from academy.transfer.tables import CellRefused, Column, Row, Value
from rigs import calibrations
from rigs.calibrations import PointLine
from rigs.metrology.quantities import Quantity
from rigs.models import Calibration, Instrument
from rigs.models.instruments import CALIBRATED_KINDS
from rigs.transfer import readings

INSTRUMENT, CERTIFICATE, LABORATORY = "instrument", "certificate", "laboratory"
MADE, DUE, IN_TOLERANCE, LATE = "calibrated on", "due on", "as found in tolerance", "late note"
NOMINAL, UNIT, FOUND, LEFT, U, K = "nominal", "unit", "error as found", "error as left", "U", "k"
OF_THE_WHOLE = (LABORATORY, MADE, DUE, IN_TOLERANCE, LATE)
USUAL_K = 2.0


def bring_in(rows: Sequence[Row], sender: Sender) -> bool:
    head = require_same(rows, OF_THE_WHOLE)
    instrument = _instrument(head, sender.centre)
    points = _points(rows, instrument)
    given: dict[str, Any] = {
        "laboratory": cells.text(head, LABORATORY),
        "calibrated_on": cells.needed_day(head, MADE),
        "due_on": cells.needed_day(head, DUE),
        "as_found_in_tolerance": bool(cells.truth(head, IN_TOLERANCE)),
    }
    certificate = cells.text(head, CERTIFICATE)
    known = instrument.calibrations.filter(certificate=certificate).first()
    if known is not None:
        _require_unchanged(known, given, points)
        return False
    calibrations.record(
        instrument=instrument,
        certificate=certificate,
        points=points,
        late_note=cells.text(head, LATE),
        by=sender.by,
        at=sender.at,
        **given,
    )
    return True


def written(centre: Centre) -> Iterator[Sequence[Value]]:
    """The certificates of the instruments in use, as they were made. One without points has no row."""
    found = Calibration.objects.filter(instrument__centre=centre, instrument__retired_at=None)
    for each in (
        found.select_related("instrument")
        .prefetch_related("points")
        .order_by("instrument__tag", "calibrated_on", "recorded_at")
    ):
        for point in each.points.all():
            yield (
                each.instrument.tag,
                each.certificate,
                each.laboratory,
                each.calibrated_on,
                each.due_on,
                "yes" if each.as_found_in_tolerance else "no",
                each.late_note,
                point.nominal,
                point.unit,
                point.as_found_error,
                point.as_left_error,
                point.expanded_u,
                point.coverage_factor,
            )


def _instrument(row: Row, centre: Centre) -> Instrument:
    tag = cells.text(row, INSTRUMENT).upper()
    related = Instrument.objects.select_related("centre", "model").prefetch_related("model__ranges")
    found = related.filter(centre=centre, tag=tag).first()
    if found is None:
        raise CellRefused(f"There is no instrument {tag}.", column=INSTRUMENT)
    if found.model.kind not in CALIBRATED_KINDS:
        kind = found.model.get_kind_display().lower()
        raise CellRefused(f"{tag} is a {kind}, which has no certificates.", column=INSTRUMENT)
    return found


def _points(rows: Sequence[Row], instrument: Instrument) -> list[PointLine]:
    quantities = tuple(dict.fromkeys(Quantity(each.quantity) for each in instrument.model.ranges.all()))
    points: dict[tuple[Quantity, float], PointLine] = {}
    for row in rows:
        try:
            point = _point(row, quantities)
        except CellRefused as refusal:
            raise RowRefused(str(refusal), row=row, column=refusal.column) from refusal
        if (point.quantity, point.nominal) in points:
            raise RowRefused("This point is there twice.", row=row, column=NOMINAL)
        points[point.quantity, point.nominal] = point
    return list(points.values())


def _point(row: Row, quantities: tuple[Quantity, ...]) -> PointLine:
    quantity, unit = readings.unit(row, UNIT, quantities=quantities)
    point = PointLine(
        quantity=quantity,
        unit=unit,
        nominal=cells.needed_figure(row, NOMINAL),
        as_found_error=cells.figure(row, FOUND),
        as_left_error=cells.needed_figure(row, LEFT),
        expanded_u=cells.needed_figure(row, U),
        coverage_factor=cells.figure(row, K) or USUAL_K,
    )
    for column, value in ((U, point.expanded_u), (K, point.coverage_factor)):
        if value <= 0:
            raise CellRefused("This must be above 0: copy it from the certificate.", column=column)
    return point


def _require_unchanged(known: Calibration, given: dict[str, Any], points: Sequence[PointLine]) -> None:
    columns = dict(zip(given, (LABORATORY, MADE, DUE, IN_TOLERANCE), strict=True))
    require_unchanged(
        known.certificate, {column: (getattr(known, name), given[name]) for name, column in columns.items()}
    )
    recorded = {_figures(point) for point in known.points.all()}
    if recorded != {_figures(point) for point in points}:
        raise Refused(f"{known.certificate} is on record already, with other points.")


def _figures(point: Any) -> tuple[object, ...]:
    return (
        point.unit,
        point.nominal,
        point.as_found_error,
        point.as_left_error,
        point.expanded_u,
        point.coverage_factor,
    )


CERTIFICATES = Kind(
    slug="certificates",
    title="Certificates",
    permission=Permission.INSTRUMENT_MANAGE,
    columns=(
        Column(name=INSTRUMENT, help="the instrument’s tag", most=20),
        Column(name=CERTIFICATE, help="its number; a row for each of its points", most=60),
        Column(name=LABORATORY, help="who made it", most=120),
        Column(name=MADE, help="a date, such as 2026-03-14"),
        Column(name=DUE, help="when the next one is due"),
        Column(name=IN_TOLERANCE, help="yes or no"),
        Column(name=LATE, help="why, where a later one is on record", needed=False, most=500),
        Column(name=NOMINAL, help="the point’s nominal value"),
        Column(name=UNIT, help="of the values in this row"),
        Column(name=FOUND, help="indicated minus reference", needed=False),
        Column(name=LEFT, help="indicated minus reference"),
        Column(name=U, help="the expanded uncertainty"),
        Column(name=K, help="its coverage factor, 2 if empty", needed=False),
    ),
    bring_in=bring_in,
    named_by=CERTIFICATE,
    together=(INSTRUMENT, CERTIFICATE),
    fields={"calibrated_on": MADE, "due_on": DUE, "certificate": CERTIFICATE, "late_note": LATE},
)
