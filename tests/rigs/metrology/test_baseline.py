import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.baseline import (
    generalised_esd,
    grubbs,
    normality,
    repeat_spread,
    screen,
    summarise,
    tolerance_factor,
    tolerance_interval,
)
from rigs.metrology.samples import SampleError

# Ten readings over three days, mbar.
READINGS = (1.66, 1.64, 1.67, 1.65, 1.63, 1.61, 1.62, 1.68, 1.69, 1.67)
DAYS = ("mon", "mon", "mon", "mon", "tue", "tue", "tue", "wed", "wed", "wed")


def test_a_summary_keeps_days_and_repeats_apart() -> None:
    found = summarise(READINGS, days=DAYS, resolution=0.01, reference_u=0.004)
    assert (found.n, found.days, found.repeat_dof) == (10, 3, 7)
    assert found.mean == pytest.approx(1.652)
    # By hand: sums of squares within days 0.0005, 0.0002, 0.0002.
    assert found.repeat_sd == pytest.approx(math.sqrt(0.0009 / 7))
    between_square = (4 * 0.003**2 + 3 * 0.032**2 + 3 * 0.028**2) / 2
    size = (10 - 34 / 10) / 2
    assert found.between_sd == pytest.approx(math.sqrt((between_square - 0.0009 / 7) / size))
    parts = found.between_sd**2 / 3 + found.repeat_sd**2 / 10 + 0.004**2
    assert found.u_ref == pytest.approx(math.sqrt(parts))
    assert found.sd == pytest.approx(np.std(READINGS, ddof=1))
    assert found.flagged == ()


def test_one_day_says_nothing_of_days() -> None:
    found = summarise(READINGS, days=["mon"] * 10, resolution=0.01)
    assert found.between_sd is None
    assert found.repeat_sd == pytest.approx(found.sd)
    assert found.u_ref == pytest.approx(found.sd / math.sqrt(10))


def test_days_no_further_apart_than_noise_add_nothing() -> None:
    found = summarise([1.0, 1.2, 0.9, 1.1, 1.0, 1.2], days=[1, 1, 2, 2, 3, 3], resolution=0.1)
    assert found.between_sd == 0.0


def test_variances_are_recovered_on_average() -> None:
    rng = np.random.default_rng(42)
    days = np.repeat([0, 1, 2], [4, 3, 3])
    within, between = [], []
    for _ in range(3000):
        readings = 10 + rng.normal(0, 0.4, 3)[days] + rng.normal(0, 0.3, 10)
        found = summarise(readings.tolist(), days=days.tolist(), resolution=0.0)
        within.append(found.repeat_sd**2)
        between.append((found.between_sd or 0.0) ** 2)
    assert np.mean(within) == pytest.approx(0.09, rel=0.03)
    # Never below zero, so a little above the truth.
    assert 0.16 * 0.95 < np.mean(between) < 0.16 * 1.15


def test_zero_spread_is_floored_at_the_display() -> None:
    found = summarise([0.0] * 10, days=DAYS, resolution=0.01)
    assert found.repeat_sd == pytest.approx(0.01 / math.sqrt(12))
    assert found.mean == 0.0
    assert found.flagged == ()
    assert found.normality is None


def test_an_outlier_is_flagged_and_still_counted() -> None:
    readings = [*READINGS[:9], 2.4]
    found = summarise(readings, days=DAYS, resolution=0.01)
    assert found.flagged == (9,)
    assert found.n == 10
    assert found.mean == pytest.approx(np.mean(readings))


def test_one_display_step_is_no_outlier() -> None:
    readings = [0.0] * 9 + [0.01]
    assert grubbs(readings).beyond
    assert screen(readings, resolution=0.01) == ()
    assert screen([0.0] * 9 + [0.03], resolution=0.01) == (9,)


def test_two_outliers_hide_each_other_from_grubbs_but_not_from_esd() -> None:
    rng = np.random.default_rng(4)
    few = [*rng.normal(10, 0.1, 8), 14.0, 14.05]
    assert screen(few, resolution=0.001) == ()
    many = [*rng.normal(10, 0.1, 28), 14.0, 14.3]
    assert screen(many, resolution=0.001) == (28, 29)


def test_good_readings_are_flagged_about_once_in_twenty_baselines() -> None:
    rng = np.random.default_rng(9)
    for size in (10, 30):
        flagged = [bool(screen(rng.normal(0, 1, size), resolution=0.0)) for _ in range(2000)]
        assert 0.035 < np.mean(flagged) < 0.07


@given(
    st.lists(st.floats(-100, 100).map(lambda x: round(x, 2)), min_size=5, max_size=30),
    st.randoms(use_true_random=False),
)
def test_the_order_of_readings_does_not_matter(readings: list[float], order: object) -> None:
    rows = [(reading, index % 3) for index, reading in enumerate(readings)]
    shuffled = list(rows)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    one, other = (
        summarise([reading for reading, _ in each], days=[day for _, day in each], resolution=0.01)
        for each in (rows, shuffled)
    )
    assert other.mean == pytest.approx(one.mean, abs=1e-9)
    assert other.repeat_sd == pytest.approx(one.repeat_sd, abs=1e-9)
    assert other.u_ref == pytest.approx(one.u_ref, abs=1e-9)


def test_normality_sees_skew_but_not_the_display_s_steps() -> None:
    rng = np.random.default_rng(1)
    skewed = normality(rng.exponential(1.0, 30).tolist())
    plain = normality(rng.normal(0, 1.0, 30).tolist())
    assert skewed is not None and skewed.doubtful
    assert plain is not None and not plain.doubtful
    assert normality([1.0, 1.0, 1.01, 1.0, 1.01], resolution=0.01) is None


def test_days_apart_do_not_look_abnormal() -> None:
    rng = np.random.default_rng(2)
    readings = [*rng.normal(0, 0.1, 15), *rng.normal(10, 0.1, 15)]
    apart = normality(readings, groups=[0] * 15 + [1] * 15)
    together = normality(readings)
    assert apart is not None and not apart.doubtful
    assert together is not None and together.doubtful


def test_a_tolerance_interval_holds_its_share_with_its_confidence() -> None:
    rng = np.random.default_rng(6)
    samples = rng.normal(0, 1, (20000, 10))
    factor = tolerance_factor(n=10, coverage=0.95, confidence=0.90)
    means, sds = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    held = np.vectorize(math.erf)
    share = (held((means + factor * sds) / math.sqrt(2)) - held((means - factor * sds) / math.sqrt(2))) / 2
    assert np.mean(share >= 0.95) == pytest.approx(0.90, abs=0.007)


def test_a_tolerance_interval_is_centred_and_scaled() -> None:
    found = tolerance_interval(mean=1.65, sd=0.02, n=10)
    assert found.factor == pytest.approx(3.3934, abs=1e-4)
    assert (found.lower, found.upper) == pytest.approx(
        (1.65 - found.factor * 0.02, 1.65 + found.factor * 0.02)
    )


def test_factors_tend_to_the_normal_quantile_and_fall_with_freedom() -> None:
    assert tolerance_factor(n=10**6, coverage=0.95, confidence=0.5) == pytest.approx(1.95996, abs=1e-4)
    pooled = tolerance_factor(n=10, coverage=0.95, confidence=0.95, dof=40)
    assert pooled < tolerance_factor(n=10, coverage=0.95, confidence=0.95)


@pytest.mark.parametrize(
    ("readings", "days", "resolution", "message"),
    [
        ([], [], 0.01, "no readings"),
        ([1.0], ["mon"], 0.01, "at least 5"),
        ([1.0] * 4, ["mon"] * 4, 0.01, "at least 5"),
        ([1.0, 2.0, 3.0, 4.0, math.nan], ["mon"] * 5, 0.01, "Number 5 of the readings is nan"),
        ([1.0, math.inf, 3.0, 4.0, 5.0], ["mon"] * 5, 0.01, "Number 2"),
        ([1.0] * 5, ["mon"] * 5, 0.0, "no resolution is known"),
        ([1.0, 2.0, 3.0, 4.0, 5.0], range(5), 0.01, "at least two on one day"),
        ([1.0, 2.0, 3.0, 4.0, 5.0], ["mon"] * 4, 0.01, "Give each reading its day"),
        ([1.0, 2.0, 3.0, 4.0, 5.0], ["mon"] * 5, -0.01, "resolution"),
        ([1.0, 2.0, 3.0, 4.0, 5.0], ["mon"] * 5, math.nan, "resolution"),
        ([[1.0, 2.0]], ["mon"], 0.01, "one plain list"),
    ],
)
def test_what_is_no_baseline_is_refused_with_what_to_do(
    readings: list[float], days: list[object], resolution: float, message: str
) -> None:
    with pytest.raises(SampleError, match=message):
        summarise(readings, days=days, resolution=resolution)


def test_impossible_settings_are_refused() -> None:
    with pytest.raises(SampleError, match="Give a number between 0 and 1"):
        tolerance_factor(n=10, coverage=95, confidence=0.95)
    with pytest.raises(SampleError, match="At least 2"):
        tolerance_factor(n=1, coverage=0.95, confidence=0.95)
    with pytest.raises(SampleError, match="degrees of freedom"):
        tolerance_factor(n=5, coverage=0.95, confidence=0.95, dof=0)
    with pytest.raises(SampleError, match="standard deviation"):
        tolerance_interval(mean=1.0, sd=0.0, n=5)
    with pytest.raises(SampleError, match="at least 25"):
        generalised_esd(READINGS, at_most=2)
    with pytest.raises(SampleError, match="Allow 1 to"):
        generalised_esd(READINGS * 3, at_most=20)
    with pytest.raises(SampleError, match="at least 3"):
        grubbs([1.0, 2.0])
    with pytest.raises(SampleError, match="two on one day"):
        repeat_spread([1.0, 2.0], groups=["a", "b"], resolution=0.1)
