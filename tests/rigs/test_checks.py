from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import baselines, checks, holds, sessions
from rigs.models import Check, Session
from rigs.models.checks import CheckVerdict
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


def baseline_mean(bench, key="taps:fan-running"):
    value = next(
        each
        for each in baselines.in_force(rig=bench.rig).values.select_related(
            "measurand__test_point", "measurand__condition"
        )
        if make.key_of(each.measurand) == key
    )
    return value.mean / 100  # mbar


def check_at(bench, *, share):
    """A check in which both pressures stand at a share of their baseline, without noise."""
    keys = ("taps:fan-running", "ports:fan-running")
    return bench.check(texts={key: f"{baseline_mean(bench, key) * share:.4f}" for key in keys})


def test_a_rig_that_agrees_is_steady_and_the_session_is_open(bench):
    check = bench.check()
    assert (check.verdict, check.reasons) == (CheckVerdict.STEADY, [])
    assert check.session == sessions.current(centre=bench.manager.centre, at=AT)
    assert check.readings.count() == 18
    assert check.value_sheet.baseline == check.baseline == baselines.in_force(rig=bench.rig)
    assert LedgerEntry.objects.filter(verb="check.record", subject=str(check.pk)).exists()


@pytest.mark.parametrize(
    ("share", "verdict", "findings"),
    [
        (1.0, CheckVerdict.STEADY, 0),
        (0.945, CheckVerdict.STEADY, 0),
        (1.055, CheckVerdict.STEADY, 0),
        (0.935, CheckVerdict.WATCH, 2),
        (1.065, CheckVerdict.WATCH, 2),  # high is no better than low
        (0.905, CheckVerdict.WATCH, 2),
        (0.895, CheckVerdict.HOLD, 2),
        (1.105, CheckVerdict.HOLD, 2),
    ],
)
def test_it_is_judged_by_the_centres_percentages_of_the_baseline(bench, share, verdict, findings):
    check = check_at(bench, share=share)
    assert check.verdict == verdict
    assert len(check.reasons) == findings


def test_the_percentages_are_the_centres_to_set(bench):
    bench.manager.centre.watch_percent, bench.manager.centre.hold_percent = 2, 3
    bench.manager.centre.save()
    bench.rig.refresh_from_db()
    assert check_at(bench, share=0.975).verdict == CheckVerdict.WATCH
    assert check_at(bench, share=0.965).verdict == CheckVerdict.HOLD


def test_a_reason_says_what_was_found_and_what_was_there_before(bench):
    (taps, _) = check_at(bench, share=0.88).reasons
    assert taps.startswith("Δp at the venturi taps, fan running: ")
    assert f"{Decimal(baseline_mean(bench)):.3g} mbar in the baseline." in taps


def test_checks_that_drift_away_together_are_watched_though_none_of_them_is_far(bench):
    for day in range(12):
        keys = ("taps:fan-running", "ports:fan-running")
        texts = {key: f"{baseline_mean(bench, key) * 0.955:.4f}" for key in keys}
        check = bench.check(at=AT + timedelta(days=day), texts=texts)
        if day == 0:
            assert check.verdict == CheckVerdict.STEADY
    assert check.verdict == CheckVerdict.WATCH
    assert "the weighted average of the checks is 4." in check.reasons[0]
    assert "below the baseline" in check.reasons[0]
    assert check.words == [
        f"{key}: the last checks together have drifted below the baseline."
        for key in ("Δp at the venturi taps, fan running", "Δp at the switch ports, fan running")
    ]


@pytest.mark.parametrize(("point", "proposed"), [("1.40", False), ("1.47", True)])
def test_too_little_in_hand_before_the_switch_no_longer_makes_is_a_hold(db, point, proposed):
    """The rig runs at 1.58 mbar: 1.13 times the make point, and 1.07 times."""
    bare = make.open_bench(with_baseline=False)
    make.approved_baseline(
        of=bare.rig,
        instruments=bare.references,
        by=bare.technician,
        second=bare.assessor,
        texts=[{"make-point:hand-pump": point}] * 10,
    )
    check = bare.check()
    assert (check.verdict == CheckVerdict.HOLD) is proposed
    if proposed:
        assert "times the make point of the baseline. Below 1.1 the switch may not make." in check.reasons[0]
        assert check.words == ["Δp at the switch ports, fan running: too near the make point of the switch."]


def test_words_have_no_reading_of_the_rig_in_them(bench):
    check = check_at(bench, share=0.85)
    assert len(check.words) == len(check.reasons) == 2
    assert not any(letter.isdigit() for words in check.words for letter in words)


def test_near_zero_it_is_judged_by_the_measurands_own_tolerance(bench):
    assert bench.check(texts={"ports:fan-off": "0.03"}).verdict == CheckVerdict.STEADY
    assert bench.check(texts={"ports:fan-off": "0.06"}).verdict == CheckVerdict.WATCH
    assert bench.check(texts={"ports:fan-off": "-0.09"}).verdict == CheckVerdict.HOLD


@pytest.mark.parametrize(
    ("key", "text", "found"),
    [
        ("contacts:fan-running", "OL", "should be closed, is open"),
        ("contacts:fan-running", "1.4", "should be closed, is high resistance"),
        ("contacts:fan-off", "0.3", "should be open, is closed"),
        ("contacts:outlet-blocked", "0.3", "should be open, is closed"),
    ],
)
def test_a_contact_in_the_wrong_state_is_a_hold(bench, key, text, found):
    check = bench.check(texts={key: text})
    assert check.verdict == CheckVerdict.HOLD
    assert found in check.reasons[0]


def test_a_contact_that_does_not_repeat_is_a_hold(bench):
    runs = [make.check_run(of=bench.rig, rng=make.noise("check")) for _ in range(2)]
    runs.append(make.check_run(of=bench.rig, rng=make.noise("check"), texts={"contacts:fan-running": "OL"}))
    check = record(bench, runs)
    assert check.verdict == CheckVerdict.HOLD
    assert "not the same each time" in check.reasons[0]


def record(bench, runs, **given):
    given = {"rig": bench.rig, "instruments": bench.references, "by": bench.technician, "at": AT} | given
    return checks.record(runs=runs, **given)


def test_a_hold_is_proposed_and_never_placed(bench):
    assert check_at(bench, share=0.5).verdict == CheckVerdict.HOLD
    assert not bench.rig.holds.exists()


def test_a_held_rig_can_be_checked_so_that_it_can_be_released(bench):
    holds.place(on=bench.rig, reason="Fan noisy.", by=bench.technician, at=AT)
    assert bench.check().verdict == CheckVerdict.STEADY


def test_three_runs_are_the_least_and_nothing_is_left_of_two(bench):
    with pytest.raises(Refused, match="at least 3 runs; this one has 2"):
        bench.check(runs=2)
    assert not Check.objects.exists()
    assert not Session.objects.exists()


def test_every_run_has_one_reading_of_each(bench):
    runs = [make.check_run(of=bench.rig, rng=make.noise("check")) for _ in range(3)]
    gone = runs[1].popitem()[0]
    with pytest.raises(Refused, match="every run has one reading of each") as refusal:
        record(bench, runs)
    assert refusal.value.field == f"run_2_measurand_{gone.pk}"
    assert not Check.objects.exists()
    assert not Session.objects.exists()


def test_it_needs_an_approved_baseline(db):
    bare = make.open_bench(with_baseline=False)
    with pytest.raises(Refused, match="VB-01 has no approved baseline yet"):
        bare.check()


def test_it_is_read_with_reference_instruments(bench):
    with pytest.raises(Refused, match="DM-02 isn't a reference instrument") as refusal:
        bench.check(instruments={**bench.references, "multimeter": bench.multimeter})
    assert refusal.value.field == "multimeter"


def test_it_is_good_for_one_session(bench):
    morning = bench.check()
    again = bench.check(at=AT + timedelta(hours=1))
    afternoon = bench.check(at=datetime(2025, 1, 6, 14, tzinfo=UTC))
    assert morning.session == again.session != afternoon.session


def test_two_at_once_are_both_recorded_whichever_is_written_first(bench):
    bench.check(at=AT + timedelta(seconds=2))
    assert bench.check(at=AT).verdict == CheckVerdict.STEADY


def test_a_check_sent_twice_is_recorded_once(bench):
    runs = [make.check_run(of=bench.rig, rng=make.noise("check")) for _ in range(3)]
    number = uuid4()
    first, again = record(bench, runs, id=number), record(bench, runs, id=number)
    assert first == again == Check.objects.get()


def test_other_readings_under_the_same_id_are_refused_rather_than_lost(bench):
    number, other = uuid4(), {"contacts:fan-running": "0.4"}
    record(bench, [make.check_run(of=bench.rig, rng=make.noise("check")) for _ in range(3)], id=number)
    with pytest.raises(Refused, match="recorded from this form before"):
        record(
            bench,
            [make.check_run(of=bench.rig, rng=make.noise("check"), texts=other) for _ in range(3)],
            id=number,
        )
    assert Check.objects.count() == 1


def test_what_is_characterised_in_the_baseline_alone_is_not_read_in_a_check(bench):
    apart = {"high-tap:fan-running", "make-point:hand-pump", "break-point:hand-pump"}
    read = {make.key_of(each) for each in checks.measurands_of(bench.rig)}
    known = {make.key_of(each) for each in bench.rig.design.measurands.all()}
    assert known - read == apart
    check = bench.check()
    assert {make.key_of(each.measurand) for each in check.readings.all()} == read
    assert check.verdict == CheckVerdict.STEADY


def test_its_present_value_comes_from_the_baseline(bench):
    sheet = bench.check().value_sheet
    (make_point,) = [
        each for each in sheet.values.all() if make.key_of(each.measurand) == "make-point:hand-pump"
    ]
    baseline = bench.rig.baselines.get().values.get(measurand=make_point.measurand)
    assert make_point.value == pytest.approx(baseline.mean)
