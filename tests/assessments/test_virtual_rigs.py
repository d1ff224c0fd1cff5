import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.virtual_rigs import (
    MANOMETER,
    RealFigures,
    VirtualBench,
    draw_bench,
    resembles,
    shows,
    sounds,
)
from rigs.behaviour import observations
from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Test

SEEDS = st.integers(0, 2**40)
RUNNING = Test.of("ports/fan-running")


@given(seed=SEEDS, terminals=st.sampled_from([2, 3]))
def test_a_bench_comes_back_from_what_is_kept_of_it(seed, terminals):
    bench = draw_bench(seed=seed, terminals=terminals)

    assert VirtualBench.read(json.loads(json.dumps(bench.written()))) == bench


@given(seed=SEEDS)
def test_every_pressure_that_can_be_read_is_known_with_its_uncertainty(seed):
    bench = draw_bench(seed=seed, terminals=3)

    assert set(bench.levels) == {
        test.key for test in observations.tests_of(terminals=3) if not test.is_contact
    }
    assert all(each.repeat_dof == 9 and each.repeat_share == 0.1 for each in bench.levels.values())
    assert all(each.repeat_sd > 0 and each.other_u > 0 for each in bench.levels.values())


@given(seed=SEEDS)
def test_the_manometers_errors_are_inside_its_specification(seed):
    using = draw_bench(seed=seed, terminals=2).manometer

    for reading in (0.0, 0.5, 1.6, 4.0):
        error = using.gain * reading + using.offset - reading
        assert (
            abs(error) <= MANOMETER.percent_reading * reading / 100 + MANOMETER.counts * MANOMETER.resolution
        )


@given(seed=SEEDS, number=st.integers(0, 9_999))
def test_a_display_shows_the_same_again_when_it_is_looked_at_again(seed, number):
    bench = draw_bench(seed=seed, terminals=2)
    asked = {"test": RUNNING, "fault": None, "seed": seed, "number": number}

    assert shows(bench, **asked) == shows(bench, **asked)


@given(seed=SEEDS)
def test_crossed_tubes_show_a_minus_and_a_healthy_rig_none(seed):
    bench = draw_bench(seed=seed, terminals=2)

    assert not shows(bench, test=RUNNING, fault=None, seed=seed, number=1).startswith("-")
    assert shows(bench, test=RUNNING, fault=Fault.TUBES_CROSSED, seed=seed, number=1).startswith("-")


def test_two_seeds_are_two_rigs():
    assert draw_bench(seed=1, terminals=2).rig != draw_bench(seed=2, terminals=2).rig


@pytest.mark.parametrize(
    ("shown", "heard"), [("0.2", True), ("40.0", True), ("41.0", False), ("OL", False), ("", False)]
)
def test_a_tone_is_heard_up_to_its_threshold(shown, heard):
    assert sounds(shown) is heard


class TestLikeness:
    RIG = draw_bench(seed=7, terminals=2).rig

    def real(self, *, running=1.0, make=1.0, break_=1.0):
        return RealFigures(
            running=self.RIG.running * running, make=self.RIG.make * make, break_=self.RIG.break_ * break_
        )

    def test_all_three_figures_near_is_too_near(self):
        assert resembles(self.RIG, real=[self.real(running=1.02, make=0.98, break_=1.01)])

    @pytest.mark.parametrize("far", [{"running": 1.05}, {"make": 0.95}, {"break_": 1.05}])
    def test_one_figure_far_off_is_another_rig(self, far):
        assert not resembles(self.RIG, real=[self.real(**far)])

    def test_what_a_baseline_does_not_say_is_not_far_off(self):
        assert resembles(self.RIG, real=[RealFigures(running=self.RIG.running)])

    def test_a_rig_of_which_nothing_is_known_is_like_none(self):
        assert not resembles(self.RIG, real=[RealFigures()])

    def test_any_one_of_many_rigs_counts(self):
        assert resembles(replace(self.RIG), real=[RealFigures(running=1.0), self.real()])
