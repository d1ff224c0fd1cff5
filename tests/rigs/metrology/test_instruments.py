import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.instruments import (
    InstrumentError,
    NoRange,
    RangeSpec,
    Spec,
    spec_uncertainty,
    suitable,
)
from rigs.metrology.quantities import UNITS, Quantity, UnitError, si_factor, to_si

FINE = RangeSpec(
    quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_reading=0.5, counts=1
)
COARSE = RangeSpec(
    quantity=Quantity.PRESSURE, unit="mbar", full_scale=150, resolution=0.1, percent_full_scale=0.5
)
OHMS = RangeSpec(
    quantity=Quantity.RESISTANCE, unit="Ω", full_scale=600, resolution=0.1, percent_reading=0.9, counts=3
)
KILOHMS = RangeSpec(
    quantity=Quantity.RESISTANCE, unit="kΩ", full_scale=6, resolution=0.001, percent_reading=0.9, counts=2
)
BENCH = Spec(ranges=(COARSE, FINE, KILOHMS, OHMS))


def test_a_specification_adds_its_terms() -> None:
    # 0.9 % of 0.4 Ω and three digits of 0.1 Ω.
    assert OHMS.half_width(reading_si=0.4) == pytest.approx(0.0036 + 0.3)
    # 0.5 % of 150 mbar, in Pa.
    assert COARSE.half_width(reading_si=160) == pytest.approx(75)


def test_a_budget_names_its_lines() -> None:
    budget = FINE.budget(reading_si=160, certificate_u=1.5)
    assert [component.name for component in budget.components] == ["accuracy", "display", "certificate"]
    assert [component.u for component in budget.components] == pytest.approx(
        [1.8 / math.sqrt(3), 1 / math.sqrt(12), 1.5]
    )
    assert budget.dof == math.inf


def test_without_a_certificate_there_is_no_line_for_one() -> None:
    assert len(FINE.budget(reading_si=160).components) == 2


def test_a_percentage_of_reading_is_one_of_degrees_celsius() -> None:
    thermometer = RangeSpec(
        quantity=Quantity.TEMPERATURE, unit="°C", full_scale=100, resolution=0.1, percent_reading=1
    )
    assert thermometer.half_width(reading_si=to_si(293.15, unit="K")) == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("quantity", "value_si", "chosen"),
    [
        (Quantity.PRESSURE, 160.0, FINE),
        (Quantity.PRESSURE, -2000.0, FINE),
        (Quantity.PRESSURE, 2001.0, COARSE),
        (Quantity.RESISTANCE, 600.0, OHMS),
        (Quantity.RESISTANCE, 601.0, KILOHMS),
    ],
)
def test_the_finest_range_that_reaches_is_chosen(
    quantity: Quantity, value_si: float, chosen: RangeSpec
) -> None:
    assert BENCH.range_for(quantity=quantity, value_si=value_si) is chosen


@pytest.mark.parametrize(("quantity", "value_si"), [(Quantity.PRESSURE, 15_001.0), (Quantity.VOLTAGE, 1.0)])
def test_a_value_that_no_range_reaches_is_refused_by_name(quantity: Quantity, value_si: float) -> None:
    with pytest.raises(NoRange, match=f"no range for {quantity.words}"):
        BENCH.range_for(quantity=quantity, value_si=value_si)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"unit": "V"}, "V doesn't measure a pressure"),
        ({"full_scale": 0}, "The full scale must be a number, above 0"),
        ({"resolution": 0}, "The resolution must be a number, above 0"),
        ({"resolution": math.nan}, "The resolution must be a number"),
        ({"resolution": 30}, "wider than the full scale"),
        ({"percent_reading": -1}, "The % of reading must be a number, 0 or more"),
        ({"percent_full_scale": math.inf}, "The % of full scale"),
        ({"counts": -1}, "The number of digits"),
        ({"continuity_threshold": -30}, "The continuity threshold"),
    ],
)
def test_a_specification_that_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    figures = {"quantity": Quantity.PRESSURE, "unit": "mbar", "full_scale": 20, "resolution": 0.01}
    with pytest.raises(InstrumentError, match=message):
        RangeSpec(**{**figures, **changes})


def test_a_unit_off_the_list_is_refused() -> None:
    with pytest.raises(UnitError, match="“furlong”"):
        RangeSpec(quantity=Quantity.PRESSURE, unit="furlong", full_scale=20, resolution=0.01)


@pytest.mark.parametrize(
    ("spec", "unit", "decimals"),
    [
        (FINE, "mbar", 2),
        (FINE, "Pa", 0),
        (FINE, "hPa", 2),
        (FINE, "inH2O", 3),  # steps of 0.004
        (OHMS, "kΩ", 4),
        (KILOHMS, "Ω", 0),
        (RangeSpec(quantity=Quantity.PRESSURE, unit="mbar", full_scale=30, resolution=0.25), "mbar", 2),
        (RangeSpec(quantity=Quantity.VOLTAGE, unit="V", full_scale=600, resolution=10), "V", 0),
    ],
)
def test_a_display_shows_as_many_decimals_as_its_steps_need(
    spec: RangeSpec, unit: str, decimals: int
) -> None:
    assert spec.decimals_in(unit) == decimals


def test_an_instrument_is_suitable_if_its_uncertainty_is_a_quarter_of_the_tolerance() -> None:
    found = suitable(BENCH, quantity=Quantity.PRESSURE, value_si=160, tolerance_si=16)
    assert found.suitable
    assert found.expanded_u == pytest.approx(2 * FINE.standard_uncertainty(reading_si=160), rel=1e-5)
    assert found.ratio == pytest.approx(16 / found.expanded_u)


def test_a_coarse_gauge_is_not_suitable_and_the_refusal_has_no_number() -> None:
    found = suitable(Spec(ranges=(COARSE,)), quantity=Quantity.PRESSURE, value_si=160, tolerance_si=16)
    assert not found.suitable
    assert not any(character.isdigit() for character in found.reason)
    assert found.working == "The tolerance is 0.1 times the instrument's uncertainty; 4 are needed."


def test_just_short_of_four_times_is_not_called_four() -> None:
    expanded = FINE.budget(reading_si=160).expanded()
    found = suitable(BENCH, quantity=Quantity.PRESSURE, value_si=160, tolerance_si=3.99 * expanded)
    assert not found.suitable
    assert found.working.startswith("The tolerance is 3.9 times")


@pytest.mark.parametrize(
    ("quantity", "value_si", "tolerance_si", "working"),
    [
        (Quantity.PRESSURE, 20_000.0, 2000.0, "no range for a pressure that reaches"),
        (Quantity.VOLTAGE, 230.0, 23.0, "no range for a voltage"),
        (Quantity.PRESSURE, 0.0, 0.0, "The tolerance at this test point is zero"),
    ],
)
def test_whatever_stands_in_the_way_a_candidate_reads_the_same(
    quantity: Quantity, value_si: float, tolerance_si: float, working: str
) -> None:
    found = suitable(BENCH, quantity=quantity, value_si=value_si, tolerance_si=tolerance_si)
    too_coarse = suitable(Spec(ranges=(COARSE,)), quantity=Quantity.PRESSURE, value_si=160, tolerance_si=16)
    assert not found.suitable
    assert found.reason == too_coarse.reason
    assert working in found.working


@pytest.mark.parametrize("tolerance", [-1.0, math.nan, math.inf])
def test_a_tolerance_that_cannot_be_is_refused(tolerance: float) -> None:
    with pytest.raises(InstrumentError, match="The tolerance must be a number"):
        suitable(BENCH, quantity=Quantity.PRESSURE, value_si=160, tolerance_si=tolerance)


def test_a_certificate_counts_against_an_instrument() -> None:
    plain = suitable(BENCH, quantity=Quantity.PRESSURE, value_si=160, tolerance_si=10)
    certified = suitable(BENCH, quantity=Quantity.PRESSURE, value_si=160, tolerance_si=10, certificate_u=5)
    assert (plain.suitable, certified.suitable) == (True, False)


SPECS = st.builds(
    RangeSpec,
    quantity=st.just(Quantity.PRESSURE),
    unit=st.sampled_from(UNITS[Quantity.PRESSURE]),
    full_scale=st.floats(1, 1e4),
    resolution=st.floats(1e-4, 1),
    percent_reading=st.floats(0, 5),
    percent_full_scale=st.floats(0, 5),
    counts=st.integers(0, 10).map(float),
)


@given(spec=SPECS, shares=st.lists(st.floats(-1, 1), min_size=1, max_size=10), u_cal=st.floats(0, 10))
def test_a_column_has_the_uncertainties_of_its_readings(
    spec: RangeSpec, shares: list[float], u_cal: float
) -> None:
    factor = si_factor(spec.unit)
    readings = np.array(shares) * spec.full_scale
    column = spec_uncertainty(
        reading=readings,
        percent_reading=spec.percent_reading,
        percent_full_scale=spec.percent_full_scale,
        full_scale=spec.full_scale,
        counts=spec.counts,
        resolution=spec.resolution,
        certificate_u=u_cal,
    )
    one_by_one = [
        spec.standard_uncertainty(reading_si=reading * factor, certificate_u=u_cal * factor)
        for reading in readings.tolist()
    ]
    assert column * factor == pytest.approx(one_by_one, rel=1e-9)


@given(spec=SPECS, share=st.floats(-1, 1), tolerance=st.floats(1e-3, 1e6), wider=st.floats(1, 10))
def test_a_wider_tolerance_never_makes_an_instrument_unsuitable(
    spec: RangeSpec, share: float, tolerance: float, wider: float
) -> None:
    value = 0.99 * share * spec.full_scale_si
    narrow, wide = (
        suitable(
            Spec(ranges=(spec,)), quantity=Quantity.PRESSURE, value_si=value, tolerance_si=tolerance * factor
        )
        for factor in (1.0, wider)
    )
    assert wide.suitable >= narrow.suitable
