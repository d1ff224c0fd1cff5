"""What an instrument fed, what its error made of a sheet, and what a drifted rig read on a day gone by."""

from datetime import timedelta

import pytest

from rigs import baselines, looking_back, sheets
from rigs.metrology.doubt import Doubt, curve_as_found
from rigs.metrology.quantities import Quantity
from rigs.models import BaselineReading, CheckReading, ValueSheet
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

TAPS = "taps/fan-running"
FOUND = {50.0: -4.0, 100.0: -7.0, 150.0: -11.0, 200.0: -15.0}


@pytest.fixture
def bench():
    return make.open_bench()


def doubt(*, since=AT - timedelta(days=40), until=AT + timedelta(days=1)):
    return Doubt(curves={Quantity.PRESSURE: curve_as_found(FOUND)}, since=since, until=until)


def value_of(sheet, key=TAPS):
    test_point, condition = key.split("/")
    found = sheet.values.get(measurand__test_point__slug=test_point, measurand__condition__slug=condition)
    return found.value


def without_error(reading, doubt):
    error = doubt.errors(quantity=Quantity.PRESSURE, reading=reading.si_value, at=reading.taken_at)[0]
    return reading.si_value - error


def written_afresh(check, doubt):
    """The check's sheet, as it would have been written had every pressure been read right."""
    baseline = check.baseline
    for model, of in ((BaselineReading, {"baseline": baseline}), (CheckReading, {"rig_check": check})):
        for reading in model.objects.filter(**of, measurand__test_point__quantity="pressure"):
            model.objects.filter(pk=reading.pk).update(si_value=without_error(reading, doubt))
    check.value_sheet.delete()
    baseline.values.all().delete()
    baseline.values.model.objects.bulk_create(baselines.summaries(baseline=baseline))
    return sheets.write(baseline=baseline, at=check.made_at, after=check)


def test_the_error_on_a_sheet_is_what_right_readings_would_have_changed(bench):
    check = bench.check()
    sheet = check.value_sheet
    before = value_of(sheet)
    found = looking_back.errors_on([sheet.pk], instrument=bench.references["manometer"], doubt=doubt())
    full, _growing = found[sheet.pk][TAPS]

    after = value_of(written_afresh(check, doubt()))

    # 158 Pa lies between 150 (−11) and 200 (−15): about −11.6.
    assert full == pytest.approx(-11.6, abs=0.3)
    assert before - full == pytest.approx(after, abs=0.05)


def test_a_sheet_is_reached_through_its_baseline_and_through_checks_before_it(bench):
    first = bench.check().value_sheet
    second = bench.check(at=AT + timedelta(days=7)).value_sheet
    manometer, since = bench.references["manometer"], AT + timedelta(days=5)

    through_all = looking_back.fed_by(
        instrument=manometer, since=AT - timedelta(days=40), until=AT + timedelta(days=8)
    )
    late = looking_back.fed_by(instrument=manometer, since=since, until=AT + timedelta(days=8))
    other = looking_back.fed_by(instrument=bench.manometer, since=since, until=AT + timedelta(days=8))

    assert [(each.sheet, each.through_baseline, each.checks) for each in through_all] == [
        (first.pk, True, 1),
        (second.pk, True, 2),
    ]
    assert [(each.sheet, each.through_baseline, each.checks) for each in late] == [(second.pk, False, 1)]
    assert other == []


def test_levels_that_the_instrument_had_no_part_in_are_left_out(bench):
    sheet = bench.check().value_sheet
    assert not looking_back.errors_on([sheet.pk], instrument=bench.manometer, doubt=doubt()).get(sheet.pk)


def test_without_later_checks_the_level_is_what_the_sheet_says_and_with_them_it_follows(bench):
    bench.check()
    second = bench.check(at=AT + timedelta(days=7), running=1.56).value_sheet
    bench.check(at=AT + timedelta(days=14), running=1.48)
    bench.check(at=AT + timedelta(days=21), running=1.40)

    then = looking_back.smoothed([second.pk], until=AT + timedelta(days=8))[second.pk][TAPS]
    later = looking_back.smoothed([second.pk], until=AT + timedelta(days=22))[second.pk][TAPS]

    assert float(then.value) == pytest.approx(value_of(second))
    assert float(later.value) < float(then.value)
    assert float(later.total_u) < float(then.total_u)


def test_the_last_evidence_before_is_found_by_its_date(bench):
    check = bench.check()
    assert looking_back.last_steady_check(rig=bench.rig, before=AT + timedelta(hours=1)) == check
    assert looking_back.last_steady_check(rig=bench.rig, before=AT) is None
    assert looking_back.baseline_in_force(rig=bench.rig, before=AT) == check.baseline
    (first,) = bench.manometer.calibrations.all()
    second = make.certificate(of=bench.manometer, by=bench.technician, on=AT.date() - timedelta(days=3))
    assert looking_back.certificate_before(second) == first
    assert looking_back.certificate_before(first) is None
    assert ValueSheet.objects.count() == 1
