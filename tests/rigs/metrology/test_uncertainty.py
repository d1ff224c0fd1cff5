import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rigs.metrology.uncertainty import (
    Budget,
    Component,
    Distribution,
    UncertaintyError,
    coverage_factor,
    last_place,
    reported,
    rounded,
    t_quantile,
    t_quantiles,
    trapezoid_divisor,
    welch_satterthwaite,
)

POSITIVE = st.floats(1e-6, 1e6)


def test_components_combine_in_quadrature_through_their_sensitivity() -> None:
    budget = Budget(
        components=(
            Component(name="accuracy", half_width=math.sqrt(3) * 3),
            Component(name="level", half_width=2, distribution=Distribution.STANDARD, sensitivity=-2),
        )
    )
    assert budget.combined == pytest.approx(5)
    assert budget.dof == math.inf
    assert budget.expanded() == pytest.approx(10, rel=1e-5)


def test_a_single_component_keeps_its_degrees_of_freedom() -> None:
    budget = Budget(components=(Component.standard(name="repeats", u=0.2, dof=4),))
    assert budget.dof == pytest.approx(4)
    assert budget.coverage_factor(p=0.95) == pytest.approx(stats.t.ppf(0.975, 4))


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        ({"half_width": -1.0}, "repeats: a half-width is a finite number"),
        ({"half_width": math.nan}, "repeats: a half-width is a finite number"),
        ({"half_width": 1.0, "sensitivity": math.inf}, "repeats: a sensitivity"),
        ({"half_width": 1.0, "dof": 0.0}, "repeats: no degrees of freedom. Take at least two readings."),
    ],
)
def test_a_component_that_cannot_be_is_refused(figures: dict[str, float], message: str) -> None:
    with pytest.raises(UncertaintyError, match=message):
        Component(name="repeats", **figures)


def test_a_budget_without_lines_is_refused() -> None:
    with pytest.raises(UncertaintyError, match="at least one component"):
        Budget(components=())


@pytest.mark.parametrize("top", [-0.1, 1.1])
def test_a_trapezoid_is_no_wider_at_the_top(top: float) -> None:
    with pytest.raises(UncertaintyError, match="between 0 and 1"):
        trapezoid_divisor(top=top)


def test_a_trapezoid_lies_between_triangle_and_rectangle() -> None:
    assert trapezoid_divisor(top=0) == Distribution.TRIANGULAR.divisor
    assert trapezoid_divisor(top=1) == pytest.approx(Distribution.RECTANGULAR.divisor)


def test_quantiles_keep_the_shape_of_their_column() -> None:
    dof = np.array([[4.0, 16.7], [math.inf, 4.0]])
    t_in, t_out = t_quantiles(ps=(0.9545, 0.9973), dof=dof)
    assert t_in == pytest.approx(stats.t.ppf((1 + 0.9545) / 2, dof))
    assert t_out == pytest.approx(stats.t.ppf((1 + 0.9973) / 2, dof))
    assert t_in[1, 0] == pytest.approx(2, abs=1e-5)


@pytest.mark.parametrize("distinct", [3, 40_000])
def test_quantiles_are_the_same_for_few_distinct_degrees_of_freedom_and_for_many(distinct: int) -> None:
    dof = np.random.default_rng(7).permutation(np.resize(np.linspace(1, 90, distinct), 40_000))
    assert t_quantile(p=0.95, dof=dof) == pytest.approx(stats.t.ppf(0.975, dof))


def test_no_degrees_of_freedom_give_no_quantile() -> None:
    assert np.all(np.isnan(t_quantile(p=0.95, dof=[0.0, -1.0, math.nan])))


@pytest.mark.parametrize("p", [0.0, 1.0, 95.45])
def test_a_level_of_confidence_is_a_share(p: float) -> None:
    with pytest.raises(UncertaintyError, match="between 0 and 1"):
        coverage_factor(dof=5, p=p)


def test_welch_satterthwaite_works_down_columns() -> None:
    found = welch_satterthwaite(u=[[0.3, 0.0, 0.0], [0.4, 0.4, 0.0]], dof=[9.0, [4.0, 4.0, math.inf]])
    assert found == pytest.approx([0.5**4 / (0.3**4 / 9 + 0.4**4 / 4), 4.0, math.inf])


def test_a_component_that_is_zero_needs_no_degrees_of_freedom() -> None:
    assert welch_satterthwaite(u=[0.0, 1.0], dof=[0.0, 7.0]) == pytest.approx(7)


def test_a_column_with_a_gap_has_a_gap() -> None:
    assert np.isnan(welch_satterthwaite(u=[math.nan, 1.0], dof=[3.0, 7.0]))


@given(u=st.lists(POSITIVE, min_size=2, max_size=5), dof=st.lists(st.floats(1, 1e4), min_size=5, max_size=5))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(
    u: list[float], dof: list[float]
) -> None:
    used = dof[: len(u)]
    found = float(welch_satterthwaite(u=u, dof=used))
    assert min(used) * (1 - 1e-9) <= found <= sum(used) * (1 + 1e-9)


@given(u=st.lists(POSITIVE, min_size=2, max_size=4), scale=st.floats(1e-6, 1e6))
def test_effective_degrees_of_freedom_do_not_depend_on_the_unit(u: list[float], scale: float) -> None:
    dof = [4.0, 9.0, 14.0, 30.0][: len(u)]
    in_other_unit = [part * scale for part in u]
    assert float(welch_satterthwaite(u=in_other_unit, dof=dof)) == pytest.approx(
        float(welch_satterthwaite(u=u, dof=dof))
    )


@pytest.mark.parametrize(
    ("value", "expanded", "shown"),
    [
        ("12.4049", "0.0936", ("12.405", "0.094")),
        ("12.4049", "0.0996", ("12.40", "0.10")),
        ("230.44", "2.62", ("230.4", "2.7")),
        ("230.44", "2.61", ("230.4", "2.6")),
        ("2345", "123", ("2340", "130")),
        ("-0.0049", "0.01", ("-0.005", "0.010")),
    ],
)
def test_a_result_is_written_to_two_digits_of_its_uncertainty(
    value: str, expanded: str, shown: tuple[str, str]
) -> None:
    result = reported(value=Decimal(value), expanded=Decimal(expanded))
    assert (f"{result.value:f}", f"{result.expanded:f}") == shown


@pytest.mark.parametrize("expanded", [0, -1, math.nan, math.inf])
def test_without_an_uncertainty_there_is_nothing_to_round_to(expanded: float) -> None:
    with pytest.raises(UncertaintyError, match="above 0"):
        reported(value=1, expanded=expanded)


def test_what_is_not_a_number_cannot_be_rounded() -> None:
    with pytest.raises(UncertaintyError, match="finite"):
        rounded(value=math.nan, last=Decimal(1))
    with pytest.raises(UncertaintyError, match="finite"):
        last_place(Decimal("NaN"))


@given(expanded=st.floats(1e-9, 1e9))
def test_a_rounded_uncertainty_is_never_much_smaller(expanded: float) -> None:
    shown = reported(value=0, expanded=expanded).expanded
    # A tenth of the second digit is dropped at most: 1 % of 10, less of more.
    assert 0.99 * expanded <= float(shown) <= 1.1 * expanded
    assert len(shown.normalize().as_tuple().digits) <= 2
