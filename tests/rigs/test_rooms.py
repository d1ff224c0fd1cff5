"""Levels that follow the air's density, through days in thin and in heavy air."""

from datetime import timedelta

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import baselines, checks, histories, readouts, sessions, sheets
from rigs.metrology.environment import REFERENCE_DENSITY
from rigs.metrology.samples import SampleError
from rigs.metrology.usual_air import USUAL_SPREAD
from rigs.models import BaselineRoom, Session
from rigs.models.checks import AirSource, CheckVerdict
from rigs.rooms import Room, room_of
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

THIN = Room(celsius=28.0, pressure=98_000.0, humidity=0.5)
HEAVY = Room(celsius=16.0, pressure=103_000.0, humidity=0.5)
THIN_RATIO, HEAVY_RATIO = make.in_air(THIN), make.in_air(HEAVY)


@pytest.fixture
def bare(manager):
    return make.open_bench(by=manager, with_baseline=False)


def characterise(bench, *, rooms=(), at=AT, **given):
    return make.approved_baseline(
        of=bench.rig,
        instruments=bench.references,
        by=bench.technician,
        second=bench.assessor,
        rooms=rooms,
        at=at,
        **given,
    )


def value(sheet, key="taps:fan-running"):
    values = sheet.values.select_related("measurand__test_point", "measurand__condition")
    return next(each for each in values if make.key_of(each.measurand) == key)


def check(bench, *, days=0, room=None, running=make.RUNNING, air=None):
    """A check of a rig that would read `running` in reference air."""
    factor = make.in_air(air or room)
    return bench.check(at=AT + timedelta(days=days), running=running * factor, room=room)


def total_u(value):
    return (value.other_u**2 + value.repeat_share * value.repeat_sd**2) ** 0.5


def test_thin_and_heavy_air_are_some_ten_percent_apart():
    ratio = HEAVY_RATIO / THIN_RATIO
    assert ratio == pytest.approx(1.098, abs=0.005)


def test_a_baseline_over_days_of_different_air_is_one_in_reference_air(bare):
    made = characterise(bare, rooms=[THIN] * 4 + [HEAVY] * 6)
    taps = value(made)
    assert taps.mean == pytest.approx(158, abs=1.5)
    assert taps.between_sd < 2.0
    assert 0 < taps.air_u < 0.003
    zero = value(made, "ports:fan-off")
    assert zero.air_u is None
    assert BaselineRoom.objects.count() == 10


def test_without_rooms_the_same_days_look_like_a_rig_that_wanders(bare):
    made = make.open_baseline(of=bare.rig, instruments=bare.references, by=bare.technician, rooms=[])
    assert value_of(made).air_u is None
    assert histories.airs(made).usual is None


def value_of(baseline, key="taps:fan-running"):
    return next(each for each in baselines.summaries(baseline=baseline) if make.key_of(each.measurand) == key)


def test_a_day_with_one_room_lends_it_to_its_other_runs(bare):
    rooms = [THIN, None, None, None, HEAVY, None, None, HEAVY]
    made = make.open_baseline(of=bare.rig, instruments=bare.references, by=bare.technician, rooms=rooms)
    air = histories.air_of_runs(made)
    assert len(air.by_run) == 3
    assert len(air.by_day) == 3
    assert value_of(made).air_u < 0.003


def test_a_day_without_any_is_as_uncertain_as_rooms_stray(bare):
    known = make.open_baseline(
        of=bare.rig, instruments=bare.references, by=bare.technician, rooms=[THIN] * 4 + [HEAVY] * 3
    )
    # Three of ten runs, on one of three days: 0.3 of the spread, and of what isn't known of the usual air.
    expected = 0.3 * USUAL_SPREAD * (1 + 1 / 2) ** 0.5
    assert expected < value_of(known).air_u < 1.05 * expected


def test_thin_air_alone_is_no_drift(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    assert check(bare, room=THIN).verdict == CheckVerdict.STEADY


def test_without_rooms_it_would_look_like_one(bare):
    characterise(bare, running=make.RUNNING * HEAVY_RATIO)
    assert check(bare, air=THIN).verdict != CheckVerdict.STEADY


def test_drift_in_the_same_air_is_still_seen_and_says_in_which_air(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    found = check(bare, room=HEAVY, running=1.40)
    assert found.verdict == CheckVerdict.HOLD
    assert "1.39 mbar today, 1.58 mbar in the baseline (both as in reference air)." in found.reasons[0]


def test_todays_value_is_what_the_rig_reads_in_todays_air(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    taps = value(check(bare, room=THIN).value_sheet)
    assert taps.value == pytest.approx(158 * THIN_RATIO, rel=0.01)
    assert taps.air_density == pytest.approx(THIN_RATIO * REFERENCE_DENSITY)
    assert (taps.air_source, taps.air_u < 0.003) == (AirSource.ROOM, True)
    zero = value(bare.rig.value_sheets.get(), "ports:fan-off")
    assert (zero.air_density, zero.air_source) == (None, AirSource.AS_READ)


def test_a_session_that_nobody_checked_has_its_rooms_air_all_the_same(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    sessions.ensure_open(centre=bare.manager.centre, by=bare.technician, at=AT, room=THIN)
    taps = value(sheets.for_start(rig=bare.rig, at=AT))
    assert taps.value == pytest.approx(158 * THIN_RATIO, rel=0.01)
    unknown = value(sheets.for_start(rig=bare.rig, at=AT + timedelta(days=1)))
    assert unknown.air_source == AirSource.USUAL
    assert unknown.other_u > taps.other_u


def test_nothing_recorded_leaves_everything_as_it_was_read(bare):
    characterise(bare)
    taps = value(check(bare).value_sheet)
    assert (taps.air_density, taps.air_u, taps.air_source) == (None, None, AirSource.AS_READ)
    assert taps.value == pytest.approx(158, rel=0.01)


def test_a_check_in_unknown_air_follows_the_rig_and_says_less(bare):
    characterise(bare, rooms=[HEAVY] * 5 + [THIN] * 5)
    known, unknown = (
        value(check(bare, days=days, room=room, air=THIN).value_sheet)
        for days, room in ((0, THIN), (7, None))
    )
    assert unknown.air_source == AirSource.USUAL
    # The value in that session's air comes from its own check above all.
    assert unknown.value == pytest.approx(158 * THIN_RATIO, rel=0.025)
    assert known.value == pytest.approx(158 * THIN_RATIO, rel=0.012)
    assert unknown.repeat_share > known.repeat_share
    assert total_u(unknown) > total_u(known)


def test_a_baseline_from_before_rooms_were_read_is_taken_in_the_usual_air(bare):
    characterise(bare, running=make.RUNNING * THIN_RATIO)
    sheet = check(bare, room=THIN).value_sheet
    taps = value(sheet)
    assert taps.value == pytest.approx(158 * THIN_RATIO, rel=0.01)
    history = histories.histories(sheet.baseline)[taps.measurand_id]
    assert float(history.baseline.mean) == pytest.approx(158, rel=0.01)
    # One room known, three days unknown: s² (1/3 + 1).
    assert history.baseline.air_u / 158 == pytest.approx(USUAL_SPREAD * (4 / 3) ** 0.5, rel=0.02)


def test_a_mixed_history_puts_each_check_into_the_same_air(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    for week, room in enumerate((THIN, HEAVY, None, THIN)):
        check(bare, days=7 * week, room=room, air=room or HEAVY)
    baseline = baselines.in_force(rig=bare.rig)
    history = next(
        each for each in histories.histories(baseline).values() if each.value.measurand.follows_density
    )
    means = [each.mean for each in history.checks]
    assert means[0] == pytest.approx(158, rel=0.015)
    assert means[1] == pytest.approx(158, rel=0.015)
    air_us = [each.air_u / 158 for each in history.checks]
    assert air_us[2] > USUAL_SPREAD > 4 * air_us[0]


def test_a_room_read_later_in_the_session_is_added_and_a_second_one_refused(manager):
    first = sessions.ensure_open(centre=manager.centre, by=manager, at=AT)
    assert room_of(first) is None
    later = AT + timedelta(minutes=20)
    sessions.ensure_open(centre=manager.centre, by=manager, at=later, room=THIN)
    assert room_of(Session.objects.get()) == THIN
    sessions.ensure_open(centre=manager.centre, by=manager, at=later, room=THIN)
    sessions.ensure_open(centre=manager.centre, by=manager, at=later)
    with pytest.raises(Refused, match="on record already: 28 °C") as refusal:
        sessions.ensure_open(centre=manager.centre, by=manager, at=later, room=HEAVY)
    assert refusal.value.field == "room_temperature"
    entry = LedgerEntry.objects.get(verb="session.room")
    assert '"air_pressure":"98000.0"' in entry.body


def test_a_refused_room_records_no_check(bench):
    bench.check(room=THIN)
    with pytest.raises(Refused):
        bench.check(at=AT + timedelta(minutes=5), room=HEAVY)
    assert bench.rig.checks.count() == 1


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"celsius": 293.0}, "degrees Celsius"),
        ({"pressure": 1013.0}, "mbar"),
        ({"humidity": 55.0}, "55 % is 0.55"),
        ({"celsius": float("nan")}, "Give a number"),
        ({"pressure_u": -1.0}, "zero or more"),
    ],
)
def test_a_room_in_another_unit_is_refused(given, message):
    with pytest.raises(SampleError, match=message):
        Room(**({"celsius": 20.0, "pressure": 101_325.0} | given))


def test_a_humidity_that_was_not_read_is_less_sure():
    read, not_read = (
        Room(celsius=20.0, pressure=101_325.0, humidity=humidity).air for humidity in (0.5, None)
    )
    assert not_read.humidity == 0.5
    assert not_read.humidity_u > 2 * read.humidity_u


def test_what_is_shown_of_a_check_is_in_the_same_air_as_its_baseline(bare):
    characterise(bare, rooms=[HEAVY] * 10)
    shown = {each.label: each for each in readouts.comparisons(check=check(bare, room=THIN))}
    taps = next(each for label, each in shown.items() if "taps" in label)
    assert float(taps.found) == pytest.approx(1.58, abs=0.03)
    assert float(taps.cells[0].text) == pytest.approx(1.58 * THIN_RATIO, abs=0.08)
    assert taps.note.startswith("As air of 1.2 kg/m³ would give it; MN-01 corrected by its certificate")


def test_a_check_sent_twice_asks_nothing_of_the_room(bench):
    made = bench.check(room=THIN)
    runs = [
        {each.measurand: make.typed(each.measurand, each.text) for each in readings}
        for readings in by_run(made)
    ]
    again = checks.record(
        rig=bench.rig,
        runs=runs,
        instruments=bench.references,
        by=bench.technician,
        at=AT + timedelta(minutes=1),
        room=HEAVY,
        id=made.pk,
    )
    assert again == made


def by_run(made):
    readings = list(made.readings.select_related("measurand__test_point"))
    return [[each for each in readings if each.repeat == number] for number in (1, 2, 3)]
