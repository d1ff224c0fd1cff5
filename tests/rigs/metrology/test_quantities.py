import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology import quantities
from rigs.metrology.quantities import (
    SI_UNIT,
    UNITS,
    Quantity,
    UnitError,
    column_from_si,
    column_to_si,
    from_si,
    si_factor,
    to_si,
    unit_quantity,
    width_to_si,
)

ALL_UNITS = [unit for units in UNITS.values() for unit in units]


def test_every_quantity_has_units_and_one_of_them_is_si() -> None:
    for quantity in Quantity:
        assert SI_UNIT[quantity] in UNITS[quantity]
        assert si_factor(SI_UNIT[quantity]) == 1.0
        assert to_si(7.0, unit=SI_UNIT[quantity]) == 7.0


def test_no_label_serves_two_quantities() -> None:
    assert len(ALL_UNITS) == len(set(ALL_UNITS))
    for quantity, units in UNITS.items():
        assert {unit_quantity(unit) for unit in units} == {quantity}


def test_the_usual_unit_comes_first() -> None:
    assert UNITS[Quantity.PRESSURE][0] == "mbar"
    assert UNITS[Quantity.RESISTANCE][0] == "Ω"


def test_a_decimal_converts_without_a_rounding_error_on_the_way() -> None:
    assert to_si(Decimal("2.40"), unit="mbar") == 240.0
    assert to_si(Decimal("0.1"), unit="µA") == 1e-7
    assert from_si(240.0, unit="mbar") == 2.4


def test_a_width_of_temperature_has_no_offset() -> None:
    assert width_to_si(Decimal("0.1"), unit="K") == 0.1
    assert width_to_si(Decimal("1.8"), unit="°F") == 1.0
    assert to_si(Decimal("293.15"), unit="K") == 20.0


@pytest.mark.parametrize("unit", ["mb", "millibar", "", "Mbar"])
def test_a_label_off_the_list_is_refused_by_name(unit: str) -> None:
    with pytest.raises(UnitError, match=f"“{unit}” is not a unit used here"):
        to_si(1.0, unit=unit)


@pytest.mark.parametrize("value", [math.nan, math.inf, Decimal("NaN"), Decimal("-Infinity")])
def test_what_is_not_a_number_has_no_conversion(value: float | Decimal) -> None:
    with pytest.raises(UnitError, match="finite"):
        to_si(value, unit="mbar")


def test_a_column_keeps_its_gaps() -> None:
    assert np.array_equal(column_to_si([1.0, np.nan], unit="mbar"), [100.0, np.nan], equal_nan=True)


@given(value=st.floats(-1e6, 1e6), unit=st.sampled_from(ALL_UNITS))
def test_converting_there_and_back_changes_nothing(value: float, unit: str) -> None:
    assert from_si(to_si(value, unit=unit), unit=unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20), unit=st.sampled_from(ALL_UNITS))
def test_a_column_converts_as_its_values_do(values: list[float], unit: str) -> None:
    column = column_to_si(values, unit=unit)
    assert column == pytest.approx([to_si(value, unit=unit) for value in values], rel=1e-12, abs=1e-9)
    assert column_from_si(column, unit=unit) == pytest.approx(values, rel=1e-9, abs=1e-6)


def exactly(value: float, unit: str) -> Fraction:
    """What a value in a unit is in SI, by the unit's factor and offset as exact fractions."""
    scale = quantities._scale(unit)
    return Fraction(value) * scale.factor + scale.offset


@given(
    value=st.floats(min_value=-1e200, max_value=1e200, allow_subnormal=False), unit=st.sampled_from(ALL_UNITS)
)
def test_a_float_converts_as_exact_fractions_do_rounded_once(value: float, unit: str) -> None:
    scale = quantities._scale(unit)

    assert to_si(value, unit=unit) == float(exactly(value, unit))
    assert from_si(value, unit=unit) == float((Fraction(value) - scale.offset) / scale.factor)
    assert width_to_si(value, unit=unit) == float(Fraction(value) * scale.factor)


@pytest.mark.parametrize("unit", ["mbar", "Pa", "mV", "mmH2O"])
def test_zero_has_no_sign_in_another_unit(unit: str) -> None:
    assert math.copysign(1, from_si(-0.0, unit=unit)) == math.copysign(1, to_si(-0.0, unit=unit)) == 1
