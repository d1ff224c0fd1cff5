from datetime import timedelta

import pytest

from academy.refusals import Refused
from rigs import baselines, references
from rigs.calibrations import PointLine
from rigs.metrology.quantities import Quantity
from rigs.models import CheckReading
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

DISPLAY_U = 0.001 / 12**0.5  # mbar
SPEC_AT_158 = ((0.1 / 100 * 1.58 + 2 * 0.001) ** 2 / 3 + 0.001**2 / 12) ** 0.5


def point(nominal, error=0.05, *, unit="mbar", **given):
    line = {"as_left_error": error, "expanded_u": 0.004 if unit == "mbar" else 0.4} | given
    return PointLine(quantity=Quantity.PRESSURE, unit=unit, nominal=nominal, **line)


@pytest.fixture
def manometer(manager):
    return make.instrument(
        by=manager, tag="MN-01", ranges=make.REFERENCE_MANOMETER, is_reference=True, certified=False
    )


TODAY = AT.date()


def worth(manometer, mbar, *, on=TODAY):
    return references.worth(instrument=manometer, quantity=Quantity.PRESSURE, value_si=mbar * 100, on=on)


def test_between_its_points_the_certificate_stands_in_for_the_specification(manometer, manager):
    made = make.certificate(of=manometer, by=manager, points=[point(1.0, 0.02), point(2.0, 0.06)])
    found = worth(manometer, 1.5)
    assert found.calibration == made
    assert found.correction == pytest.approx(-4.0)
    assert found.u == pytest.approx(100 * (0.002**2 + DISPLAY_U**2) ** 0.5)


@pytest.mark.parametrize("mbar", [0.0, 0.99, 2.01, -1.5])
def test_outside_them_the_specification_counts_and_nothing_is_corrected(manometer, manager, mbar):
    make.certificate(of=manometer, by=manager, points=[point(1.0), point(2.0)])
    found = worth(manometer, mbar)
    assert (found.calibration, found.correction) == (None, 0.0)
    a = 0.1 / 100 * abs(mbar) + 2 * 0.001
    assert found.u == pytest.approx(100 * (a**2 / 3 + DISPLAY_U**2) ** 0.5)


def test_one_point_is_no_curve(manometer, manager):
    make.certificate(of=manometer, by=manager, points=[point(1.58)])
    assert worth(manometer, 1.58).calibration is None
    assert references.corrections(instrument=manometer, on=AT.date())[1] == ()


def test_points_may_be_in_any_order_and_in_several_units(manometer, manager):
    points = [point(2.0, 0.06), point(100, 2.0, unit="Pa"), point(1.5, 0.06)]
    make.certificate(of=manometer, by=manager, points=points)
    assert worth(manometer, 1.25).correction == pytest.approx(-4.0)


def test_what_counts_is_how_it_was_left(manometer, manager):
    points = [point(each, 0.01, as_found_error=0.30) for each in (1.0, 2.0)]
    make.certificate(of=manometer, by=manager, points=points, as_found_in_tolerance=False)
    assert worth(manometer, 1.58).correction == pytest.approx(-1.0)


def test_a_certificate_that_ran_out_corrects_nothing(manometer, manager):
    make.certificate(of=manometer, by=manager, points=[point(1.0), point(2.0)])
    assert worth(manometer, 1.58, on=AT.date() + timedelta(days=500)).calibration is None


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([point(1.0), point(100, 5.0, unit="Pa")], "same nominal value, 100 Pa"),
        ([point(1.0, expanded_u=0.0)], "At 1 mbar, the uncertainty U and its factor k must be above 0"),
        ([point(1.0, expanded_u=-1.0)], "must be above 0"),
        ([point(float("nan"))], "all of them numbers"),
        ([point(1.0, float("inf"))], "all of them numbers"),
        ([point(1.0, coverage_factor=0.0)], "its factor k must be above 0"),
        ([point(1.0, unit="V")], "V doesn’t measure"),
    ],
)
def test_points_that_no_correction_follows_from_are_refused(manometer, manager, points, message):
    with pytest.raises(Refused, match=message):
        make.certificate(of=manometer, by=manager, points=points)
    assert not manometer.calibrations.exists()


@pytest.fixture
def corrected(manager):
    """A bench whose reference manometer reads 0.05 mbar too much, as its certificate says."""
    made = make.open_bench(by=manager, with_baseline=False)
    make.certificate(
        of=made.references["manometer"],
        by=made.technician,
        on=AT.date() - timedelta(days=20),
        points=[point(1.0), point(2.0)],
    )
    make.approved_baseline(
        of=made.rig, instruments=made.references, by=made.technician, second=made.assessor, at=AT
    )
    return made


def of(rows, key):
    found = rows.select_related("measurand__test_point", "measurand__condition")
    return next(each for each in found if make.key_of(each.measurand) == key)


def test_baselines_and_checks_are_corrected_and_keep_what_was_typed(corrected):
    value = of(baselines.in_force(rig=corrected.rig).values, "taps:fan-running")
    assert value.mean == pytest.approx(158 - 5, abs=1.5)
    assert value.reference_u == pytest.approx(100 * (0.002**2 + DISPLAY_U**2) ** 0.5)
    made = corrected.check(running=1.58)
    taps = of(made.readings, "taps:fan-running")
    assert (taps.correction, taps.calibration is None) == (pytest.approx(-5.0), False)
    assert float(taps.text) == pytest.approx(1.58, abs=0.08)
    sheet = of(made.value_sheet.values, "taps:fan-running")
    assert sheet.value == pytest.approx(153, abs=1.5)


def test_a_zero_that_the_certificate_does_not_reach_is_by_the_specification(corrected):
    zero = of(baselines.in_force(rig=corrected.rig).values, "ports:fan-off")
    assert zero.mean == pytest.approx(0.0, abs=0.3)
    assert zero.reference_u == pytest.approx(100 * ((2 * 0.001) ** 2 / 3 + DISPLAY_U**2) ** 0.5, rel=0.02)


def test_a_contact_has_neither(corrected):
    made = corrected.check()
    states = CheckReading.objects.filter(rig_check=made, measurand__kind="state")
    assert set(states.values_list("correction", "instrument_u", "calibration")) == {(0.0, None, None)}


def test_a_later_certificate_leaves_what_was_recorded_as_it_is(corrected):
    before = corrected.check()
    kept = list(before.readings.values())
    make.certificate(
        of=corrected.references["manometer"],
        by=corrected.technician,
        on=AT.date(),
        points=[point(1.0, 0.0), point(2.0, 0.0)],
    )
    assert list(before.readings.values()) == kept
    again = corrected.check(at=AT + timedelta(minutes=30))
    assert of(again.readings, "taps:fan-running").correction == 0.0


def test_the_less_sure_of_two_references_counts(corrected):
    """A check with an instrument by its specification: nobody knows that its error is the baseline's."""
    plain = make.instrument(
        by=corrected.technician, tag="MN-09", ranges=make.REFERENCE_MANOMETER, is_reference=True
    )
    plain.calibrations.get().points.all().delete()
    made = corrected.check(instruments={**corrected.references, "manometer": plain})
    taps = of(made.readings, "taps:fan-running")
    assert taps.instrument_u == pytest.approx(100 * SPEC_AT_158, rel=0.05)
    assert of(made.value_sheet.values, "taps:fan-running").other_u > taps.instrument_u
