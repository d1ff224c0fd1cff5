import math
from fractions import Fraction

import numpy as np
import pytest

from rigs.metrology.conformity import VERDICTS, Verdict, agrees, conforms
from tests.published.entries import entry, label, rows

BREAKDOWN = entry("conformity", "T02-01")
DEFAULT_RULE = entry("conformity", "T02-05")
COMPARISON = entry("conformity", "T02-12")
SUPPLY = entry("conformity", "T10-01")


@pytest.mark.parametrize("item", [pytest.param(BREAKDOWN, id=label(BREAKDOWN))])
def test_probability_of_conformity_at_one_limit(item: dict) -> None:
    u = item["inputs"]["u"]
    found = conforms(
        reading=item["inputs"]["estimate"],
        lower_limit=-math.inf,
        upper_limit=item["inputs"]["limit_upper"],
        u=u,
        expanded=2 * u,
    )
    assert float(found.probability) == pytest.approx(
        float(item["expected"]["p_conf"]), abs=item["tolerance"]["p_conf"]
    )


@pytest.mark.parametrize(("r", "printed"), rows("conformity", "T02-04", of="PFA", by="r"))
def test_worst_risk_of_false_acceptance_at_the_edge_of_a_guard_band(r: float, printed: str) -> None:
    # Four figures are printed. With w = U and k = 2 the risk is 2.28 %; guides print "< 2.5 %", for k = 1.96.
    found = conforms(reading=-2 * r, lower_limit=-math.inf, upper_limit=0, u=1, expanded=2)
    assert 1 - float(found.probability) == pytest.approx(float(printed), rel=1e-3, abs=1e-12)


@pytest.mark.parametrize("item", [pytest.param(DEFAULT_RULE, id=label(DEFAULT_RULE))])
def test_a_guard_band_of_1_65_u_leaves_one_in_twenty(item: dict) -> None:
    # Printed 1.65 for 1.645, so 5 % holds to the figure's own rounding.
    edge = -float(item["expected"]["g_over_u"])
    found = conforms(reading=edge, lower_limit=-math.inf, upper_limit=0, u=1, expanded=2)
    assert float(found.probability) == pytest.approx(item["inputs"]["p_limit"], abs=0.001)


@pytest.mark.parametrize("item", [pytest.param(COMPARISON, id=label(COMPARISON))])
def test_zeta_is_twice_the_en_number_and_judges_alike(item: dict) -> None:
    given = item["inputs"]
    found = agrees(
        reading=given["x"],
        value=given["X"],
        repeat_sd=0,
        repeat_dof=1,
        repeat_share=0,
        value_u=given["UX"] / 2,
        value_dof=np.inf,
        instrument_u=given["Ux"] / 2,
    )
    assert float(found.zeta) / 2 == pytest.approx(float(item["expected"]["En"]), abs=item["tolerance"]["En"])
    satisfactory = VERDICTS[int(found.code)] is Verdict.IN_RANGE
    assert satisfactory is item["expected"]["satisfactory"]


def _declared_limits() -> tuple[float, float]:
    given = SUPPLY["inputs"]
    declared = Fraction(given["declared_V"])
    return (
        float(declared * (100 - given["minus_pct"]) / 100),
        float(declared * (100 + given["plus_pct"]) / 100),
    )


def test_limits_of_the_supply_are_those_declared() -> None:
    low, high = _declared_limits()
    assert low == pytest.approx(float(SUPPLY["expected"]["min_V"]), abs=SUPPLY["tolerance"]["min_V"])
    assert high == pytest.approx(float(SUPPLY["expected"]["max_V"]), abs=SUPPLY["tolerance"]["max_V"])


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        pytest.param(volts, verdict, id=label(SUPPLY, f"{volts} V"))
        for volts, verdict in (
            (240.0, Verdict.IN_RANGE),
            (250.4, Verdict.IN_RANGE),  # the upper limit less U, exactly
            (252.0, Verdict.BORDERLINE),
            (253.0, Verdict.BORDERLINE),
            (256.0, Verdict.OUT_OF_RANGE),
            (218.8, Verdict.IN_RANGE),  # the lower limit and U, exactly
            (216.2, Verdict.BORDERLINE),
            (213.0, Verdict.OUT_OF_RANGE),
        )
    ],
)
def test_a_supply_voltage_is_judged_with_the_meter_allowed_for(volts: float, verdict: Verdict) -> None:
    low, high = _declared_limits()
    found = conforms(reading=volts, lower_limit=low, upper_limit=high, u=1.3, expanded=2.6)
    assert VERDICTS[int(found.code)] is verdict
