"""Outlier tests, normality and tolerance factors against published values."""

import math

import pytest
from scipy.special import chdtri, ndtri

from rigs.metrology.baseline import generalised_esd, grubbs, normality, tolerance_factor
from tests.published.entries import Entry, entry, label

GRUBBS = entry("baseline", "T01-08")
SHAPIRO = entry("baseline", "T01-11")
ESD = entry("baseline", "ESD-01")
ISO_16269 = [entry("baseline", f"T04-0{number}") for number in range(1, 7)]
TEXTBOOK = [entry("baseline", f"T04-{number}") for number in range(14, 26)]
RECOMPUTED = entry("baseline", "T04-27")


def howe(*, n: int, coverage: float, confidence: float) -> float:
    """Howe's approximation (J. Am. Stat. Assoc. 64 (1969) 610–620), which the engine doesn't use."""
    chi_square = chdtri(n - 1, confidence)
    return float(ndtri((1 + coverage) / 2) * math.sqrt((n - 1) * (1 + 1 / n) / chi_square))


@pytest.mark.parametrize("item", [pytest.param(GRUBBS, id=label(GRUBBS))])
def test_grubbs_rejects_the_uranium_outlier_as_printed(item: Entry) -> None:
    # G is printed cut off at 2.4687: exactly it is 2.46877. The printed critical value is one-sided.
    found = grubbs(item["inputs"]["x"], alpha=item["inputs"]["alpha"], two_sided=False)
    assert found.statistic == pytest.approx(float(item["expected"]["G"]), abs=1e-4)
    assert found.critical == pytest.approx(float(item["expected"]["G_crit_one_sided"]), abs=5e-4)
    assert found.beyond is item["expected"]["reject"]
    assert found.index == 7


@pytest.mark.parametrize("item", [pytest.param(GRUBBS, id=label(GRUBBS, "two-sided"))])
def test_grubbs_two_sided_critical_value_is_larger(item: Entry) -> None:
    assert grubbs(item["inputs"]["x"]).critical == pytest.approx(2.1266, abs=5e-5)


@pytest.mark.parametrize("item", [pytest.param(ESD, id=label(ESD))])
def test_generalised_esd_finds_three_outliers_though_the_first_steps_pass(item: Entry) -> None:
    # Printed digits are cut off, not rounded, so they may be a whole unit under.
    steps = generalised_esd(item["inputs"]["x"], at_most=item["inputs"]["at_most"])
    assert [step.statistic for step in steps] == pytest.approx([*map(float, item["expected"]["R"])], abs=1e-3)
    critical = [float(printed) for printed in item["expected"]["critical"]]
    assert [step.critical for step in steps] == pytest.approx(critical, abs=1e-3)
    last = max(number for number, step in enumerate(steps, start=1) if step.beyond)
    assert last == item["expected"]["outliers"]
    assert [step.beyond for step in steps[:3]] == [False, False, True]


@pytest.mark.parametrize("item", [pytest.param(SHAPIRO, id=label(SHAPIRO))])
def test_shapiro_and_wilk_s_own_example_is_doubtful(item: Entry) -> None:
    # W is printed with two figures; p by the present algorithm is 0.0067.
    found = normality(item["inputs"]["x"])
    assert found is not None
    assert found.w == pytest.approx(float(item["expected"]["W"]), abs=item["tolerance"]["W"])
    assert found.p == pytest.approx(0.0067, abs=5e-5)
    assert found.doubtful


@pytest.mark.parametrize("item", [pytest.param(item, id=label(item, item["inputs"])) for item in ISO_16269])
def test_tolerance_factor_is_the_standard_s_rounded_up(item: Entry) -> None:
    # The standard's table rounds up at the fourth decimal, whatever the fifth.
    exact = tolerance_factor(**item["inputs"])
    assert math.ceil(exact * 1e4) / 1e4 == pytest.approx(
        float(item["expected"]["k_rounded_up_4dp"]), abs=1e-9
    )


@pytest.mark.parametrize("item", [pytest.param(item, id=label(item, item["inputs"])) for item in TEXTBOOK])
def test_tolerance_factor_is_exact_where_a_textbook_s_is_approximate(item: Entry) -> None:
    # The printed column disagrees with the exact value, by up to 0.04: it is an approximation.
    exact = tolerance_factor(**item["inputs"])
    assert exact == pytest.approx(float(item["expected"]["k_exact_ours"]), abs=6e-5)
    assert howe(**item["inputs"]) == pytest.approx(float(item["expected"]["k_howe_ours"]), abs=6e-5)
    printed = float(item["expected"]["textbook_3dp"])
    assert 0.0005 < abs(exact - printed) < 0.04


@pytest.mark.parametrize("item", [pytest.param(RECOMPUTED, id=label(RECOMPUTED, RECOMPUTED["inputs"]))])
def test_tolerance_factor_at_other_coverage_and_confidence(item: Entry) -> None:
    assert tolerance_factor(**item["inputs"]) == pytest.approx(float(item["expected"]["k_exact"]), abs=5e-5)
    assert howe(**item["inputs"]) == pytest.approx(float(item["expected"]["k_howe"]), abs=5e-5)
