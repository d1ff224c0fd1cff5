from datetime import date, timedelta

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs.calibrations import PointLine
from rigs.instruments import calibration_in_force
from rigs.metrology.quantities import Quantity
from rigs.models import Calibration
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

TODAY = AT.date()


@pytest.fixture
def manometer(manager):
    return make.instrument(by=manager, tag="MN-02", certified=False)


def point(nominal=1.0, **given):
    line = {"as_left_error": 0.01, "expanded_u": 0.02} | given
    return PointLine(quantity=Quantity.PRESSURE, unit="mbar", nominal=nominal, **line)


def certify(manometer, manager, **given):
    return make.certificate(of=manometer, by=manager, **given)


def test_a_certificate_is_kept_with_what_was_found_and_what_was_left(manometer, manager):
    points = [point(0.5, as_found_error=-0.04), point(1.5, as_left_error=-0.01, coverage_factor=2.13)]
    made = certify(manometer, manager, number="Q-1", points=points, as_found_in_tolerance=False)
    assert not made.as_found_in_tolerance
    rows = made.points.values_list(
        "nominal", "as_found_error", "as_left_error", "expanded_u", "coverage_factor"
    )
    assert list(rows) == [(0.5, -0.04, 0.01, 0.02, 2.0), (1.5, None, -0.01, 0.02, 2.13)]
    entry = LedgerEntry.objects.get(verb="calibration.record")
    assert '"as_found_in_tolerance":false' in entry.body


def test_the_same_certificate_is_recorded_once(manometer, manager):
    certify(manometer, manager, number="Q-1")
    with pytest.raises(Refused, match="Certificate Q-1 is recorded for MN-02 already") as refusal:
        certify(manometer, manager, number="Q-1")
    assert refusal.value.field == "certificate"
    assert Calibration.objects.count() == 1


def test_a_calibration_is_not_made_tomorrow(manometer, manager):
    with pytest.raises(Refused, match="lies in the future") as refusal:
        certify(manometer, manager, on=TODAY + timedelta(days=1))
    assert refusal.value.field == "calibrated_on"
    assert certify(manometer, manager, on=TODAY).calibrated_on == TODAY


@pytest.mark.parametrize("days", [0, -1])
def test_the_next_one_is_due_later(manometer, manager, days):
    with pytest.raises(Refused, match="due after") as refusal:
        certify(manometer, manager, on=date(2024, 12, 1), due=date(2024, 12, 1) + timedelta(days=days))
    assert refusal.value.field == "due_on"


def test_two_points_at_one_nominal_are_refused(manometer, manager):
    with pytest.raises(Refused, match="same nominal value"):
        certify(manometer, manager, points=[point(1.0), point(1.0)])
    assert not Calibration.objects.exists()


def test_the_newest_certificate_counts_even_where_an_older_one_runs_longer(manometer, manager):
    older = certify(manometer, manager, on=date(2024, 1, 1), due=date(2026, 1, 1))
    newer = certify(manometer, manager, on=date(2024, 12, 1), due=date(2025, 1, 20))
    assert calibration_in_force(instrument=manometer, on=date(2024, 6, 1)) == older
    assert calibration_in_force(instrument=manometer, on=date(2025, 1, 20)) == newer
    assert calibration_in_force(instrument=manometer, on=date(2025, 1, 21)) is None
    assert calibration_in_force(instrument=manometer, on=date(2023, 12, 31)) is None


def test_a_point_of_what_the_instrument_does_not_measure_is_refused(manometer, manager):
    ohms = PointLine(
        quantity=Quantity.RESISTANCE,
        unit="Ω",
        nominal=1.0,
        as_found_error=0.1,
        as_left_error=0,
        expanded_u=0.1,
    )
    with pytest.raises(Refused, match="MN-02 doesn’t measure a resistance: Ω is the wrong unit") as refusal:
        certify(manometer, manager, points=[ohms])
    assert refusal.value.field == "points"


def test_an_earlier_certificate_is_taken_late_with_a_note_which_is_kept(manometer, manager):
    certify(manometer, manager, number="Q-2", on=date(2024, 12, 1))
    with pytest.raises(
        Refused, match="a later certificate already: Q-2, made on 01 December 2024"
    ) as refusal:
        certify(manometer, manager, number="Q-1", on=date(2024, 6, 1))
    assert refusal.value.field == "late_note"
    late = certify(manometer, manager, number="Q-1", on=date(2024, 6, 1), late_note=" Found in the van ")
    assert late.late_note == "Found in the van"
    in_order = certify(manometer, manager, number="Q-3", on=date(2024, 12, 20), late_note="Not late at all")
    assert in_order.late_note == ""
