from datetime import timedelta

import pytest

from rigs import baselines, sessions, sheets
from rigs.models import ValueSheet
from rigs.models.designs import MeasurandKind
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


def value(sheet, key="taps:fan-running"):
    values = sheet.values.select_related("measurand__test_point", "measurand__condition")
    return next(each for each in values if make.key_of(each.measurand) == key)


def baseline_value(bench, key="taps:fan-running"):
    return value(baselines.in_force(rig=bench.rig), key)


def current_session(bench, at=AT):
    return sessions.current(centre=bench.manager.centre, at=at)


def test_a_check_writes_the_sheet_of_its_session(bench):
    check = bench.check()
    sheet = sheets.of_session(rig=bench.rig, session=current_session(bench))
    assert sheet == check.value_sheet
    assert sheet.values.count() == bench.rig.design.measurands.count()
    assert sheets.for_start(rig=bench.rig, at=AT + timedelta(hours=1)) == sheet
    assert ValueSheet.objects.count() == 1


def test_without_a_check_a_sheet_is_from_what_is_known_so_far(bench):
    assert sheets.of_session(rig=bench.rig, session=current_session(bench)) is None
    sheet = sheets.for_start(rig=bench.rig, at=AT)
    assert sheet.rig_check is None
    assert value(sheet).value == pytest.approx(baseline_value(bench).mean)


def test_a_rig_without_a_baseline_has_no_values(db):
    bare = make.open_bench(with_baseline=False)
    assert sheets.for_start(rig=bare.rig, at=AT) is None
    assert sheets.newest(rig=bare.rig) is None


def test_the_present_value_follows_the_rig_rather_than_its_old_baseline(bench):
    for day in range(1, 8):
        bench.check(at=AT + timedelta(days=day), running=1.45)
    sheet = sheets.newest(rig=bench.rig)
    assert value(sheet).value == pytest.approx(145, abs=1.5)
    assert baseline_value(bench).mean == pytest.approx(158, abs=2)


def test_one_check_moves_it_only_part_of_the_way(bench):
    check = bench.check(running=1.45)
    assert 144 < value(check.value_sheet).value < baseline_value(bench).mean


def test_uncertainty_grows_with_the_time_since_the_last_check(bench):
    bench.check()
    soon, late = (sheets.for_start(rig=bench.rig, at=AT + timedelta(days=days)) for days in (1, 60))
    assert value(soon).other_u < value(late).other_u


def test_a_check_takes_the_effect_of_its_own_session_out_of_the_uncertainty(bench):
    checked = bench.check()
    unchecked = sheets.for_start(rig=bench.rig, at=AT + timedelta(days=1))
    assert value(checked.value_sheet).other_u < value(unchecked).other_u


def test_a_state_is_what_the_baseline_found(bench):
    sheet = bench.check().value_sheet
    states = {
        make.key_of(each.measurand): each.state
        for each in sheet.values.filter(measurand__kind=MeasurandKind.STATE).select_related(
            "measurand__test_point", "measurand__condition"
        )
    }
    assert states == {
        "contacts:fan-off": "open",
        "contacts:fan-running": "closed",
        "contacts:outlet-blocked": "open",
    }


def test_two_checks_in_one_session_are_both_counted_and_the_later_sheet_is_used(bench):
    first = bench.check(running=1.58)
    second = bench.check(at=AT + timedelta(minutes=30), running=1.52)
    sheet = sheets.of_session(rig=bench.rig, session=current_session(bench))
    assert sheet == second.value_sheet
    assert value(sheet).value < value(first.value_sheet).value
    assert value(sheet).repeat_share < value(first.value_sheet).repeat_share


def test_a_new_baseline_starts_afresh(bench):
    bench.check()
    later = AT + timedelta(days=10)
    second = make.approved_baseline(
        of=bench.rig,
        instruments=bench.references,
        by=bench.technician,
        second=bench.assessor,
        running=1.40,
        at=later,
    )
    assert sheets.newest(rig=bench.rig) is None
    sheet = sheets.for_start(rig=bench.rig, at=later)
    assert sheet.baseline == second
    assert value(sheet).value == pytest.approx(140, abs=2)


def test_a_check_against_the_old_baseline_does_not_open_the_session_for_the_new(bench):
    bench.check(at=AT)
    make.approved_baseline(
        of=bench.rig,
        instruments=bench.references,
        by=bench.technician,
        second=bench.assessor,
        at=AT + timedelta(hours=12),
    )
    assert sheets.of_session(rig=bench.rig, session=current_session(bench)) is None


def test_an_attempt_that_starts_while_a_check_is_written_has_its_values(bench):
    check = bench.check(at=AT + timedelta(seconds=2))
    assert sheets.for_start(rig=bench.rig, at=AT) == check.value_sheet
    assert value(sheets.write(baseline=check.baseline, at=AT)).value > 0


def test_a_sheet_stays_as_it_was_whatever_comes_after(bench):
    sheet = bench.check().value_sheet
    kept = list(sheet.values.values())
    bench.check(at=AT + timedelta(days=1), running=1.40)
    assert list(sheet.values.values()) == kept
