import math
from datetime import timedelta
from decimal import Decimal

import pytest

from rigs import register, suitability
from rigs.metrology.instruments import Suitability
from rigs.models import Instrument
from rigs.models.designs import MeasurandKind
from rigs.suitability import Fitness
from tests.factories import rigs as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheet(bench):
    return bench.check().value_sheet


@pytest.fixture
def coarse(bench):
    return make.instrument(by=bench.manager, tag="MN-05", ranges=make.COARSE_MANOMETER)


def levels(sheet):
    found = sheet.values.filter(measurand__kind=MeasurandKind.LEVEL)
    return list(found.select_related("measurand__test_point", "measurand__condition"))


def running(sheet):
    return next(each for each in levels(sheet) if make.key_of(each.measurand) == "taps:fan-running")


def refusal(instrument, sheet):
    return suitability.refusal(instrument=instrument, levels=suitability.levels_of(sheet))


class TestRefusal:
    def test_a_fine_manometer_can_decide_everything_on_the_rig(self, bench, sheet):
        assert refusal(bench.manometer, sheet) is None

    def test_a_coarse_one_is_refused_without_a_number(self, sheet, coarse):
        words = refusal(coarse, sheet)
        assert words == "MN-05 isn't suitable for what is read on this rig. Choose another."
        assert not any(letter.isdigit() for letter in words.replace(coarse.tag, ""))

    def test_a_multimeter_is_not_asked_for_pressures(self, bench, sheet):
        assert refusal(bench.multimeter, sheet) is None

    def test_without_values_nothing_is_refused(self, coarse):
        assert refusal(coarse, None) is None


class TestRatio:
    def test_it_is_that_of_the_centres_tolerance_to_the_instruments_uncertainty(self, bench, sheet):
        value = running(sheet)
        found = suitability.of_value(value, instrument=bench.manometer)
        # Half a percent of the reading and a digit, rectangular, and the display (GUM 4.3.7, F.2.2.1).
        reading = value.value / 100
        u = math.hypot((0.005 * reading + 0.01) / math.sqrt(3), 0.01 / math.sqrt(12))
        assert found.expanded_u / 100 == pytest.approx(2.0000024 * u, rel=1e-6)
        assert found.ratio == pytest.approx(0.1 * reading / (2.0000024 * u), rel=1e-6)
        assert found.suitable

    def test_a_narrower_tolerance_makes_the_same_instrument_unsuitable(self, bench, sheet):
        bench.manometer.centre.tolerance_percent = 4
        assert not suitability.of_value(running(sheet), instrument=bench.manometer).suitable

    def test_a_measurands_own_tolerance_comes_before_the_centres(self, bench, sheet):
        value = running(sheet)
        value.measurand.tolerance_percent = 1
        assert not suitability.of_value(value, instrument=bench.manometer).suitable

    def test_near_zero_the_tolerance_is_the_measurands_floor(self, bench, sheet):
        fan_off = next(each for each in levels(sheet) if make.key_of(each.measurand) == "ports:fan-off")
        found = suitability.of_value(fan_off, instrument=bench.manometer)
        assert found.suitable
        assert found.ratio * found.expanded_u == pytest.approx(8.0)  # Pa


class TestExpectedRange:
    def test_it_lies_around_the_present_value_in_the_test_points_unit(self, bench, sheet):
        value = running(sheet)
        found = suitability.expected_range(value, instrument=bench.manometer)
        assert (found.unit, found.decimals) == ("mbar", 2)
        assert found.value == pytest.approx(value.value / 100)
        assert found.upper - found.value == pytest.approx(found.value - found.lower)

    def test_it_is_wider_with_a_coarser_instrument(self, bench, sheet, coarse):
        fine, wide = (
            suitability.expected_range(running(sheet), instrument=each) for each in (bench.manometer, coarse)
        )
        assert wide.lower < fine.lower < fine.upper < wide.upper

    def test_a_centre_may_set_a_wider_floor(self, bench, sheet):
        bench.manometer.centre.floor_percent = Decimal(20)
        found = suitability.expected_range(running(sheet), instrument=bench.manometer)
        assert (found.lower, found.upper) == pytest.approx((found.value * 0.8, found.value * 1.2))

    def test_a_display_that_cannot_show_the_value_has_no_range(self, bench, sheet):
        assert suitability.expected_range(running(sheet), instrument=bench.multimeter) is None

    def test_a_state_has_no_range(self, bench, sheet):
        state = sheet.values.filter(measurand__kind=MeasurandKind.STATE).first()
        assert suitability.expected_range(state, instrument=bench.multimeter) is None


class TestWhatAnInstrumentDecides:
    def found(self, instrument):
        return {
            each.rig.tag: {make.key_of(measurand): fitness for measurand, fitness in each.points}
            for each in suitability.decided_by(instrument)
        }

    def test_it_is_told_rig_by_rig_and_point_by_point(self, bench, sheet, coarse):
        fine = self.found(bench.manometer)[bench.rig.tag]
        assert fine["taps:fan-running"].is_enough
        assert all(fitness.is_enough for fitness in fine.values())
        assert self.found(coarse)[bench.rig.tag]["taps:fan-running"] is Fitness.TOO_COARSE

    def test_the_newest_sheet_counts(self, bench, sheet, coarse):
        later = bench.check(at=bench.at + timedelta(days=1), running=1.6)
        values = later.value_sheet.values.filter(measurand=running(sheet).measurand)
        values.update(value=12_000.0)
        assert self.found(coarse)[bench.rig.tag]["taps:fan-running"] is not Fitness.TOO_COARSE

    def test_a_rig_that_is_retired_or_another_centres_is_left_out(self, bench, sheet, coarse):
        other = make.open_bench()
        other.check()
        assert list(self.found(coarse)) == [bench.rig.tag]
        register.retire(thing=bench.rig, why="Worn", by=bench.manager, at=bench.at)
        assert self.found(coarse) == {}

    def test_it_asks_once_for_all_rigs(self, bench, sheet, django_assert_num_queries):
        related = Instrument.objects.select_related("centre", "model").prefetch_related("model__ranges")
        instrument = related.get(pk=bench.manometer.pk)
        with django_assert_num_queries(1):
            assert suitability.decided_by(instrument)

    def test_its_page_compares_in_words_and_tells_no_value(self, bench, sheet, coarse, client):
        client.force_login(bench.assessor)
        page = client.get(f"/instruments/{coarse.pk}/").text
        assert "No, too coarse" in page and "below 4 : 1" in page
        assert suitability.of_value(running(sheet), instrument=coarse).working not in page

    @pytest.mark.parametrize(
        ("ratio", "fitness"),
        [(3.99, Fitness.TOO_COARSE), (4, Fitness.ENOUGH), (9.99, Fitness.ENOUGH), (10, Fitness.AMPLE)],
    )
    def test_a_ratio_is_told_as_one_of_three(self, ratio, fitness):
        found = Suitability(suitable=ratio >= 4, expanded_u=1.0, ratio=ratio, reason="", working="")
        assert suitability.fitness(found) is fitness
