import math
import statistics
from decimal import Decimal

import pytest

from rigs.metrology.instruments import RangeSpec
from rigs.metrology.quantities import Quantity
from rigs.metrology.uncertainty import (
    Budget,
    Component,
    Distribution,
    coverage_factor,
    reported,
    trapezoid_divisor,
)
from tests.published.entries import entry, half_a_digit, label, rows

OTHER_LEVELS = entry("uncertainty", "T03-02")
PRODUCT = entry("uncertainty", "T03-03")
END_GAUGE = entry("uncertainty", "T03-04")
DIVISORS = entry("uncertainty", "T03-08")
MANOMETER = entry("uncertainty", "T03-09")
ROUNDING = entry("uncertainty", "T03-10")


@pytest.mark.parametrize(("dof", "printed"), rows("uncertainty", "T03-01", of="t95", by="nu"))
def test_coverage_factor_at_95_percent_rounds_to_the_printed_one(dof: float, printed: str) -> None:
    assert coverage_factor(dof=dof, p=0.95) == pytest.approx(float(printed), abs=half_a_digit(printed))


@pytest.mark.parametrize(("dof", "printed"), rows("uncertainty", "T03-01", of="t95.45", by="nu"))
def test_coverage_factor_at_95_45_percent_rounds_to_the_printed_one(dof: float, printed: str) -> None:
    assert coverage_factor(dof=dof) == pytest.approx(float(printed), abs=half_a_digit(printed))


@pytest.mark.parametrize(
    ("p", "dof", "printed"),
    [
        pytest.param(p, dof, printed, id=label(OTHER_LEVELS, f"{p} at {dof}"))
        for (p, dof), printed in zip(
            OTHER_LEVELS["inputs"]["p_nu"], OTHER_LEVELS["expected"]["t"], strict=True
        )
    ],
)
def test_coverage_factor_at_other_levels_rounds_to_the_printed_one(
    p: float, dof: float, printed: str
) -> None:
    assert coverage_factor(dof=dof, p=p) == pytest.approx(float(printed), abs=half_a_digit(printed))


@pytest.mark.parametrize("item", [pytest.param(PRODUCT, id=label(PRODUCT))])
def test_welch_satterthwaite_gives_the_effective_degrees_of_freedom(item: dict) -> None:
    budget = _standard(item["inputs"]["relative_u_pct"], item["inputs"]["nu"])
    expected, tolerance = item["expected"], item["tolerance"]
    assert budget.combined == pytest.approx(float(expected["uc_pct"]), abs=tolerance["uc_pct"])
    assert budget.dof == pytest.approx(float(expected["nu_eff"]), abs=tolerance["nu_eff"])
    assert budget.coverage_factor(p=0.95) == pytest.approx(float(expected["t95_19"]), abs=tolerance["t95_19"])
    assert budget.expanded(p=0.95) == pytest.approx(float(expected["U95_pct"]), abs=tolerance["U95_pct"])


@pytest.mark.parametrize("item", [pytest.param(END_GAUGE, id=label(END_GAUGE))])
def test_the_end_gauge_budget_agrees_up_to_the_printed_truncation(item: dict) -> None:
    budget = _standard(item["inputs"]["u_i_nm"], item["inputs"]["nu_i"])
    expected, tolerance = item["expected"], item["tolerance"]
    assert budget.combined**2 == pytest.approx(float(expected["uc2_nm2"]), abs=tolerance["uc2_nm2"])
    assert budget.combined == pytest.approx(float(expected["uc_nm"]), abs=tolerance["uc_nm"])
    truncated = math.floor(budget.dof)
    assert truncated == int(expected["nu_eff_truncated"])
    k = coverage_factor(dof=truncated, p=0.99)
    assert k == pytest.approx(float(expected["t99_16"]), abs=tolerance["t99_16"])
    assert k * budget.combined == pytest.approx(float(expected["U99_nm"]), abs=tolerance["U99_nm"])
    # ν = 16.7 as it is, not truncated, gives 92 nm where 93 is printed.
    assert budget.expanded(p=0.99) == pytest.approx(92.0, abs=0.5)


@pytest.mark.parametrize(
    ("printed_as", "ours"),
    [
        pytest.param(printed_as, ours, id=label(DIVISORS, printed_as))
        for printed_as, ours in (
            ("rectangular_a/sqrt3", 1 / Distribution.RECTANGULAR.divisor),
            ("triangular_a/sqrt6", 1 / Distribution.TRIANGULAR.divisor),
            ("u_shaped_a/sqrt2", 1 / Distribution.U_SHAPED.divisor),
            ("fifty_fifty", 1 / Distribution.EVEN_CHANCE.divisor),
            ("two_thirds", 1 / Distribution.TWO_IN_THREE.divisor),
            ("trapezoid_beta0.5", 1 / trapezoid_divisor(top=0.5)),
            # Of the whole digit: /√3 of it would be twice as much.
            ("resolution_full_width_/sqrt12", Component.display(name="display", resolution=1).u),
        )
    ],
)
def test_a_distribution_has_its_divisor(printed_as: str, ours: float) -> None:
    assert ours == pytest.approx(
        float(DIVISORS["expected"][printed_as]), abs=DIVISORS["tolerance"][printed_as], rel=0
    )


@pytest.mark.parametrize("item", [pytest.param(MANOMETER, id=label(MANOMETER))])
def test_a_manometer_budget_agrees_line_by_line(item: dict) -> None:
    given, expected, tolerance = item["inputs"], item["expected"], item["tolerance"]
    # Pa as in SI; the entry is in mbar. Display and specification are both counted, the wider policy.
    spec = RangeSpec(
        quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_reading=0.3, counts=2
    )
    instrument = spec.budget(
        reading_si=given["reading_mbar"] * 100, certificate_u=given["U_cert_k2"] / 2 * 100
    )
    repeats = given["repeats"]
    repeat = Component.standard(
        name="repeats",
        u=statistics.stdev(repeats) / math.sqrt(len(repeats)) * 100,
        dof=len(repeats) - 1,
    )
    budget = Budget(components=(*instrument.components, repeat))
    for component, name in zip(
        budget.components, ("u_accuracy", "u_resolution", "u_cert", "u_repeat"), strict=True
    ):
        assert component.u / 100 == pytest.approx(float(expected[name]), abs=tolerance[name])
    assert budget.combined / 100 == pytest.approx(float(expected["uc"]), abs=tolerance["uc"])
    assert 2 * budget.combined / 100 == pytest.approx(float(expected["U_k2"]), abs=tolerance["U_k2"])
    # With k = 2 the four degrees of freedom of the repeats are left out; they hardly matter here.
    assert budget.expanded() / 100 == pytest.approx(float(expected["U_k2"]), rel=0.01)


@pytest.mark.parametrize("item", [pytest.param(ROUNDING, id=label(ROUNDING))])
def test_results_are_rounded_as_the_gum_rounds_its_examples(item: dict) -> None:
    given, expected = item["inputs"], item["expected"]
    up = reported(value=0, expanded=Decimal(str(given["uc_mohm"])))
    assert up.expanded == Decimal(expected["uc_reported_mohm"])
    result = reported(value=Decimal(str(given["y_ohm"])), expanded=Decimal(given["uc_for_y_mohm"]) / 1000)
    assert str(result.value) == expected["y_reported_ohm"]
    # The clause's other example, 28.05 to 28, from memory.
    assert reported(value=0, expanded=Decimal("28.05")).expanded == Decimal(28)


def _standard(us: list[float], dofs: list[float]) -> Budget:
    return Budget(
        components=tuple(
            Component.standard(name=f"component {number}", u=u, dof=dof)
            for number, (u, dof) in enumerate(zip(us, dofs, strict=True), start=1)
        )
    )
