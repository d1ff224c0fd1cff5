import math
from collections.abc import Callable

import numpy as np
import pytest

from rigs.metrology.drift import ewma_half_widths
from rigs.metrology.run_lengths import cusum_run_length, ewma_run_length, false_alarm_chance
from rigs.metrology.samples import SampleError


def simulated_quiet(checks: int, *, outer: float, offset_sd: float) -> float:
    rng = np.random.default_rng(77)
    values = rng.normal(size=(60_000, checks)) + rng.normal(0, offset_sd, (60_000, 1))
    running, quiet = np.zeros(60_000), np.ones(60_000, dtype=bool)
    for value, half in zip(values.T, ewma_half_widths(checks, weight=0.2, width=2.962), strict=True):
        running = 0.2 * value + 0.8 * running
        quiet &= (np.abs(running) <= half) & (np.abs(value) <= outer)
    return float(quiet.mean())


@pytest.mark.parametrize(("outer", "centre_u"), [(math.inf, 0.0), (3.0, 0.0), (math.inf, 0.4)])
def test_false_alarm_chance_is_what_simulation_gives(outer: float, centre_u: float) -> None:
    found = false_alarm_chance(checks=40, outer=outer, centre_u=centre_u)
    assert 1 - found == pytest.approx(simulated_quiet(40, outer=outer, offset_sd=centre_u), abs=0.006)


def test_a_whole_board_alarms_oftener_than_one_rig() -> None:
    one = false_alarm_chance(checks=40)
    assert false_alarm_chance(checks=40, charts=12) == pytest.approx(1 - (1 - one) ** 12)


def test_a_poor_baseline_alarms_oftener_and_a_long_one_comes_closer() -> None:
    chances = [false_alarm_chance(checks=40, centre_u=u) for u in (0.0, 0.05, 0.3, 0.6)]
    assert chances == sorted(chances)
    assert chances[1] < 1.1 * chances[0]


def test_a_shift_is_seen_the_sooner_the_larger_it_is() -> None:
    lengths = [ewma_run_length(shift=shift) for shift in (0.0, 0.5, 1.0, 2.0)]
    assert lengths == sorted(lengths, reverse=True)
    assert ewma_run_length(shift=-1.0) == pytest.approx(ewma_run_length(shift=1.0))
    assert ewma_run_length(outer=3.0) < ewma_run_length()


def test_a_cusum_without_allowance_for_the_sum_is_a_chart_of_single_values() -> None:
    """h → 0 with allowance 3 alarms when one value passes 3σ: 370 checks on both sides."""
    assert cusum_run_length(allowance=3.0, decision=1e-9) == pytest.approx(370.4, abs=0.1)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: false_alarm_chance(checks=0), "1 or more"),
        (lambda: false_alarm_chance(checks=5, centre_u=-1), "uncertainty"),
        (lambda: ewma_run_length(shift=math.nan), "shift"),
        (lambda: cusum_run_length(allowance=0.5, decision=0), "decision"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(call: Callable[[], object], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        call()
