"""The board's figures: how rigs stand since their baselines, as shares, and where they are heading."""

import json
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Centre, LedgerEntry, Role
from academy.refusals import Refused
from rigs import board, charts, drawings, series, thresholds
from rigs.metrology.standing import Standing
from rigs.models import BaselineValue, CheckReading, Rig
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory, person_with

pytestmark = pytest.mark.django_db

FALLING = (1.0, 0.985, 0.972, 0.953, 0.94, 0.925)


def weekly(bench, shares, *, of=None):
    """Checks a week apart, without noise, at shares of the level that the rig was made with."""
    for week, share in enumerate(shares):
        text = f"{make.RUNNING * share:.4f}"
        texts = {"taps:fan-running": text, "ports:fan-running": text}
        bench.check(of=of or bench.rig, at=AT + timedelta(weeks=week), texts=texts)


SIXTH_WEEK = AT.date() + timedelta(weeks=6)


def state_of(bench, *, on=SIXTH_WEEK):
    rigs = Rig.objects.filter(pk=bench.rig.pk).with_board(session=None)
    return board.states(rigs=rigs, centre=bench.manager.centre, on=on)[bench.rig.pk]


class TestOneRig:
    def test_a_rig_without_a_baseline_has_no_state(self, bench):
        bare = make.rig(by=bench.technician, tag="VB-02")
        rigs = Rig.objects.with_board(session=None)
        found = board.states(rigs=rigs, centre=bench.manager.centre, on=AT.date())
        assert bare.pk not in found
        ((_, state),) = board.rows(rigs=[bare_of(bare)], centre=bench.manager.centre, on=AT.date())
        assert state is None

    def test_one_that_was_never_checked_says_so(self, bench):
        state = state_of(bench)
        assert [each.judgement for each in state.levels] == [None] * 3
        assert {each.heading.kind for each in state.levels} == {"few"}
        assert state.leading is None

    def test_the_next_baseline_is_due_by_the_centres_months(self, bench):
        assert state_of(bench).baseline_due == date(2026, 1, 5)
        Centre.objects.update(baseline_months=6)
        bench.manager.centre.refresh_from_db()
        assert state_of(bench).baseline_due == date(2025, 7, 5)

    def test_a_falling_level_leaves_its_range_between_two_days(self, bench):
        weekly(bench, FALLING)
        leading = state_of(bench).leading
        assert leading.judgement.standing is Standing.WATCH
        assert leading.change == pytest.approx(-7.5, abs=1.5)
        heading = leading.heading
        assert heading.kind == "leaving"
        assert AT.date() + timedelta(weeks=6) < heading.on < AT.date() + timedelta(weeks=9)
        assert heading.earliest < heading.on < heading.latest

    def test_once_it_is_out_the_day_is_one_gone_by(self, bench):
        weekly(bench, [*FALLING, 0.91, 0.89, 0.875])
        heading = state_of(bench, on=AT.date() + timedelta(weeks=9)).leading.heading
        assert (heading.kind, heading.on < AT.date() + timedelta(weeks=9)) == ("past", True)

    def test_a_slow_trend_has_no_day_within_a_year(self, bench):
        weekly(bench, [1.0, 0.9995, 0.999, 0.9985, 0.998, 0.9975])
        heading = state_of(bench).leading.heading
        assert heading.kind == "far"

    def test_a_steady_one_has_no_trend(self, bench):
        weekly(bench, [1.0, 1.01, 0.99, 1.01, 0.99, 1.0])
        assert state_of(bench).leading.heading.kind == "none"

    def test_a_band_without_an_end_has_no_last_day(self, bench):
        weekly(bench, FALLING)
        level = state_of(bench).leading.series
        forecast = level.forecast(series.thresholds_of(bench.manager.centre))
        for ends in ({"earliest": 40.0, "latest": None}, {"earliest": None, "latest": 60.0}):
            open_ended = replace(forecast, leaving=replace(forecast.leaving, at=50.0, **ends))
            found = board.heading(level, open_ended, on=AT.date())
            assert found.kind == "leaving"
            assert (found.earliest is None, found.latest is None) == (
                ends["earliest"] is None,
                ends["latest"] is None,
            )

    def test_the_level_nearest_to_trouble_leads(self, bench):
        for week, share in enumerate(FALLING):
            texts = {"taps:fan-running": "1.58", "ports:fan-running": f"{1.58 * share:.4f}"}
            bench.check(at=AT + timedelta(weeks=week), texts=texts)
        assert state_of(bench).leading.label == "Δp at the switch ports, fan running"

    def test_checks_against_an_earlier_baseline_are_not_among_them(self, bench):
        weekly(bench, FALLING)
        at = AT + timedelta(weeks=7)
        make.approved_baseline(
            of=bench.rig, instruments=bench.references, by=bench.technician, second=bench.assessor, at=at
        )
        assert [each.series.points for each in state_of(bench).levels] == [()] * 3


def bare_of(rig):
    return Rig.objects.with_board(session=None).get(pk=rig.pk)


class TestAlarms:
    def test_the_whole_board_is_counted(self, bench):
        alone = board.alarm_rate(centre=bench.manager.centre)
        assert (alone.rigs, alone.levels, alone.checks) == (1, 3, board.ALARM_CHECKS)
        other = make.rig(by=bench.technician, tag="VB-02")
        make.approved_baseline(
            of=other, instruments=bench.references, by=bench.technician, second=bench.assessor
        )
        both = board.alarm_rate(centre=bench.manager.centre)
        assert (both.rigs, both.levels) == (2, 6)
        assert 0 < alone.chance < both.chance < 0.2

    def test_a_retired_rig_or_another_centres_raises_none(self, bench):
        Rig.objects.update(retired_at=AT, retired_why="Worn out")
        assert board.alarm_rate(centre=bench.manager.centre) is None
        assert board.alarm_rate(centre=ManagerFactory().centre) is None


class TestThresholds:
    GIVEN = {
        "watch_percent": Decimal(4),
        "hold_percent": Decimal(8),
        "least_margin": Decimal("1.2"),
        "baseline_months": 6,
    }

    def change(self, manager, **given):
        return thresholds.change(centre=manager.centre, **(self.GIVEN | given), by=manager, at=AT)

    def test_they_are_the_centres_from_then_on(self, manager):
        centre = self.change(manager)
        found = series.thresholds_of(Centre.objects.get(pk=centre.pk))
        assert (found.watch_percent, found.hold_percent, found.least_margin) == (4, 8, 1.2)
        entry = LedgerEntry.objects.get(verb="thresholds.change")
        assert json.loads(entry.body)["facts"]["hold_percent"] == "8"

    @pytest.mark.parametrize(
        ("given", "field"),
        [
            ({"watch_percent": Decimal(9)}, "watch_percent"),
            ({"watch_percent": Decimal(0)}, "watch_percent"),
            ({"hold_percent": Decimal(1000)}, "hold_percent"),
            ({"least_margin": Decimal("0.9")}, "least_margin"),
            ({"baseline_months": 0}, "baseline_months"),
        ],
    )
    def test_what_can_not_be_is_refused_beside_its_field(self, manager, given, field):
        with pytest.raises(Refused) as refusal:
            self.change(manager, **given)
        assert refusal.value.field == field
        assert not LedgerEntry.objects.filter(verb="thresholds.change").exists()

    def test_another_centres_are_not_ones_own_to_set(self, manager):
        with pytest.raises(Refused):
            thresholds.change(centre=ManagerFactory().centre, **self.GIVEN, by=manager, at=AT)

    def test_a_manager_sets_them_on_a_page(self, client, manager, morning):
        client.force_login(manager)
        address = reverse("threshold-change")
        assert 'value="6.00"' in client.get(address).text
        assert (
            client.post(address, {name: str(value) for name, value in self.GIVEN.items()}).status_code == 302
        )
        assert "The values are saved" in client.get(reverse("rig-list")).text
        manager.centre.refresh_from_db()
        assert manager.centre.hold_percent == 8


class TestDrawings:
    def chart_of(self, bench):
        limits = series.thresholds_of(bench.manager.centre)
        state = state_of(bench).leading
        return charts.level_chart(state, thresholds=limits, zone=bench.manager.centre.zone)

    def test_every_place_is_inside_the_drawing(self, bench):
        weekly(bench, [*FALLING, 0.80])
        chart = self.chart_of(bench)
        assert [panel.title for panel in chart.panels] == ["Checks", "Weighted average of the checks (EWMA)"]
        for panel in chart.panels:
            assert {mark.kind for mark in panel.marks} <= {"in", "beyond"}
            for mark in panel.marks:
                assert drawings.LEFT <= mark.x <= drawings.RIGHT
                assert drawings.TOP <= mark.y <= drawings.BOTTOM
            ticks = [tick.at for tick in panel.y_ticks]
            assert len(ticks) >= 3
            assert ticks == sorted(ticks, reverse=True)

    def test_a_fall_goes_down_and_the_trend_with_it(self, bench):
        weekly(bench, FALLING)
        checks, average = self.chart_of(bench).panels
        heights = [mark.y for mark in checks.marks]
        assert heights == sorted(heights)
        assert [path.kind for path in checks.paths] == ["trend", "joined"]
        assert [band.kind for band in checks.bands] == ["trend"]
        assert [band.kind for band in average.bands] == ["limits"]
        assert checks.unit == "mbar"

    def test_without_a_trend_no_line_is_drawn(self, bench):
        weekly(bench, [1.0, 1.01, 0.99, 1.01, 0.99, 1.0])
        checks, _ = self.chart_of(bench).panels
        assert [path.kind for path in checks.paths] == ["joined"]

    def test_the_table_behind_has_every_check_the_newest_first(self, bench):
        weekly(bench, FALLING)
        rows = self.chart_of(bench).rows
        assert [row.at for row in rows] == [AT + timedelta(weeks=week) for week in reversed(range(6))]
        assert rows[0].mean.startswith("1.46")
        assert rows[0].change.startswith("\N{MINUS SIGN}7.")
        assert rows[0].is_beyond

    def test_words_lie_on_no_other_word(self):
        frame = drawings.Frame(start=AT, end=AT + timedelta(days=7), low=0.0, high=10.0)
        lines = drawings.worded(
            frame, [("hold", 9.0, "hold"), ("limit", 8.9, "3σ"), ("centre", 5.0, "baseline")]
        )
        assert [line.word for line in lines] == ["hold", "", "baseline"]

    @pytest.mark.parametrize(
        ("share", "text"),
        [(0.0, "0.0"), (-0.04, "0.0"), (1.26, "+1.3"), (-12.34, "\N{MINUS SIGN}12.3")],
    )
    def test_a_share_has_its_sign(self, share, text):
        assert drawings.percent(share) == f"{text}\N{NARROW NO-BREAK SPACE}%"

    @pytest.mark.parametrize(
        ("at_least", "expected"), [(0.03, (0.05, 2)), (0.5, (0.5, 1)), (6, (10, 0)), (1, (1, 0))]
    )
    def test_a_step_is_a_round_number(self, at_least, expected):
        assert drawings.round_step(at_least, finest=0.001) == pytest.approx(expected)

    def test_one_check_makes_no_line_in_little(self, bench):
        weekly(bench, [1.0])
        assert charts.sparkline(state_of(bench).leading, hold_percent=10.0) is None
        weekly(bench, FALLING[1:2])
        line = charts.sparkline(state_of(bench).leading, hold_percent=10.0)
        assert "2 checks" in line.words


class TestPages:
    @pytest.fixture
    def later(self, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: AT + timedelta(weeks=6))

    def test_the_board_says_shares_and_days_and_never_what_a_rig_reads(self, client, bench, later):
        weekly(bench, FALLING)
        client.force_login(bench.manager)
        page = client.get(reverse("rig-list")).text
        chart = TestDrawings().chart_of(bench)
        assert chart.rows[0].change in page
        assert "at 90 %:" in page
        for row in chart.rows:
            assert row.mean not in page
            assert row.average not in page

    def test_a_rigs_page_says_why_in_words(self, client, bench, later):
        weekly(bench, [0.85])
        client.force_login(bench.manager)
        page = client.get(reverse("rig-detail", args=[bench.rig.pk])).text
        assert "Δp at the venturi taps, fan running: too far below the baseline." in page
        hold = client.get(reverse("hold-place", kwargs={"rig": bench.rig.pk})).text
        assert "too far below the baseline." in hold

    def test_the_charts_of_a_level_are_asked_for_by_a_link(self, client, bench, later):
        weekly(bench, FALLING)
        client.force_login(person_with(Role.Kind.VERIFIER, by=bench.manager))
        address = reverse("rig-charts", args=[bench.rig.pk])
        first = client.get(address)
        assert 'class="chart-field"' in first.text
        ports = next(
            each for each in first.context["levels"] if each.label.startswith("Δp at the switch ports, fan r")
        )
        page = client.get(address, {"level": ports.series.measurand.pk})
        assert page.context["chosen"].label == ports.label
        for nonsense in ("", "x", "99999999"):
            assert client.get(address, {"level": nonsense}).status_code == 200

    def test_a_technician_sees_charts_and_nobodys_attempts(self, client, bench, later):
        weekly(bench, FALLING)
        address = reverse("rig-charts", args=[bench.rig.pk])
        client.force_login(bench.technician)
        assert "Attempts on it" not in client.get(address).text
        client.force_login(bench.manager)
        assert "Attempts on it" in client.get(address).text

    def test_thirty_rigs_cost_as_many_queries_as_three(self, client, bench, later):
        weekly(bench, FALLING)
        client.force_login(bench.manager)
        addresses = [reverse("rig-list"), reverse("rig-charts", args=[bench.rig.pk])]
        costs = []
        for upto in (3, 30):
            for number in range(Rig.objects.count(), upto):
                twin_of(bench.rig, tag=f"VB-1{number:02d}")
            costs.append([cost(client, address) for address in addresses])
        assert costs[0] == costs[1]
        assert client.get(addresses[0]).text.count('class="sparkline"') == 30


def cost(client, address):
    client.get(address)  # by now the session is known
    with CaptureQueriesContext(connection) as captured:
        client.get(address)
    return len(captured)


def twin_of(rig, *, tag):
    """A rig with the same baseline and checks: row by row, since the verbs would take a minute for thirty."""
    twin = Rig.objects.create(centre=rig.centre, design=rig.design, tag=tag)
    baseline = rig.baselines.get()
    values, checks = list(baseline.values.all()), list(rig.checks.prefetch_related("readings"))
    copy = as_new(baseline, pk=uuid4(), rig=twin)
    copy.save(force_insert=True)
    BaselineValue.objects.bulk_create(as_new(each, pk=None, baseline=copy) for each in values)
    for check in checks:
        readings = list(check.readings.all())
        again = as_new(check, pk=uuid4(), rig=twin, baseline=copy)
        again.save(force_insert=True)
        CheckReading.objects.bulk_create(as_new(each, pk=None, rig_check=again) for each in readings)


def as_new(row, **given):
    known = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    known.pop(row._meta.pk.attname)
    fresh = type(row)(**known)
    for name, value in given.items():
        setattr(fresh, name, value)
    return fresh
