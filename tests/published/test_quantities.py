from decimal import Decimal

import pytest

from rigs.metrology.quantities import Quantity, from_si, si_factor, to_si
from rigs.metrology.readings import parse
from tests.published.entries import entry, label

FACTORS = entry("quantities", "T06-01")
NAMES = entry("quantities", "T06-02")
OTHERS = entry("quantities", "T06-03")
TEMPERATURES = entry("quantities", "T06-04")
CHAIN = entry("quantities", "T06-05")


@pytest.mark.parametrize(
    ("printed_as", "unit"),
    [
        pytest.param(printed_as, unit, id=label(FACTORS, printed_as))
        for printed_as, unit in (
            ("mbar|millibar", "mbar"),
            ("bar", "bar"),
            ("psi", "psi"),
            ("inH2O conventional", "inH2O"),
            ("mmH2O conventional", "mmH2O"),
        )
    ],
)
def test_a_pressure_unit_has_its_published_factor(printed_as: str, unit: str) -> None:
    assert si_factor(unit) == pytest.approx(
        float(FACTORS["expected"][printed_as]), abs=FACTORS["tolerance"][printed_as]
    )


@pytest.mark.parametrize("other", ["inH2O 4C (39.2F)", "inH2O 60F"])
def test_the_inch_of_water_is_the_conventional_one_and_no_other(other: str) -> None:
    assert abs(si_factor("inH2O") - float(FACTORS["expected"][other])) > FACTORS["tolerance"][other]


@pytest.mark.parametrize(
    ("typed", "pascals"),
    [
        # pint reads millibarn, pico-year, peta-ampere and megabar; a person who types them means these.
        pytest.param("1 mb", 100.0, id=label(NAMES, "mb")),
        pytest.param("1 pa", 1.0, id=label(NAMES, "pa")),
        pytest.param("1 PA", 1.0, id=label(NAMES, "PA")),
        pytest.param("1 Mbar", 100.0, id=label(NAMES, "Mbar")),
        # pint knows no such names.
        pytest.param("1 MBAR", 100.0, id=label(NAMES, "MBAR")),
        pytest.param("1 inwg", 249.08891, id=label(NAMES, "inwg")),
        pytest.param("1 inWC", 249.08891, id=label(NAMES, "inWC")),
        # Here it agrees.
        pytest.param("1 mbar", 100.0, id=label(NAMES, "mbar")),
        pytest.param("1 hPa", 100.0, id=label(NAMES, "hPa")),
        pytest.param("1 kPa", 1000.0, id=label(NAMES, "kPa")),
    ],
)
def test_a_unit_is_read_as_the_trade_means_it(typed: str, pascals: float) -> None:
    assert parse(typed, quantity=Quantity.PRESSURE, unit="mbar").si_value == pascals


def test_one_degree_celsius_is_not_one_kelvin() -> None:
    kelvin = float(NAMES["expected"]["degC"].removesuffix(" kelvin"))
    assert from_si(to_si(1.0, unit="°C"), unit="K") == pytest.approx(kelvin, abs=1e-12)


@pytest.mark.parametrize(
    ("printed_as", "ours"),
    [
        pytest.param("ft3_m3", si_factor("ft³"), id=label(OTHERS, "ft3_m3")),
        pytest.param("ft3_m3_exact", si_factor("ft³"), id=label(OTHERS, "ft3_m3_exact")),
        pytest.param("m3_ft3", 1 / si_factor("ft³"), id=label(OTHERS, "m3_ft3")),
        # A British thermal unit an hour, for an hour: 1055.056 J is the printed, rounded figure.
        pytest.param("Btu_IT_J", si_factor("Btu/h") * si_factor("h"), id=label(OTHERS, "Btu_IT_J")),
    ],
)
def test_volume_and_energy_have_their_published_factors(printed_as: str, ours: float) -> None:
    assert ours == pytest.approx(
        float(OTHERS["expected"][printed_as]), abs=OTHERS["tolerance"][printed_as], rel=0
    )


@pytest.mark.parametrize(
    ("celsius", "other", "unit"),
    [
        pytest.param(celsius, float(printed), unit, id=label(TEMPERATURES, f"{celsius} °C in {unit}"))
        for column, unit in (("degF", "°F"), ("K", "K"))
        for celsius, printed in zip(
            TEMPERATURES["inputs"]["degC"], TEMPERATURES["expected"][column], strict=True
        )
    ],
)
def test_a_temperature_converts_both_ways(celsius: float, other: float, unit: str) -> None:
    assert from_si(celsius, unit=unit) == pytest.approx(other, abs=1e-9)
    assert to_si(other, unit=unit) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("printed_as", "ours"),
    [
        pytest.param("21_mbar_Pa", to_si(Decimal(21), unit="mbar"), id=label(CHAIN, "21_mbar_Pa")),
        pytest.param("21_mbar_inH2O", from_si(2100, unit="inH2O"), id=label(CHAIN, "21_mbar_inH2O")),
        pytest.param("1_inH2O_mbar", si_factor("inH2O") / 100, id=label(CHAIN, "1_inH2O_mbar")),
        pytest.param("1_mbar_mmH2O", from_si(100, unit="mmH2O"), id=label(CHAIN, "1_mbar_mmH2O")),
        pytest.param("1_psi_mbar", si_factor("psi") / 100, id=label(CHAIN, "1_psi_mbar")),
    ],
)
def test_gas_work_pressures_convert(printed_as: str, ours: float) -> None:
    assert ours == pytest.approx(
        float(CHAIN["expected"][printed_as]), abs=CHAIN["tolerance"][printed_as], rel=0
    )
