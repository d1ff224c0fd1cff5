import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rigs.metrology.conformity import (
    VERDICTS,
    Agreement,
    ConformityError,
    Verdict,
    agrees,
    can_decide,
    conforms,
)
from rigs.metrology.quantities import UNITS, Quantity, column_from_si, si_factor

STEADY: dict[str, Any] = {
    "value": 160.0,
    "repeat_sd": 2.0,
    "repeat_dof": 9.0,
    "repeat_share": 0.1,
    "value_u": 1.0,
    "value_dof": math.inf,
    "instrument_u": 1.5,
}
"""Pa: a venturi's Δp on a bench rig, ten repeats."""


def judged(found: Agreement) -> list[Verdict]:
    return [VERDICTS[code] for code in np.ravel(found.code)]


def codes_at(*shares: float, reference: float) -> list[Verdict]:
    """Verdicts of readings at so many times a half-width from the value."""
    return judged(agrees(reading=160 + np.array(shares) * reference, **STEADY))


def test_the_uncertainty_is_that_of_the_difference_and_its_dof_effective() -> None:
    found = agrees(reading=160, **STEADY)
    assert float(found.u) == pytest.approx(math.sqrt(4 * 1.1 + 1 + 2.25))
    assert float(found.dof) == pytest.approx(9 * (7.65 / 4.4) ** 2)
    assert float(found.t_in) == pytest.approx(stats.t.ppf((1 + 0.9545) / 2, float(found.dof)))
    assert float(found.t_out) == pytest.approx(stats.t.ppf((1 + 0.9973) / 2, float(found.dof)))


def test_a_reading_is_in_range_borderline_or_out_of_range() -> None:
    found = agrees(reading=160, **STEADY)
    in_range, out = float(found.t_in * found.u), float(found.t_out * found.u)
    assert codes_at(-1, -0.99, 0, 1, reference=in_range) == [Verdict.IN_RANGE] * 4
    assert codes_at(-1.01, 1.01, reference=in_range) == [Verdict.BORDERLINE] * 2
    assert codes_at(-0.99, 0.99, reference=out) == [Verdict.BORDERLINE] * 2
    assert codes_at(-1, 1, 5, reference=out) == [Verdict.OUT_OF_RANGE] * 3


def test_the_expected_range_is_the_value_give_or_take_t_times_u() -> None:
    found = agrees(reading=0, **STEADY)
    assert float(found.upper) - 160 == pytest.approx(float(found.t_in * found.u))
    assert 160 - float(found.lower) == pytest.approx(float(found.t_in * found.u))


def test_many_repeats_tend_to_two_and_three() -> None:
    found = agrees(reading=160, **{**STEADY, "repeat_dof": math.inf})
    assert (float(found.t_in), float(found.t_out)) == pytest.approx((2, 3), abs=1e-4)


def test_a_floor_widens_the_range_and_scales_the_borderline_with_it() -> None:
    found = agrees(reading=[175.9, 176.1, 190], floor=16, **STEADY)
    assert (found.lower[0], found.upper[0]) == pytest.approx((144, 176))
    assert judged(found) == [Verdict.IN_RANGE, Verdict.BORDERLINE, Verdict.OUT_OF_RANGE]


def test_a_floor_never_narrows_the_range() -> None:
    wide = agrees(reading=160, **STEADY)
    floored = agrees(reading=160, floor=0.1, **STEADY)
    assert (floored.lower, floored.upper) == (wide.lower, wide.upper)


def test_arguments_broadcast_to_one_shape() -> None:
    found = agrees(reading=[[160.0], [190.0]], **{**STEADY, "value": [150.0, 160.0, 190.0]})
    for name in ("zeta", "u", "dof", "t_in", "t_out", "lower", "upper", "code"):
        assert getattr(found, name).shape == (2, 3)


@pytest.mark.parametrize(
    "changes",
    [
        {"reading": math.nan},
        {"reading": math.inf},
        {"value": math.nan},
        {"value": -math.inf},
        {"repeat_sd": math.nan},
        {"repeat_dof": math.nan},
        {"repeat_dof": 0},
        {"value_u": math.inf},
        {"instrument_u": math.nan},
        {"floor": math.nan},
        {"repeat_sd": 0, "value_u": 0, "instrument_u": 0},
        # A floor is no substitute for knowing the uncertainty.
        {"repeat_sd": 0, "value_u": 0, "instrument_u": 0, "floor": 16},
    ],
)
def test_a_row_that_is_not_known_cannot_be_judged_and_leaves_the_others_alone(
    changes: dict[str, float],
) -> None:
    good = {"reading": 160.0, "floor": 0.0, **STEADY}
    columns = {name: [figure, changes.get(name, figure), figure] for name, figure in good.items()}
    found = agrees(**columns)
    assert judged(found) == [Verdict.IN_RANGE, Verdict.CANNOT_JUDGE, Verdict.IN_RANGE]


def test_a_range_is_known_before_there_is_a_reading() -> None:
    found = agrees(reading=math.nan, **STEADY)
    assert judged(found) == [Verdict.CANNOT_JUDGE]
    assert np.isfinite(found.lower) and np.isfinite(found.upper)


def test_an_empty_column_gives_an_empty_column() -> None:
    assert agrees(reading=[], **STEADY).code.shape == (0,)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("repeat_sd", "repeat spread"),
        ("repeat_dof", "repeat dof"),
        ("repeat_share", "repeat share"),
        ("value_u", "value's uncertainty"),
        ("value_dof", "value's dof"),
        ("instrument_u", "instrument's uncertainty"),
        ("floor", "floor"),
    ],
)
def test_a_negative_spread_is_refused_by_name_and_row(name: str, words: str) -> None:
    with pytest.raises(ConformityError, match=f"The {words} is below zero in row 2: -1."):
        agrees(reading=160, **{**STEADY, name: [1, -1]})


FIGURES = st.fixed_dictionaries(
    {
        "value": st.floats(-1e3, 1e3),
        "repeat_sd": st.floats(0.01, 50),
        "repeat_dof": st.integers(1, 60).map(float),
        "repeat_share": st.floats(0, 1),
        "value_u": st.floats(0, 50),
        "value_dof": st.sampled_from([3.0, 20.0, math.inf]),
        "instrument_u": st.floats(0.01, 50),
    }
)
ROWS = st.lists(st.tuples(st.floats(-1e3, 1e3), FIGURES), min_size=1, max_size=12)


def columns_of(rows: list[tuple[float, dict[str, float]]]) -> dict[str, list[float]]:
    names = rows[0][1]
    return {
        "reading": [reading for reading, _ in rows],
        **{name: [figures[name] for _, figures in rows] for name in names},
    }


@given(rows=ROWS, floor=st.floats(0, 500), wider=st.floats(0, 500))
def test_a_wider_floor_never_turns_a_pass_into_a_fail(
    rows: list[tuple[float, dict[str, float]]], floor: float, wider: float
) -> None:
    narrow = agrees(**columns_of(rows), floor=floor)
    wide = agrees(**columns_of(rows), floor=floor + wider)
    # In the order of VERDICTS, a smaller code is a better verdict.
    assert np.all(wide.code <= narrow.code)


@given(rows=ROWS, seed=st.integers(0, 2**16))
def test_the_order_of_rows_does_not_matter(rows: list[tuple[float, dict[str, float]]], seed: int) -> None:
    order = np.random.default_rng(seed).permutation(len(rows))
    straight = agrees(**columns_of(rows))
    shuffled = agrees(**columns_of([rows[index] for index in order]))
    assert np.array_equal(shuffled.code, straight.code[order])
    assert np.array_equal(shuffled.zeta, straight.zeta[order])


@given(rows=ROWS)
def test_a_column_is_judged_as_its_rows_are(rows: list[tuple[float, dict[str, float]]]) -> None:
    together = agrees(**columns_of(rows))
    alone = [int(agrees(reading=reading, **figures).code) for reading, figures in rows]
    assert together.code.tolist() == alone


@given(rows=ROWS, unit=st.sampled_from(UNITS[Quantity.PRESSURE]), floor=st.floats(0, 500))
def test_another_unit_gives_the_same_verdicts(
    rows: list[tuple[float, dict[str, float]]], unit: str, floor: float
) -> None:
    columns = columns_of(rows)
    in_other_unit = {
        name: column_from_si(column, unit=unit) if name in {"reading", "value"} else column
        for name, column in columns.items()
    }
    for name in ("repeat_sd", "value_u", "instrument_u"):
        in_other_unit[name] = np.array(columns[name]) / si_factor(unit)
    pascals, other = agrees(**columns, floor=floor), agrees(**in_other_unit, floor=floor / si_factor(unit))
    assert np.array_equal(pascals.code, other.code)


@given(rows=ROWS)
def test_a_reading_lies_within_the_range_shown_exactly_when_it_is_in_range(
    rows: list[tuple[float, dict[str, float]]],
) -> None:
    found = agrees(**columns_of(rows))
    reading = np.array([reading for reading, _ in rows])
    slack = 1e-8 * (found.upper - found.lower)
    inside = (found.lower - slack <= reading) & (reading <= found.upper + slack)
    well_inside = (found.lower + slack <= reading) & (reading <= found.upper - slack)
    assert np.all(inside[found.code == 0])
    assert not np.any(well_inside[found.code != 0])


def test_a_reading_typed_on_the_very_edge_is_within_it() -> None:
    # 1.76 − 1.60 is not quite 0.16 in binary.
    found = agrees(
        reading=1.76, value=1.60, repeat_sd=0, repeat_dof=9, repeat_share=0, value_u=0, value_dof=9,
        instrument_u=0.01, floor=0.16,
    )  # fmt: skip
    assert judged(found) == [Verdict.IN_RANGE]


LIMITS: dict[str, Any] = {"lower_limit": 19.0, "upper_limit": 23.0, "u": 0.1, "expanded": 0.2}
"""mbar: an operating pressure of 21 ± 2 (common practice, no source)."""


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        (21, Verdict.IN_RANGE),
        (19.2, Verdict.IN_RANGE),
        (22.8, Verdict.IN_RANGE),
        (22.81, Verdict.BORDERLINE),
        (23.2, Verdict.BORDERLINE),
        (18.8, Verdict.BORDERLINE),
        (18.79, Verdict.OUT_OF_RANGE),
        (23.21, Verdict.OUT_OF_RANGE),
        (math.nan, Verdict.CANNOT_JUDGE),
        (math.inf, Verdict.CANNOT_JUDGE),
    ],
)
def test_limits_are_guarded_by_the_expanded_uncertainty(reading: float, verdict: Verdict) -> None:
    assert VERDICTS[int(conforms(reading=reading, **LIMITS).code)] is verdict


def test_the_probability_of_conformity_is_even_at_a_limit_and_near_one_in_the_middle() -> None:
    found = conforms(reading=[21, 23, 25, math.nan], **LIMITS)
    assert found.probability[:3] == pytest.approx([1, 0.5, 0])
    assert np.isnan(found.probability[3])


@pytest.mark.parametrize(
    ("lower", "upper", "good", "bad"), [(-math.inf, 23, -1e6, 24), (19, math.inf, 1e6, 18)]
)
def test_one_limit_will_do(lower: float, upper: float, good: float, bad: float) -> None:
    found = conforms(reading=[good, bad], lower_limit=lower, upper_limit=upper, u=0.1, expanded=0.2)
    assert [VERDICTS[code] for code in found.code] == [Verdict.IN_RANGE, Verdict.OUT_OF_RANGE]
    assert np.all(found.decidable)


@pytest.mark.parametrize("figures", [{"u": 0}, {"expanded": 0}, {"u": math.nan}, {"expanded": math.inf}])
def test_without_an_uncertainty_limits_judge_nothing(figures: dict[str, float]) -> None:
    assert VERDICTS[int(conforms(reading=21, **{**LIMITS, **figures}).code)] is Verdict.CANNOT_JUDGE


@pytest.mark.parametrize(("lower", "upper"), [(23, 19), (21, 21), (math.nan, 23), (-math.inf, math.inf)])
def test_limits_without_a_range_between_them_are_refused(lower: float, upper: float) -> None:
    with pytest.raises(ConformityError, match="limits in row 1 have no range between them"):
        conforms(reading=21, lower_limit=lower, upper_limit=upper, u=0.1, expanded=0.2)


def test_an_instrument_too_coarse_for_the_limits_is_told_beforehand() -> None:
    assert can_decide(lower_limit=19, upper_limit=23, expanded=[1.9, 2.0, 2.1]).tolist() == [
        True,
        True,
        False,
    ]
    readings = np.linspace(15, 27, 121)
    found = conforms(reading=readings, lower_limit=19, upper_limit=23, u=1.05, expanded=2.1)
    assert not np.any(found.decidable)
    assert Verdict.IN_RANGE not in {VERDICTS[code] for code in found.code}


@given(
    reading=st.floats(-100, 100),
    lower=st.floats(-50, 0),
    upper=st.floats(1, 50),
    u=st.floats(0.01, 10),
    below=st.floats(0, 50),
    above=st.floats(0, 50),
)
def test_wider_limits_never_turn_a_pass_into_a_fail(
    *, reading: float, lower: float, upper: float, u: float, below: float, above: float
) -> None:
    narrow = conforms(reading=reading, lower_limit=lower, upper_limit=upper, u=u, expanded=2 * u)
    wide = conforms(
        reading=reading, lower_limit=lower - below, upper_limit=upper + above, u=u, expanded=2 * u
    )
    assert wide.code <= narrow.code
    assert wide.probability >= narrow.probability - 1e-12
