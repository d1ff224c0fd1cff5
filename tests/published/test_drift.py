"""Control charts and their run lengths against published values."""

import math
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtr

from rigs.metrology.drift import (
    D2,
    D4,
    RULES,
    RunRules,
    check_limits,
    cusum,
    ewma,
    individuals,
    precision,
)
from rigs.metrology.run_lengths import cusum_run_length, ewma_run_length
from tests.published.entries import Entry, entry, half_a_digit, label, rows

FLOW = entry("drift", "T01-01")
RANGES = entry("drift", "T01-02")
CUSUM = entry("drift", "T01-04")
CHECK = entry("drift", "T01-15")
EWMA = entry("drift", "T01-18")
CONSTANTS = entry("drift", "T05-01")
FACTORS = entry("drift", "T05-02")
ONE_RULE = entry("drift", "T05-05")
ALL_RULES = entry("drift", "ARL-03")
TEXTS = {
    RunRules.WESTERN_ELECTRIC_1956: entry("drift", "T05-03"),
    RunRules.NELSON_1984: entry("drift", "T05-04"),
}


@pytest.mark.parametrize("item", [pytest.param(FLOW, id=label(FLOW))])
def test_individuals_chart_of_the_flow_rates(item: Entry) -> None:
    # σ is R̄/1.128, with d2 rounded as in print; the exact d2 would change the third decimal of the limits.
    found = individuals(item["inputs"]["x"])
    expected, within = item["expected"], item["tolerance"]
    assert found.centre == pytest.approx(float(expected["mean"]), abs=within["mean"])
    assert found.mean_range == pytest.approx(float(expected["MRbar"]), abs=within["MRbar"])
    assert found.upper == pytest.approx(float(expected["UCL"]), abs=within["UCL"])
    assert found.lower == pytest.approx(float(expected["LCL"]), abs=within["LCL"])
    assert found.moving_ranges == pytest.approx([*map(float, expected["moving_ranges"])], abs=1e-9)
    assert len(found.beyond) == expected["out_of_control_points"]


@pytest.mark.parametrize("item", [pytest.param(RANGES, id=label(RANGES))])
def test_moving_range_limit_of_the_flow_rates(item: Entry) -> None:
    found = individuals(FLOW["inputs"]["x"])
    assert found.range_upper == pytest.approx(
        float(item["expected"]["MR_UCL"]), abs=item["tolerance"]["MR_UCL"]
    )


@pytest.mark.parametrize("item", [pytest.param(CONSTANTS, id=label(CONSTANTS))])
def test_chart_constants_are_those_printed_for_two_readings(item: Entry) -> None:
    assert item["inputs"]["n"][0] == 2
    assert item["expected"]["d2"][0] == str(D2)
    assert item["expected"]["D4"][0] == str(D4)
    assert abs(D2 - 2 / math.sqrt(math.pi)) < 5e-4


@pytest.mark.parametrize("item", [pytest.param(FACTORS, id=label(FACTORS))])
def test_three_sigma_from_a_mean_range(item: Entry) -> None:
    # Printed 2.660, from d2 as rounded; the exact d2 gives 2.659.
    assert pytest.approx(float(item["expected"]["E2"]), abs=item["tolerance"]["E2"]) == 3 / D2


@pytest.mark.parametrize("item", [pytest.param(CUSUM, id=label(CUSUM))])
def test_tabular_cusum(item: Entry) -> None:
    # Two decimals are printed, exact halves rounded either way. Groups are counted from 1.
    given = item["inputs"]
    found = cusum(given["x"], target=given["target"], allowance=given["k"], decision=given["h"])
    for ours, name in ((found.high, "S_hi"), (found.low, "S_lo"), (found.plain, "cusum")):
        printed = [float(figure) for figure in item["expected"][name]]
        assert ours == pytest.approx(printed, abs=item["tolerance"][name])
    assert found.signals[0] + 1 == item["expected"]["first_signal_group"]


@pytest.mark.parametrize("item", [pytest.param(EWMA, id=label(EWMA))])
def test_ewma_limits_are_the_exact_ones_that_widen(item: Entry) -> None:
    given = item["inputs"]
    found = ewma(
        [given["target"]] * 80,
        centre=given["target"],
        sigma=given["sigma"],
        weight=given["lambda"],
        width=given["L"],
    )
    for place, name in ((0, "UCL_i1"), (1, "UCL_i2"), (-1, "UCL_inf")):
        assert found.upper[place] == pytest.approx(float(item["expected"][name]), abs=item["tolerance"][name])


@pytest.mark.parametrize("item", [pytest.param(CHECK, id=label(CHECK))])
def test_check_standard_limits_and_precision(item: Entry) -> None:
    given, expected = item["inputs"], item["expected"]
    lower, upper = check_limits(
        mean=given["accepted_mean"], sd=given["s_c"], dof=given["nu"], alpha=given["alpha"]
    )
    assert upper == pytest.approx(float(expected["UCL"]), abs=5e-5)
    assert lower == pytest.approx(float(expected["LCL"]), abs=5e-5)
    found = precision(sd=given["s_new"], n=given["n_new"], pooled_sd=given["s_c"], pooled_dof=given["nu"])
    assert found.ratio == pytest.approx(float(expected["F"]), abs=5e-5)
    assert found.critical == pytest.approx(float(expected["F_crit_0.95_4_19"]), abs=5e-5)
    assert found.in_control is expected["precision_in_control"]


@pytest.mark.parametrize(
    ("edition", "item"), [pytest.param(edition, item, id=label(item)) for edition, item in TEXTS.items()]
)
def test_each_edition_has_its_own_numbers(edition: RunRules, item: Entry) -> None:
    """Rule by rule the published words and ours hold the same numbers."""
    for rule, words in zip(RULES[edition], item["expected"].values(), strict=True):
        assert digits(words) == digits(rule.words)
        assert str(rule.span) in digits(words)


def digits(words: str) -> set[str]:
    return set("".join(letter if letter.isdigit() else " " for letter in words).split())


def chance_in_control(edition: RunRules, number: int) -> float:
    """The chance that one window breaks the rule, summed over every way to fall into zones 1σ wide."""
    rule = RULES[edition][number - 1]
    coarse = rule.span > 5
    edges = [-math.inf, -1, 0, 1, math.inf] if coarse else [-math.inf, -3, -2, -1, 0, 1, 2, 3, math.inf]
    if rule.span > 8:
        edges = [-math.inf, 0, math.inf]
    middles = np.array(
        [np.clip((a + b) / 2, -9, 9) for a, b in zip([-5, *edges[1:-1]], [*edges[1:-1], 5], strict=True)]
    )
    chances = np.diff(ndtr(np.array(edges)))
    ways = np.array(list(product(range(len(middles)), repeat=rule.span)))
    return float(np.prod(chances[ways], axis=1)[rule.holds(middles[ways])].sum())


@pytest.mark.parametrize(
    ("edition", "number", "name"),
    [
        pytest.param(edition, number, name, id=label(ONE_RULE, edition, number))
        for edition, number, name in (
            (RunRules.WESTERN_ELECTRIC_1956, 1, "beyond_3s"),
            (RunRules.WESTERN_ELECTRIC_1956, 2, "two_of_three_2s_per_window"),
            (RunRules.WESTERN_ELECTRIC_1956, 3, "four_of_five_1s_per_window"),
            (RunRules.WESTERN_ELECTRIC_1956, 4, "eight_same_side"),
            (RunRules.NELSON_1984, 1, "beyond_3s"),
            (RunRules.NELSON_1984, 2, "nine_same_side"),
            (RunRules.NELSON_1984, 5, "two_of_three_2s_per_window"),
            (RunRules.NELSON_1984, 6, "four_of_five_1s_per_window"),
            (RunRules.NELSON_1984, 8, "eight_beyond_1s"),
        )
    ],
)
def test_chance_that_one_window_breaks_a_rule_in_control(edition: RunRules, number: int, name: str) -> None:
    printed = float(ONE_RULE["expected"][name])
    assert chance_in_control(edition, number) == pytest.approx(printed, abs=ONE_RULE["tolerance"][name])


@pytest.mark.parametrize("item", [pytest.param(ONE_RULE, id=label(ONE_RULE, "within 1σ, 3σ alone"))])
def test_chance_of_fifteen_within_one_sigma_and_run_length_of_three(item: Entry) -> None:
    hugging = RULES[RunRules.NELSON_1984][6]
    assert bool(hugging.holds(np.full(hugging.span, 0.99)))
    assert not bool(hugging.holds(np.append(np.full(hugging.span - 1, 0.5), 1.01)))
    chance = (ndtr(1) - ndtr(-1)) ** hugging.span
    assert chance == pytest.approx(float(item["expected"]["fifteen_within_1s"]), abs=2e-6)
    # An EWMA of weight 1 is the chart of single values.
    found = ewma_run_length(weight=1.0, width=3.0)
    assert found == pytest.approx(float(item["expected"]["ARL_3s"]), abs=item["tolerance"]["ARL_3s"])


ARL = entry("drift", "ARL-01")


@pytest.mark.parametrize(
    ("shift", "printed", "percent"),
    [
        pytest.param(shift, float(printed), percent, id=label(ARL, f"shift {shift}"))
        for shift, printed, percent in zip(
            ARL["inputs"]["shift"],
            ARL["expected"]["run_length"],
            ARL["tolerance"]["run_length_percent"],
            strict=True,
        )
    ],
)
def test_ewma_run_length(shift: float, printed: float, percent: float) -> None:
    assert ewma_run_length(shift=shift) == pytest.approx(printed, rel=percent / 100)


@pytest.mark.parametrize(("case", "printed"), rows("drift", "ARL-02", of="run_length", by="decision_shift"))
def test_cusum_run_length(case: tuple[float, float], printed: str) -> None:
    decision, shift = case
    found = cusum_run_length(allowance=0.5, decision=decision, shift=shift)
    assert found == pytest.approx(float(printed), abs=1.2 * half_a_digit(printed))


@pytest.mark.parametrize("item", [pytest.param(ALL_RULES, id=label(ALL_RULES))])
def test_all_western_electric_rules_together_cry_wolf(item: Entry) -> None:
    rng = np.random.default_rng(1987)
    lengths = []
    for _ in range(8):
        z = rng.standard_normal((1000, 900))
        broken = np.zeros(z.shape, dtype=bool)
        for rule in RULES[RunRules.WESTERN_ELECTRIC_1956]:
            windows = np.lib.stride_tricks.sliding_window_view(z, rule.span, axis=1)
            broken[:, rule.span - 1 :] |= rule.holds(windows)
        lengths.append(broken.argmax(axis=1) + 1)
    assert np.mean(lengths) == pytest.approx(
        float(item["expected"]["run_length"]), rel=item["tolerance"]["run_length_percent"] / 100
    )
