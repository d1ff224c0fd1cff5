import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import cohens_kappa as their_cohens
from statsmodels.stats.inter_rater import fleiss_kappa as their_fleiss
from statsmodels.stats.proportion import proportion_confint

from rigs.metrology.agreement import Weights, cohens_kappa, fleiss_kappa, wilson
from rigs.metrology.samples import SampleError

TABLE = ((11, 3, 1), (1, 9, 0), (0, 1, 10))


@pytest.mark.parametrize(
    ("weights", "theirs"),
    [(Weights.NONE, None), (Weights.LINEAR, "linear"), (Weights.QUADRATIC, "quadratic")],
)
def test_cohens_kappa_and_its_error_agree_with_statsmodels(weights: Weights, theirs: str | None) -> None:
    table = np.array(((12, 4, 1, 0), (2, 9, 3, 1), (0, 3, 14, 2), (1, 0, 2, 8)))
    expected = their_cohens(table, wt=theirs)
    found = cohens_kappa(table.tolist(), weights=weights)
    assert found.value == pytest.approx(expected.kappa)
    assert found.standard_error == pytest.approx(math.sqrt(expected.var_kappa))
    assert (found.lower, found.upper) == pytest.approx((expected.kappa_low, expected.kappa_upp))
    assert found.n == table.sum()


def test_full_agreement_is_one_and_without_error() -> None:
    found = cohens_kappa([[10, 0], [0, 5]])
    assert (found.value, found.standard_error, found.lower, found.upper) == (1.0, 0.0, 1.0, 1.0)
    all_alike = fleiss_kappa([[3, 0], [0, 3], [3, 0]])
    assert all_alike.value == pytest.approx(1.0)
    assert all_alike.standard_error == pytest.approx(0.0)


@given(st.lists(st.lists(st.integers(0, 20), min_size=3, max_size=3), min_size=3, max_size=3))
def test_swapping_the_assessors_changes_nothing(table: list[list[int]]) -> None:
    try:
        found = cohens_kappa(table, weights=Weights.LINEAR)
    except SampleError:
        return
    swapped = cohens_kappa([list(row) for row in zip(*table, strict=True)], weights=Weights.LINEAR)
    assert swapped.value == pytest.approx(found.value)
    assert swapped.standard_error == pytest.approx(found.standard_error, abs=1e-9)
    assert -1 <= found.lower <= found.value + 1e-9
    assert found.value - 1e-9 <= found.upper <= 1


def simulated_counts(rng: np.random.Generator, attempts: int) -> list[list[int]]:
    """Four assessors who each copy an attempt's own verdict 7 times in 10, else guess."""
    own = rng.integers(0, 3, attempts)
    given = np.where(rng.random((attempts, 4)) < 0.7, own[:, None], rng.integers(0, 3, (attempts, 4)))
    return [np.bincount(row, minlength=3).tolist() for row in given]


def test_fleiss_kappa_agrees_with_statsmodels_and_its_error_with_a_jackknife() -> None:
    counts = simulated_counts(np.random.default_rng(8), 60)
    found = fleiss_kappa(counts)
    assert found.value == pytest.approx(their_fleiss(np.array(counts)))
    left_out = np.array([fleiss_kappa(counts[:i] + counts[i + 1 :]).value for i in range(60)])
    jackknife = math.sqrt(59 / 60 * float(np.sum((left_out - left_out.mean()) ** 2)))
    assert found.standard_error == pytest.approx(jackknife, rel=0.05)


def test_fleiss_interval_covers_the_kappa_that_made_it() -> None:
    rng = np.random.default_rng(21)
    inside = [
        found.lower <= 0.49 <= found.upper
        for found in (fleiss_kappa(simulated_counts(rng, 50)) for _ in range(1000))
    ]
    assert 0.925 < np.mean(inside) < 0.975


@given(st.integers(0, 60), st.integers(1, 60))
def test_wilson_is_statsmodels_and_symmetric(count: int, n: int) -> None:
    if count > n:
        return
    found, other = wilson(count=count, n=n), wilson(count=n - count, n=n)
    lower, upper = proportion_confint(count, n, method="wilson")
    assert (found.lower, found.upper) == pytest.approx((lower, upper), abs=1e-12)
    assert (1 - other.upper, 1 - other.lower) == pytest.approx((found.lower, found.upper), abs=1e-12)
    assert 0 <= found.lower <= found.value <= found.upper <= 1


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ([], "Give each row"),
        ([[]], "Give each row"),
        ([[0, 0], [0, 0]], "judged twice"),
        ([[1, 2, 3], [1, 2, 3]], "square"),
        ([[5]], "square"),
        ([[1, 2], [3]], "differ in length"),
        ([[1, -2], [3, 4]], "zero or more"),
        ([[1, 2.5], [3, 4]], "whole numbers"),
        ([[1, math.nan], [3, 4]], "not only numbers"),
        ([[7, 0], [0, 0]], "share agreed instead"),
    ],
)
def test_tables_that_say_nothing_are_refused(table: list[list[float]], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        cohens_kappa(table)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        ([[3, 0]], "at least 2 attempts"),
        ([[1, 0], [0, 1]], "same number"),
        ([[2, 1], [2, 0]], "same number"),
        ([[3, 0], [3, 0]], "share agreed instead"),
    ],
)
def test_counts_that_say_nothing_are_refused(counts: list[list[int]], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        fleiss_kappa(counts)


def test_shares_that_are_none_are_refused() -> None:
    with pytest.raises(SampleError, match="at least one"):
        wilson(count=0, n=0)
    with pytest.raises(SampleError, match="Count both again"):
        wilson(count=5, n=4)
    with pytest.raises(SampleError, match="Give a number between 0 and 1"):
        wilson(count=1, n=4, confidence=95)
    with pytest.raises(SampleError, match="confidence"):
        cohens_kappa(TABLE, confidence=1.0)
