from datetime import timedelta

import pytest

from rigs import baselines, instruments, readouts, suitability
from rigs.models import Instrument
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db

TAPS = "Δp at the venturi taps, fan running"
CLOSED = "Switch contacts, COM to NO, fan running"
FAN_OFF = "Δp at the switch ports, fan off, isolated"


def line(lines, label):
    return next(each for each in lines if each.label == label)


class TestSummaries:
    def test_figures_are_rounded_to_their_uncertainty(self, bench):
        taps = line(readouts.summaries(baseline=baselines.in_force(rig=bench.rig)), TAPS)
        assert (taps.unit, taps.repeats, taps.days, taps.before) == ("mbar", 10, 3, "")
        assert len(taps.u.lstrip("0.")) == 2
        assert len(taps.mean.partition(".")[2]) == len(taps.u.partition(".")[2])
        assert float(taps.mean) == pytest.approx(1.58, abs=0.02)

    def test_the_baseline_before_is_compared_with(self, bench):
        first = baselines.in_force(rig=bench.rig)
        second = make.approved_baseline(
            of=bench.rig,
            instruments=bench.references,
            by=bench.technician,
            second=bench.assessor,
            running=1.50,
            at=AT + timedelta(days=9),
        )
        taps = line(readouts.summaries(baseline=second), TAPS)
        means = [baseline.values.get(measurand__test_point__slug="taps").mean for baseline in (first, second)]
        assert float(taps.before) == pytest.approx(means[0] / 100, abs=0.001)
        share = f"{(means[1] / means[0] - 1) * 100:.1f}".replace("-", "−")
        assert taps.change == f"{share} %"
        # A percentage of nothing says nothing.
        assert line(readouts.summaries(baseline=second), FAN_OFF).change.endswith(" mbar")

    def test_a_waiting_baseline_says_what_it_would_and_nothing_is_kept(self, db):
        bare = make.open_bench(with_baseline=False)
        baseline = make.open_baseline(
            of=bare.rig,
            instruments=bare.references,
            by=bare.technician,
            texts=[{}, {"taps:fan-running": "1.95", "contacts:fan-running": "OL"}],
        )
        summaries = readouts.summaries(baseline=baseline)
        assert line(summaries, TAPS).flagged == (2,)
        state = line(summaries, CLOSED)
        assert (state.state, state.is_as_expected) == ("not the same each time", False)
        flagged = [
            (run.number, cell.text)
            for run in readouts.runs(baseline=baseline, summaries=summaries)
            for cell in run.cells
            if cell.flagged
        ]
        assert flagged == [(2, "1.95")]
        assert not baseline.values.exists()

    def test_too_few_runs_say_nothing(self, db):
        bare = make.open_bench(with_baseline=False)
        baseline = make.open_baseline(
            of=bare.rig, instruments=bare.references, by=bare.technician, runs=4, days=1
        )
        assert readouts.summaries(baseline=baseline) == ()
        assert [run.number for run in readouts.runs(baseline=baseline)] == [1, 2, 3, 4]


class TestRuns:
    def test_they_hold_what_was_typed_with_its_unit_once(self, db):
        bare = make.open_bench(with_baseline=False)
        texts = {"taps:fan-running": "158 Pa", "ports:fan-running": "1,58", "contacts:fan-off": "OL"}
        baseline = make.open_baseline(
            of=bare.rig, instruments=bare.references, by=bare.technician, runs=2, days=1, texts=[texts]
        )
        first, _ = readouts.runs(baseline=baseline)
        assert first.instruments == ("DM-01", "MN-01")
        cells = [(cell.text, cell.unit) for cell in first.cells]
        assert ("158 Pa", "") in cells
        assert ("1,58", "mbar") in cells
        assert ("OL", "") in cells

    def test_they_can_be_read_by_measurand(self, bench):
        runs = readouts.runs(baseline=baselines.in_force(rig=bench.rig))
        columns = readouts.by_measurand(runs)
        assert [len(cells) for cells in columns] == [10] * 9
        assert [cells[0].label for cells in columns] == [cell.label for cell in runs[0].cells]


class TestComparisons:
    def test_a_check_stands_beside_its_baseline(self, bench):
        check = bench.check(texts={"taps:fan-running": "1.4", "contacts:fan-running": "OL"})
        found = readouts.comparisons(check=check)
        taps = line(found, TAPS)
        assert [cell.text for cell in taps.cells] == ["1.4"] * 3
        assert (taps.found, taps.unit) == ("1.4", "mbar")
        assert taps.change.startswith("−1")
        assert (line(found, CLOSED).found, line(found, CLOSED).baseline) == ("open", "closed")
        assert len(found) == 6


class TestPresentValues:
    def test_both_ends_that_are_shown_are_in_range_and_the_next_figures_are_not(self, bench):
        sheet = bench.check().value_sheet
        taps = line(readouts.present_values(sheet=sheet, instrument=bench.manometer), TAPS)
        value = sheet.values.select_related("measurand__test_point").get(measurand__test_point__slug="taps")
        expected = suitability.expected_range(value, instrument=bench.manometer)
        lower, upper = float(taps.lower), float(taps.upper)
        assert expected.lower <= lower <= expected.lower + 0.01
        assert expected.upper - 0.01 <= upper <= expected.upper
        assert taps.suitable

    def test_it_says_why_an_instrument_is_not_suitable(self, bench):
        coarse = make.instrument(by=bench.manager, ranges=make.COARSE_MANOMETER)
        sheet = bench.check().value_sheet
        taps = line(readouts.present_values(sheet=sheet, instrument=coarse), TAPS)
        assert not taps.suitable
        assert "4 are needed" in taps.working

    def test_an_instrument_whose_display_cannot_show_it_has_no_range(self, bench):
        sheet = bench.check().value_sheet
        taps = line(readouts.present_values(sheet=sheet, instrument=bench.multimeter), TAPS)
        assert (taps.lower, taps.upper, taps.suitable) == ("", "", False)

    def test_without_an_instrument_there_is_the_value_alone(self, bench):
        values = readouts.present_values(sheet=bench.check().value_sheet, instrument=None)
        assert (line(values, TAPS).lower, line(values, TAPS).suitable) == ("", None)
        assert line(values, CLOSED).state == "closed"

    def test_a_range_finer_than_the_display_is_shown_with_more_digits(self):
        narrow = suitability.ExpectedRange(lower=1.5812, upper=1.5848, value=1.583, unit="mbar", decimals=2)
        assert readouts._shown_range(narrow) == ("1.5812", "1.5848")

    @pytest.mark.parametrize(
        ("lower", "upper", "shown"),
        [
            (1.5160, 1.6245, ("1.52", "1.62")),
            (1.52, 1.62, ("1.52", "1.62")),  # on the bound is in range, whatever binary makes of it
            (-0.0133, 0.0139, ("−0.01", "0.01")),
            (-0.0033, 0.0139, ("0.00", "0.01")),
        ],
    )
    def test_a_range_is_rounded_inwards_to_the_display(self, lower, upper, shown):
        found = suitability.ExpectedRange(lower=lower, upper=upper, value=0, unit="mbar", decimals=2)
        assert readouts._shown_range(found) == shown


def test_an_instrument_to_choose_comes_with_all_that_a_range_asks_of_it(bench, django_assert_num_queries):
    sheet = bench.check().value_sheet
    chosen = instruments.choices(centre=bench.manager.centre, kinds=["manometer"]).bench().get()
    assert isinstance(chosen, Instrument)
    with django_assert_num_queries(1):
        readouts.present_values(sheet=sheet, instrument=chosen)
