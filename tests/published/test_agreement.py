"""Kappas, Wilson's interval and Newcombe's of a difference against published values."""

import pytest

from assessments.comparing.rates import Decided, rates
from rigs.metrology.agreement import Weights, cohens_kappa, fleiss_kappa, wilson
from tests.published.entries import Entry, entry, half_a_digit, label

COHEN = entry("agreement", "T12-01")
FLEISS = entry("agreement", "T12-02")
WEIGHTED = entry("agreement", "T12-05")
DIFFERENCES = [entry("agreement", identifier) for identifier in ("T12-09", "T12-10", "T12-11", "T12-12")]
NEWCOMBE = [entry("agreement", identifier) for identifier in ("T12-07", "T12-08")]


@pytest.mark.parametrize("item", [pytest.param(COHEN, id=label(COHEN))])
def test_cohens_kappa_of_two_assessors(item: Entry) -> None:
    found = cohens_kappa(item["inputs"]["table"])
    assert found.observed == pytest.approx(float(item["expected"]["po"]), abs=1e-9)
    assert found.by_chance == pytest.approx(float(item["expected"]["pe"]), abs=1e-9)
    assert found.value == pytest.approx(float(item["expected"]["kappa"]), abs=1e-9)


@pytest.mark.parametrize("item", [pytest.param(FLEISS, id=label(FLEISS))])
def test_fleiss_kappa_of_fourteen_raters(item: Entry) -> None:
    found = fleiss_kappa(item["inputs"]["counts"])
    assert found.value == pytest.approx(float(item["expected"]["kappa"]), abs=item["tolerance"]["kappa"])


@pytest.mark.parametrize(
    ("weights", "name"),
    [
        pytest.param(weights, name, id=label(WEIGHTED, name))
        for weights, name in (
            (Weights.NONE, "unweighted"),
            (Weights.LINEAR, "linear"),
            (Weights.QUADRATIC, "quadratic"),
        )
    ],
)
def test_weighted_kappa(weights: Weights, name: str) -> None:
    printed = WEIGHTED["expected"][name]
    found = cohens_kappa(WEIGHTED["inputs"]["table"], weights=weights)
    assert found.value == pytest.approx(float(printed), abs=half_a_digit(printed))


@pytest.mark.parametrize("item", [pytest.param(item, id=label(item, item["inputs"])) for item in NEWCOMBE])
def test_wilson_interval(item: Entry) -> None:
    found = wilson(count=item["inputs"]["x"], n=item["inputs"]["n"])
    assert found.lower == pytest.approx(float(item["expected"]["lower"]), abs=item["tolerance"]["lower"])
    assert found.upper == pytest.approx(float(item["expected"]["upper"]), abs=item["tolerance"]["upper"])


@pytest.mark.parametrize("item", [pytest.param(item, id=label(item, item["inputs"])) for item in DIFFERENCES])
def test_interval_of_a_difference(item: Entry) -> None:
    given = item["inputs"]
    made = [
        Decided(group=group, stratum="", competent=place < given[competent])
        for group, competent, n in (("A", "x", "n"), ("B", "y", "m"))
        for place in range(given[n])
    ]
    found = rates(made).groups[0].beside
    assert found is not None
    assert found.lower == pytest.approx(float(item["expected"]["lower"]), abs=item["tolerance"]["lower"])
    assert found.upper == pytest.approx(float(item["expected"]["upper"]), abs=item["tolerance"]["upper"])
