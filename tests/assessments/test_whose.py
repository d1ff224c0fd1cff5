"""Rig or candidate? Attempts' readings off together, in each of the ways that they can be."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from assessments import rig_charts, whose
from assessments.models import Attempt
from rigs import board, series
from rigs.metrology.shifts import Cause
from rigs.models import Instrument
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import AT
from tests.factories.assessments import Work

pytestmark = pytest.mark.django_db

LEVELS = ("taps-running", "taps-freed", "ports-running")


def read_off(share: float, *, running: float = rigs.RUNNING) -> Work:
    """Work in which the running pressures are read off by a share."""
    return Work(readings=dict.fromkeys(LEVELS, f"{running * (1 + share):.2f}"))


def others(bench, *, count, share=0.0, instruments=None):
    """Other candidates on the same rig in the same session."""
    for number in range(count):
        using = bench if instruments is None else with_instruments(bench, instruments[number])
        made.handed_in(using, read_off(share), candidate=made.another_candidate(bench))


def with_instruments(bench, manometer):
    return made.Bench(
        **{name: getattr(bench, name) for name in bench.__dataclass_fields__ if name != "instruments"},
        instruments={**bench.instruments, "manometer": manometer},
    )


def manometers(bench, count) -> list[Instrument]:
    return [rigs.instrument(by=bench.technician, tag=f"MN-{70 + number}", at=AT) for number in range(count)]


def test_readings_that_are_right_are_chance(bench):
    others(bench, count=2)
    assert whose.of_attempt(made.handed_in(bench, read_off(0.0))) is None


def test_a_whole_session_that_is_off_points_to_the_rig(bench):
    others(bench, count=4, share=-0.08, instruments=manometers(bench, 4))
    found = whose.of_attempt(made.handed_in(bench, read_off(-0.08)))
    assert found is not None
    assert (found.cause, found.side, found.rig) == (Cause.RIG, "low", "VB-01")
    assert found.probability > 0.9
    assert found.off_percent == pytest.approx(-8, abs=2)


def test_one_candidate_who_is_off_is_the_candidate(bench):
    one, two, mine = manometers(bench, 3)
    others(bench, count=4, instruments=[one, two, mine, mine])
    first = made.handed_in(with_instruments(bench, mine), read_off(0.08))
    later = first.submitted_at + timedelta(minutes=1)
    again = made.handed_in(with_instruments(bench, one), read_off(0.08), at=later)
    for attempt in (first, again):
        found = whose.of_attempt(attempt)
        assert found is not None
        assert (found.cause, found.side) == (Cause.PERSON, "high")


def test_what_follows_an_instrument_is_the_instrument(bench):
    good, bad, other = manometers(bench, 3)
    others(bench, count=3, instruments=[good, other, good])
    others(bench, count=3, share=-0.08, instruments=[bad] * 3)
    found = whose.of_attempt(made.handed_in(with_instruments(bench, bad), read_off(-0.08)))
    assert found is not None
    assert (found.cause, found.instrument) == (Cause.INSTRUMENT, bad.tag)


def test_what_nobody_else_has_read_can_not_be_told_apart(bench):
    first = made.handed_in(bench, read_off(0.12))
    found = whose.of_attempt(
        made.handed_in(bench, read_off(0.12), at=first.submitted_at + timedelta(minutes=1))
    )
    assert found is not None
    assert found.cause is None
    assert found.probability > 0.9


def test_a_slip_of_the_pen_says_nothing_of_a_shift(bench):
    others(bench, count=2)
    assert whose.of_attempt(made.handed_in(bench, read_off(9.0))) is None


def test_three_readings_say_nothing(bench):
    assert whose.of_attempt(made.handed_in(bench, read_off(0.12))) is None


def test_attempts_that_are_still_open_count_for_nothing(bench):
    others(bench, count=1)
    for _ in range(3):
        made.work_through(made.started(bench, candidate=made.another_candidate(bench)), read_off(0.10))
    assert whose.of_attempt(made.handed_in(bench, read_off(0.0))) is None


def test_it_costs_as_many_queries_for_many_as_for_few(bench):
    attempt = made.handed_in(bench, read_off(-0.05))
    costs = []
    for _ in range(2):
        others(bench, count=2, share=-0.05)
        known = Attempt.objects.select_related("rig", "candidate").get(pk=attempt.pk)
        with CaptureQueriesContext(connection) as captured:
            whose.of_attempt(known)
        costs.append(len(captured))
    assert costs == [3, 3]


def test_the_assessor_reads_it_in_a_line_and_the_candidate_never(bench, client, session_begins):
    others(bench, count=3, share=-0.08, instruments=manometers(bench, 3))
    attempt = made.handed_in(bench, read_off(-0.08))
    client.force_login(bench.assessor)
    page = client.get(f"/review/{attempt.pk}/").text
    assert "Rig or candidate?" in page
    assert "That points to VB-01, not to the candidate" in page


def test_attempts_stand_beside_the_checks(bench):
    others(bench, count=2, share=-0.05)
    (taps, _) = (
        each for each in series.of_baseline(bench.rig.baselines.get()) if not each.reference.is_near_zero
    )
    state = board.level_state(taps, thresholds=series.thresholds_of(bench.centre), on=AT.date())
    found = rig_charts.beside(state, rig=bench.rig, zone=bench.centre.zone)
    assert found is not None and found.panel is not None
    kinds = [mark.kind for mark in found.panel.marks]
    assert (kinds.count("reading"), kinds.count("check")) == (4, 1)
    (row,) = found.rows
    assert (row.instrument, row.readings, row.people) == ("MN-02", 4, 2)
    assert row.mean.startswith("\N{MINUS SIGN}")
