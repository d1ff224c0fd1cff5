from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.samples import SampleError
from rigs.metrology.sampling import detection_probability, most_wrong_if_none_found, smallest_sample


@st.composite
def samples(draw: st.DrawFn) -> tuple[int, int, int]:
    population = draw(st.integers(1, 80))
    return population, draw(st.integers(0, population)), draw(st.integers(0, population))


@given(samples())
def test_detection_is_the_ratio_of_binomials(case: tuple[int, int, int]) -> None:
    population, wrong, size = case
    exact = 1 - comb(population - wrong, size) / comb(population, size)
    found = detection_probability(population=population, wrong=wrong, sample_size=size)
    assert found == pytest.approx(exact, abs=1e-12)


@given(samples())
def test_the_smallest_sample_is_enough_and_one_fewer_is_not(case: tuple[int, int, int]) -> None:
    population, wrong, _ = case
    if not wrong:
        return
    size = smallest_sample(population=population, wrong=wrong, chance=0.9)
    assert detection_probability(population=population, wrong=wrong, sample_size=size) >= 0.9 - 1e-12
    assert detection_probability(population=population, wrong=wrong, sample_size=size - 1) < 0.9


def test_a_whole_number_of_percent_is_met_exactly() -> None:
    """One wrong among 10: each one sampled adds a tenth, and nine give 0.9, not ten."""
    assert smallest_sample(population=10, wrong=1, chance=0.9) == 9


def test_great_numbers_stay_finite() -> None:
    found = detection_probability(population=10**7, wrong=10**5, sample_size=300)
    assert found == pytest.approx(1 - 0.99**300, rel=1e-3)


@given(st.integers(1, 60), st.integers(1, 60))
def test_a_clean_sample_allows_less_of_a_small_population(population: int, size: int) -> None:
    if size > population:
        return
    share = most_wrong_if_none_found(sample_size=size, population=population)
    assert share <= most_wrong_if_none_found(sample_size=size) + 1e-9
    wrong = round(share * population)
    assert detection_probability(population=population, wrong=wrong, sample_size=size) <= 0.95 + 1e-12
    if wrong < population - size:
        assert detection_probability(population=population, wrong=wrong + 1, sample_size=size) > 0.95


def test_a_full_sample_leaves_nothing() -> None:
    assert most_wrong_if_none_found(sample_size=12, population=12) == 0.0


def test_impossible_samples_are_refused() -> None:
    with pytest.raises(SampleError, match="no decisions"):
        detection_probability(population=0, wrong=0, sample_size=0)
    with pytest.raises(SampleError, match="Give 0 to 10"):
        detection_probability(population=10, wrong=11, sample_size=1)
    with pytest.raises(SampleError, match="A sample of 11"):
        detection_probability(population=10, wrong=1, sample_size=11)
    with pytest.raises(SampleError, match="None wrong"):
        smallest_sample(population=10, wrong=0, chance=0.9)
    with pytest.raises(SampleError, match="chance of finding"):
        smallest_sample(population=10, wrong=1, chance=90)
    with pytest.raises(SampleError, match="empty sample"):
        most_wrong_if_none_found(sample_size=0)
    with pytest.raises(SampleError, match="A sample of 11"):
        most_wrong_if_none_found(sample_size=11, population=10)
