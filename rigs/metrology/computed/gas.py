"""Gas rate and heat input from a timed volume, and the volume of an installation.

Calorific values are gross, of dry gas at 15 °C and 1013.25 mbar. None is built in: the one declared for the
place and the day is given.
"""

import math
from typing import Final

from rigs.metrology.computed.calculator import Calculator, Input, Measure
from rigs.metrology.quantities import Quantity
from rigs.metrology.samples import SampleError, positive

GROSS_TO_NET: Final = (1.11, 1.1)
"""Gross over net of natural gas: the usual ratio, and the other one used (common practice)."""
BTU_PER_KWH: Final = 3412.0
"""British thermal units in a kilowatt hour, as the trade's formula has it; 3412.14 unrounded."""

_STANDARD_PRESSURE: Final = 1013.25  # mbar
_STANDARD_KELVIN: Final = 288.15
_ZERO_CELSIUS: Final = 273.15


def gas_rate(*, volume: float, time: float) -> float:
    """m³/h from m³ and s, or ft³/h from ft³ and s."""
    return 3600 * _volume(volume) / positive(time, of="time")


def heat_input(*, volume: float, time: float, calorific_value: float) -> float:
    """Gross kW from m³, s and MJ/m³. 3600 V H ÷ t alone would be MJ an hour; 3.6 of them are a kilowatt."""
    return heat_input_from_rate(rate=gas_rate(volume=volume, time=time), calorific_value=calorific_value)


def heat_input_from_rate(*, rate: float, calorific_value: float) -> float:
    """Gross kW from m³/h and MJ/m³."""
    return positive(rate, of="gas rate", or_zero=True) * positive(calorific_value, of="calorific value") / 3.6


def imperial_heat_input(*, volume: float, time: float, calorific_value: float) -> float:
    """Gross kW from ft³, s and Btu/ft³."""
    rate = gas_rate(volume=volume, time=time)
    return rate * positive(calorific_value, of="calorific value") / BTU_PER_KWH


def net_heat_input(*, volume: float, time: float, calorific_value: float, gross_to_net: float) -> float:
    """Net kW from m³, s and gross MJ/m³."""
    gross = heat_input(volume=volume, time=time, calorific_value=calorific_value)
    return net_from_gross(gross=gross, gross_to_net=gross_to_net)


def imperial_net_heat_input(
    *, volume: float, time: float, calorific_value: float, gross_to_net: float
) -> float:
    """Net kW from ft³, s and gross Btu/ft³."""
    gross = imperial_heat_input(volume=volume, time=time, calorific_value=calorific_value)
    return net_from_gross(gross=gross, gross_to_net=gross_to_net)


def net_from_gross(*, gross: float, gross_to_net: float) -> float:
    return positive(gross, of="gross heat input", or_zero=True) / positive(
        gross_to_net, of="ratio of gross to net"
    )


def corrected_volume(*, volume: float, factor: float) -> float:
    """m³ at standard conditions. A bill takes 1.02264; an appliance's rate is usually left as it is."""
    return _volume(volume) * positive(factor, of="correction factor")


def volume_correction(*, atmospheric: float, gauge: float, temperature: float) -> float:
    """Factor from metered to standard conditions: p/1013.25 mbar · 288.15 K/T. In mbar and °C."""
    kelvin = temperature + _ZERO_CELSIUS
    return (
        (atmospheric + gauge)
        / _STANDARD_PRESSURE
        * _STANDARD_KELVIN
        / positive(kelvin, of="temperature in K")
    )


def pipe_volume(*, bore: float, length: float) -> float:
    """Litres from the bore in mm and the length in m: π/4 · d² · L."""
    square_metres = math.pi / 4 * (positive(bore, of="bore") / 1000) ** 2
    return 1000 * square_metres * positive(length, of="length", or_zero=True)


def installation_volume(
    *, lengths: tuple[float, ...], unit_volumes: tuple[float, ...], allowance: float, meter: float
) -> float:
    """m³: what the pipes hold, times the allowance for fittings, and the meter's own volume.

    `lengths` in m and `unit_volumes` in m³/m go together, one of each for every size of pipe.
    """
    if len(lengths) != len(unit_volumes):
        raise SampleError(
            f"{len(lengths)} lengths of pipe and {len(unit_volumes)} volumes a metre. Give one each a size."
        )
    pipes = sum(
        positive(length, of="length", or_zero=True) * positive(each, of="volume a metre")
        for length, each in zip(lengths, unit_volumes, strict=True)
    )
    return positive(allowance, of="allowance for fittings") * pipes + positive(
        meter, of="meter's volume", or_zero=True
    )


def _volume(volume: float) -> float:
    return positive(volume, of="volume", or_zero=True)


_PRACTICE: Final = "common practice, no source"
_GROSS: Final = "gross calorific value"
_TIME: Final = Input(name="time", label="time", quantity=Quantity.TIME, unit="s")
_CUBIC_METRES: Final = Input(name="volume", label="volume", quantity=Quantity.VOLUME, unit="m³")
_CUBIC_FEET: Final = Input(name="volume", label="volume", quantity=Quantity.VOLUME, unit="ft³")
_MEGAJOULES: Final = Input(name="calorific_value", label=_GROSS, unit="MJ/m³")
_BTU: Final = Input(name="calorific_value", label=_GROSS, unit="Btu/ft³")
_RATIO: Final = Input(
    name="gross_to_net", label="ratio of gross to net", quantity=Quantity.DIMENSIONLESS, unit="1"
)
_KILOWATTS: Final = Measure(quantity=Quantity.POWER, unit="kW")
# 3412 or 3412.14 Btu to the kilowatt hour.
_BTU_SPREAD: Final = 5e-5

GAS: Final = (
    Calculator(
        name="gas-rate",
        label="Gas rate, metric",
        inputs=(_CUBIC_METRES, _TIME),
        output=Measure(quantity=Quantity.VOLUME_FLOW, unit="m³/h"),
        formula="rate = 3600 × volume ÷ time",
        source=_PRACTICE,
        function=gas_rate,
    ),
    Calculator(
        name="gas-rate-imperial",
        label="Gas rate, imperial",
        inputs=(_CUBIC_FEET, _TIME),
        output=Measure(quantity=Quantity.VOLUME_FLOW, unit="ft³/h"),
        formula="rate = 3600 × volume ÷ time",
        source=_PRACTICE,
        function=gas_rate,
    ),
    Calculator(
        name="gross-heat-input",
        label="Gross heat input, metric",
        inputs=(_CUBIC_METRES, _TIME, _MEGAJOULES),
        output=_KILOWATTS,
        formula="gross = 3600 × volume × calorific value ÷ (time × 3.6)",
        source=_PRACTICE,
        function=heat_input,
    ),
    Calculator(
        name="gross-heat-input-from-rate",
        label="Gross heat input from the gas rate",
        inputs=(
            Input(name="rate", label="gas rate", quantity=Quantity.VOLUME_FLOW, unit="m³/h"),
            _MEGAJOULES,
        ),
        output=_KILOWATTS,
        formula="gross = rate × calorific value ÷ 3.6",
        source=_PRACTICE,
        function=heat_input_from_rate,
    ),
    Calculator(
        name="gross-heat-input-imperial",
        label="Gross heat input, imperial",
        inputs=(_CUBIC_FEET, _TIME, _BTU),
        output=_KILOWATTS,
        formula="gross = 3600 × volume × calorific value ÷ (time × 3412)",
        source=_PRACTICE,
        function=imperial_heat_input,
        constants=_BTU_SPREAD,
    ),
    Calculator(
        name="net-heat-input",
        label="Net heat input, metric",
        inputs=(_CUBIC_METRES, _TIME, _MEGAJOULES, _RATIO),
        output=_KILOWATTS,
        formula="net = 3600 × volume × calorific value ÷ (time × 3.6 × ratio)",
        source=_PRACTICE,
        function=net_heat_input,
    ),
    Calculator(
        name="net-heat-input-imperial",
        label="Net heat input, imperial",
        inputs=(_CUBIC_FEET, _TIME, _BTU, _RATIO),
        output=_KILOWATTS,
        formula="net = 3600 × volume × calorific value ÷ (time × 3412 × ratio)",
        source=_PRACTICE,
        function=imperial_net_heat_input,
        constants=_BTU_SPREAD,
    ),
    Calculator(
        name="net-from-gross",
        label="Net heat input from the gross",
        inputs=(Input(name="gross", label="gross heat input", quantity=Quantity.POWER, unit="kW"), _RATIO),
        output=_KILOWATTS,
        formula="net = gross ÷ ratio",
        source=_PRACTICE,
        function=net_from_gross,
    ),
    Calculator(
        name="corrected-volume",
        label="Volume at standard conditions",
        inputs=(
            _CUBIC_METRES,
            Input(name="factor", label="correction factor", quantity=Quantity.DIMENSIONLESS, unit="1"),
        ),
        output=Measure(quantity=Quantity.VOLUME, unit="m³"),
        formula="corrected volume = volume × factor",
        source="Gas (Calculation of Thermal Energy) Regulations 1996 (SI 1996/439), factor 1.02264",
        function=corrected_volume,
    ),
    Calculator(
        name="volume-correction",
        label="Volume correction factor",
        inputs=(
            Input(name="atmospheric", label="air pressure", quantity=Quantity.PRESSURE, unit="mbar"),
            Input(name="gauge", label="gas pressure", quantity=Quantity.PRESSURE, unit="mbar"),
            Input(name="temperature", label="gas temperature", quantity=Quantity.TEMPERATURE, unit="°C"),
        ),
        output=Measure(quantity=Quantity.DIMENSIONLESS, unit="1"),
        formula="factor = (air pressure + gas pressure) ÷ 1013.25 × 288.15 ÷ (273.15 + temperature)",
        source="ideal gas law, to 15 °C and 1013.25 mbar",
        function=volume_correction,
    ),
    Calculator(
        name="pipe-volume",
        label="Volume of a pipe",
        inputs=(
            Input(name="bore", label="bore", unit="mm"),
            Input(name="length", label="length", unit="m"),
        ),
        output=Measure(quantity=Quantity.VOLUME, unit="l"),
        formula="volume = π ÷ 4 × bore² × length",
        source="geometry",
        function=pipe_volume,
    ),
    Calculator(
        name="installation-volume",
        label="Installation volume",
        inputs=(
            Input(name="lengths", label="lengths of pipe", unit="m", has_repeats=True),
            Input(name="unit_volumes", label="volumes a metre", unit="m³/m", has_repeats=True),
            Input(
                name="allowance",
                label="allowance for fittings",
                quantity=Quantity.DIMENSIONLESS,
                unit="1",
            ),
            Input(name="meter", label="meter's volume", quantity=Quantity.VOLUME, unit="m³"),
        ),
        output=Measure(quantity=Quantity.VOLUME, unit="m³"),
        formula="installation volume = allowance × sum of (length × volume a metre) + meter",
        source="IGEM/UP/1B, seen second-hand: confirm with the edition in force",
        function=installation_volume,
    ),
)
