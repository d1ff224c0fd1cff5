"""What a sample can find, against values recomputed from the hypergeometric distribution."""

import pytest

from rigs.metrology.sampling import detection_probability, most_wrong_if_none_found, smallest_sample
from tests.published.entries import half_a_digit, rows


@pytest.mark.parametrize(("case", "printed"), rows("sampling", "T13-02", of="P", by="cases_N_d_n"))
def test_chance_of_finding_one_wrong_decision(case: tuple[int, int, int], printed: str) -> None:
    population, wrong, size = case
    found = detection_probability(population=population, wrong=wrong, sample_size=size)
    assert found == pytest.approx(float(printed), abs=half_a_digit(printed))


@pytest.mark.parametrize(("case", "printed"), rows("sampling", "T13-04", of="n", by="N_d"))
def test_smallest_sample_for_95_percent(case: tuple[int, int], printed: str) -> None:
    population, wrong = case
    assert smallest_sample(population=population, wrong=wrong, chance=0.95) == int(printed)


@pytest.mark.parametrize(("n", "printed"), rows("sampling", "T12-13", of="upper95", by="n"))
def test_what_a_clean_sample_still_allows(n: int, printed: str) -> None:
    assert most_wrong_if_none_found(sample_size=n) == pytest.approx(float(printed), abs=half_a_digit(printed))
