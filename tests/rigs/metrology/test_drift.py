import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.drift import RunRules, broken_rules, check_limits, cusum, ewma, individuals, precision
from rigs.metrology.samples import SampleError

W, N = RunRules.WESTERN_ELECTRIC_1956, RunRules.NELSON_1984


def test_checks_are_judged_by_the_baseline_when_it_is_given() -> None:
    found = individuals([1.65, 1.62, 1.80], centre=1.65, sigma=0.03)
    assert (found.lower, found.upper) == pytest.approx((1.56, 1.74))
    assert found.beyond == (2,)
    assert found.range_upper == pytest.approx(3.267 * 1.128 * 0.03)


def test_an_ewma_sees_a_slow_slide_before_single_values_do() -> None:
    slide = [1.65 - 0.008 * week for week in range(1, 13)]
    averaged = ewma(slide, centre=1.65, sigma=0.03)
    single = individuals(slide, centre=1.65, sigma=0.03)
    assert averaged.signals[0] < single.beyond[0]
    assert averaged.points[1] == pytest.approx(0.2 * slide[1] + 0.8 * (0.2 * slide[0] + 0.8 * 1.65))


def test_an_ewma_stays_quiet_at_its_centre() -> None:
    assert ewma([1.65] * 50, centre=1.65, sigma=0.03).signals == ()


def test_a_cusum_signals_on_either_side() -> None:
    up = cusum([0, 0, 2, 2, 2, 2], target=0, allowance=0.5, decision=4)
    down = cusum([0, 0, -2, -2, -2, -2], target=0, allowance=0.5, decision=4)
    assert up.signals == down.signals == (4, 5)
    assert up.high == down.low == (0, 0, 1.5, 3.0, 4.5, 6.0)


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=40), st.floats(0.1, 3), st.floats(0.1, 10))
def test_charts_do_not_mind_the_unit(values: list[float], sigma: float, factor: float) -> None:
    scaled = [factor * value for value in values]
    one, other = ewma(values, centre=0, sigma=sigma), ewma(scaled, centre=0, sigma=factor * sigma)
    assert np.allclose(np.array(one.points) * factor, other.points)
    assert np.allclose(np.array(one.upper) * factor, other.upper)


@pytest.mark.parametrize(
    ("edition", "values", "expected"),
    [
        pytest.param(W, [0, 3.1, 0, -3.1], [(1, 1), (1, 3)], id="each value beyond 3σ"),
        pytest.param(W, [2.1, 0, 2.2, 0], [(2, 2)], id="2 of 3 beyond 2σ on one side"),
        pytest.param(W, [2.1, 0, -2.2, 0], [], id="2 of 3 on two sides break nothing"),
        pytest.param(W, [1.1, 1.2, 0, 1.1, 1.5], [(3, 4)], id="4 of 5 beyond 1σ"),
        pytest.param(W, [0.1] * 12, [(4, 7)], id="8 on one side, told once"),
        pytest.param(W, [0.1] * 7, [], id="7 on one side are no run"),
        pytest.param(N, [0.1] * 8, [], id="8 are none by the other edition"),
        pytest.param(N, [0.1, 0.2] * 4 + [0.1], [(2, 8)], id="9 are"),
        pytest.param(N, [0, 0.1, 0.2, 0.3, 0.4, 0.5], [(3, 5)], id="6 rising"),
        pytest.param(N, [0.5, 0.4, 0.3, 0.2, 0.1], [], id="5 falling are none"),
        pytest.param(N, [0.5, -0.5] * 7, [(4, 13)], id="14 up and down"),
        pytest.param(N, [0.5, -0.5, -0.4] * 5, [(7, 14)], id="15 within 1σ"),
        pytest.param(N, [1.1, -1.2] * 4, [(8, 7)], id="8 beyond 1σ on either side"),
        pytest.param(N, [0.0] * 12, [], id="on the centre is on no side"),
    ],
)
def test_a_broken_rule_is_told_where_its_run_is_complete(
    edition: RunRules, values: list[float], expected: list[tuple[int, int]]
) -> None:
    found = broken_rules([10 + 2 * value for value in values], centre=10, sigma=2, edition=edition)
    assert [(hit.rule.number, hit.index) for hit in found] == expected
    assert all(hit.rule.edition == edition for hit in found)


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=40), st.sampled_from(RunRules))
def test_a_chart_upside_down_breaks_the_same_rules(values: list[float], edition: RunRules) -> None:
    one = broken_rules(values, centre=0, sigma=1, edition=edition)
    other = broken_rules([-value for value in values], centre=0, sigma=1, edition=edition)
    assert one == other


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: individuals([], centre=1.0, sigma=1.0), "no values"),
        (lambda: individuals([1.0]), "only 1"),
        (lambda: individuals([1.0, 1.0, 1.0]), "at least resolution"),
        (lambda: individuals([1.0, 2.0], sigma=0.0), "sigma"),
        (lambda: ewma([], centre=0, sigma=1), "There are no values"),
        (lambda: ewma([1.0, math.nan], centre=0, sigma=1), "Number 2"),
        (lambda: ewma([1.0], centre=0, sigma=0), "above zero"),
        (lambda: ewma([1.0], centre=math.inf, sigma=1), "centre"),
        (lambda: ewma([1.0], centre=0, sigma=1, weight=0), "EWMA weight"),
        (lambda: ewma([1.0], centre=0, sigma=1, width=-1), "width"),
        (lambda: cusum([1.0], target=0, allowance=-1, decision=4), "allowance"),
        (lambda: cusum([1.0], target=0, allowance=1, decision=0), "decision"),
        (lambda: broken_rules([1.0], centre=0, sigma=math.nan, edition=N), "sigma is nan"),
        (lambda: check_limits(mean=1, sd=0, dof=4), "sd"),
        (lambda: precision(sd=1, n=1, pooled_sd=1, pooled_dof=4), "at least 2"),
        (lambda: precision(sd=1, n=3, pooled_sd=0, pooled_dof=4), "pooled sd"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(call: Callable[[], object], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        call()
