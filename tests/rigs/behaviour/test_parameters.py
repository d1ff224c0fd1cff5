"""A rig's figures from its measurands, from common practice, and by chance."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.behaviour.parameters import Figure, RigModel, characterised, drawn, many_of, rig_from
from rigs.behaviour.venturi import RigError
from tests.rigs.behaviour.boards import board

FIGURES = {
    "taps/fan-running": Figure(value=160, u=1.6, repeat_sd=1.5),
    "high-tap/fan-running": Figure(value=64, u=0.8),
    "make-point/hand-pump": Figure(value=96, u=0.5),
    "break-point/hand-pump": Figure(value=72, u=0.4),
    "high-tap/outlet-blocked": Figure(value=310, u=4),
    "ports/fan-off": Figure(value=0, u=0.2, repeat_sd=0.6),
    "ports/fan-running": Figure(value=999, u=1),
}


def test_measurands_make_the_rig_that_they_describe() -> None:
    found = rig_from(FIGURES, terminals=3)
    assert (found.rig.running, found.rig.make, found.rig.break_, found.rig.no_flow) == (160, 96, 72, 310)
    assert (found.rig.repeat_sd, found.rig.rest_sd, found.rig.terminals) == (1.5, 0.6, 3)
    assert found.rig.h_share == pytest.approx(0.4)
    assert found.u_h_share == pytest.approx(0.4 * math.hypot(0.8 / 64, 1.6 / 160))
    assert (found.u_running, found.u_make, found.u_break, found.u_dead_head) == (1.6, 0.5, 0.4, 4)
    assert found.assumed == ("speed of a slow fan",)


def test_what_is_not_measured_is_taken_from_common_practice_and_named() -> None:
    found = rig_from({"ports/fan-running": Figure(value=160, u=1.6)}, terminals=2)
    assert found.rig.running == 160
    assert found.rig.break_ < found.rig.make < found.rig.running
    assert found.u_h_share > 0.02 and found.u_make > 5
    assert found.assumed == (
        "high side's share of the Δp",
        "make point",
        "break point",
        "fan's pressure at no flow",
        "speed of a slow fan",
    )


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({}, "running Δp"),
        ({"taps/fan-running": Figure(value=0, u=1)}, "above zero"),
        ({"taps/fan-running": Figure(value=math.nan, u=1)}, "taps/fan-running needs a value"),
        ({"taps/fan-running": Figure(value=160, u=-1)}, "taps/fan-running needs a value"),
        ({"taps/fan-running": Figure(value=160, u=math.inf)}, "taps/fan-running needs a value"),
        (FIGURES | {"break-point/hand-pump": Figure(value=99, u=1)}, "let go below"),
        (FIGURES | {"high-tap/fan-running": Figure(value=170, u=1)}, "share between 0 and 1"),
    ],
)
def test_figures_that_make_no_rig_are_refused_in_words(values, message) -> None:
    with pytest.raises(RigError, match=message):
        rig_from(values, terminals=2)


def test_an_uncertainty_that_is_none_is_refused() -> None:
    with pytest.raises(RigError, match="uncertainty"):
        RigModel(rig=board(), u_make=-1)


@given(st.integers(0, 2**32 - 1), st.sampled_from([2, 3]))
def test_a_drawn_rig_is_one_that_could_stand_on_a_bench(seed, terminals) -> None:
    rig = drawn(np.random.default_rng(seed), terminals=terminals)
    assert rig.terminals == terminals
    assert 1.5 < rig.margin < 1.9
    assert 0.15 < 1 - rig.break_ / rig.make < 0.4
    assert rig == drawn(np.random.default_rng(seed), terminals=terminals)


def test_a_baseline_s_figures_are_off_by_as_much_as_it_states() -> None:
    rng = np.random.default_rng(5)
    true = board()
    found = [characterised(true, rng=rng) for _ in range(2000)]
    for figure, u in (("running", "u_running"), ("h_share", "u_h_share"), ("make", "u_make")):
        off = np.array([getattr(each.rig, figure) - getattr(true, figure) for each in found])
        assert np.std(off) == pytest.approx(getattr(found[0], u), rel=0.06)
        assert abs(np.mean(off)) < 4 * getattr(found[0], u) / math.sqrt(2000)
    with pytest.raises(RigError, match="repeat"):
        characterised(true, rng=rng, repeats=0)


def test_rigs_drawn_from_a_model_are_ones_that_can_be() -> None:
    wild = RigModel(rig=board(), u_running=200, u_h_share=1, u_make=200, u_break=200, u_dead_head=900)
    found = many_of(wild, rng=np.random.default_rng(2), size=500)
    for row in range(500):
        replace(
            board(),
            running=found.running[row],
            h_share=found.h_share[row],
            make=found.make[row],
            break_=found.break_[row],
            dead_head=found.no_flow[row],
            slow_speed=found.slow_speed[row],
        )  # raises for a rig that can't be
