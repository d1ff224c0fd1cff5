"""Temperature from resistance, and back: platinum sensors (Pt100) and NTC thermistors."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from types import MappingProxyType
from typing import Final

import numpy as np
from scipy.optimize import brentq

from rigs.metrology.computed.calculator import Calculator, Figures, Input, Measure
from rigs.metrology.conformity import TIE
from rigs.metrology.quantities import Quantity
from rigs.metrology.samples import SampleError, finite, positive

_ZERO_CELSIUS: Final = 273.15
_NOMINAL_CELSIUS: Final = 25.0

# IEC 60751: R(t) = 100 (1 + A t + B t² + C (t − 100) t³), C only below 0 °C.
_A: Final = 3.9083e-3
_B: Final = -5.775e-7
_C: Final = -4.183e-12
_PT100_CELSIUS: Final = (-200.0, 850.0)
# Half a digit of the standard's table: its own ends, as printed, are still in it.
_PT100_ROUNDING: Final = 0.005


class ToleranceClass(StrEnum):
    """Of platinum resistance thermometers, IEC 60751."""

    AA = "AA"
    A = "A"
    B = "B"
    C = "C"


_TOLERANCES: Final = {
    ToleranceClass.AA: (0.1, 0.0017),
    ToleranceClass.A: (0.15, 0.002),
    ToleranceClass.B: (0.3, 0.005),
    ToleranceClass.C: (0.6, 0.01),
}


def pt100_resistance(*, temperature: float) -> float:
    """Ω at °C, by IEC 60751. Raises SampleError outside −200 to 850 °C."""
    low, high = _PT100_CELSIUS
    if not low <= finite(temperature, of="temperature") <= high:
        raise SampleError(f"A Pt100 at {temperature:g} °C: IEC 60751 goes from {low:g} to {high:g} °C.")
    return _platinum(temperature)


def pt100_temperature(*, resistance: float) -> float:
    """°C at Ω, by IEC 60751: its closed form from 0 °C up, solved below. Raises SampleError outside."""
    low, high = (_platinum(end) for end in _PT100_CELSIUS)
    if not low - _PT100_ROUNDING <= finite(resistance, of="resistance") <= high + _PT100_ROUNDING:
        raise SampleError(
            f"A Pt100 at {resistance:g} Ω: IEC 60751 goes from {low:.2f} to {high:.2f} Ω. "
            "Check the unit, and that it is a Pt100.",
        )
    if resistance >= 100:
        return (-_A + math.sqrt(_A**2 - 4 * _B * (1 - resistance / 100))) / (2 * _B)
    return float(brentq(lambda celsius: _platinum(celsius) - resistance, -201.0, 0.0, xtol=1e-10))


def pt100_error(*, resistance: float, temperature: float) -> float:
    """How many °C a Pt100 is off from a reference thermometer at the same place."""
    return pt100_temperature(resistance=resistance) - finite(temperature, of="temperature")


def pt100_tolerance(*, temperature: float, tolerance_class: ToleranceClass) -> float:
    """± °C at °C. The standard limits each class to a span of its own, which isn't checked here."""
    fixed, share = _TOLERANCES[tolerance_class]
    return fixed + share * abs(finite(temperature, of="temperature"))


def _platinum(celsius: float) -> float:
    below = _C * (celsius - 100) * celsius**3 if celsius < 0 else 0.0
    return 100 * (1 + _A * celsius + _B * celsius**2 + below)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistanceTable:
    """A maker's table of an NTC thermistor: pairs of °C and Ω, from cold to warm.

    Between its points ln R is a straight line in 1/T. On a table in steps of 20 °C that is within 0.05 °C.
    """

    label: str
    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise SampleError(f"The table of the {self.label} needs at least two points. Add more.")
        for celsius, ohms in self.points:
            positive(finite(celsius, of="temperature") + _ZERO_CELSIUS, of="temperature in K")
            positive(ohms, of="resistance")
        for (cold, more), (warm, less) in pairwise(self.points):
            if not (cold < warm and more > less):
                raise SampleError(
                    f"In the table of the {self.label}, {cold:g} and {warm:g} °C are out of order: "
                    "an NTC's resistance falls as it warms.",
                )

    def temperature(self, *, resistance: float) -> float:
        """°C at Ω. Raises SampleError outside the table."""
        high, low = self.points[0][1], self.points[-1][1]
        # A resistance worked out from the end of the table is still at its end.
        if not low * (1 - TIE) <= finite(resistance, of="resistance") <= high * (1 + TIE):
            raise SampleError(
                f"{resistance:g} Ω is outside the table of the {self.label}, {low:g} to {high:g} Ω. "
                "Check the unit, and that it is this type.",
            )
        logarithms = [math.log(ohms) for _, ohms in reversed(self.points)]
        return 1 / float(np.interp(math.log(resistance), logarithms, self._reciprocals())) - _ZERO_CELSIUS

    def resistance(self, *, temperature: float) -> float:
        """Ω at °C. Raises SampleError outside the table."""
        low, high = self.points[0][0], self.points[-1][0]
        if not low <= finite(temperature, of="temperature") <= high:
            raise SampleError(
                f"{temperature:g} °C is outside the table of the {self.label}, {low:g} to {high:g} °C."
            )
        logarithms = [math.log(ohms) for _, ohms in reversed(self.points)]
        at = 1 / (temperature + _ZERO_CELSIUS)
        return math.exp(float(np.interp(at, self._reciprocals(), logarithms)))

    def error(self, *, resistance: float, temperature: float) -> float:
        """How many °C the sensor shows above a reference thermometer.

        In °C, because a tolerance in ohms would be another one at each temperature.
        """
        return self.temperature(resistance=resistance) - finite(temperature, of="temperature")

    def _reciprocals(self) -> list[float]:
        """1/T from warm to cold, which is upwards."""
        return [1 / (celsius + _ZERO_CELSIUS) for celsius, _ in reversed(self.points)]


def ntc_resistance(*, temperature: float, nominal: float, b: float) -> float:
    """Ω at °C by R = R₂₅ exp(B (1/T − 1/298.15 K)). `nominal` is R₂₅ in Ω, `b` in K.

    B holds between the two temperatures it is stated for: B25/50, B25/85 and B25/100 differ.
    """
    span = 1 / _kelvin(temperature) - 1 / _kelvin(_NOMINAL_CELSIUS)
    return positive(nominal, of="resistance at 25 °C") * math.exp(positive(b, of="B value") * span)


def ntc_temperature(*, resistance: float, nominal: float, b: float) -> float:
    """°C at Ω, the inverse of `ntc_resistance`."""
    logarithm = math.log(positive(resistance, of="resistance") / positive(nominal, of="resistance at 25 °C"))
    reciprocal = 1 / _kelvin(_NOMINAL_CELSIUS) + logarithm / positive(b, of="B value")
    return 1 / positive(reciprocal, of="reciprocal of the temperature") - _ZERO_CELSIUS


def b_value(*, cold: float, warm: float, cold_resistance: float, warm_resistance: float) -> float:
    """B in K between two points in °C and Ω: ln(R₁/R₂) ÷ (1/T₁ − 1/T₂)."""
    span = 1 / _kelvin(cold) - 1 / _kelvin(warm)
    if span == 0:
        raise SampleError("Both points are at one temperature. Take them at two.")
    cold_ohms = positive(cold_resistance, of="resistance when cold")
    return math.log(cold_ohms / positive(warm_resistance, of="resistance when warm")) / span


def _kelvin(celsius: float) -> float:
    return positive(finite(celsius, of="temperature") + _ZERO_CELSIUS, of="temperature in K")


NTC_10K: Final = ResistanceTable(
    label="10 kΩ type",
    points=((0, 32014), (20, 12474), (25, 10000), (40, 5372), (60, 2535), (80, 1290)),
)
NTC_12K: Final = ResistanceTable(
    label="12 kΩ type",
    points=((0, 36129), (20, 14773), (25, 12000), (40, 6652), (60, 3252), (80, 1707)),
)
NTC_TABLES: Final = {"10k": NTC_10K, "12k": NTC_12K}

_OHMS: Final = Input(name="resistance", label="resistance", quantity=Quantity.RESISTANCE, unit="Ω")
_CELSIUS: Final = Input(name="temperature", label="temperature", quantity=Quantity.TEMPERATURE, unit="°C")
_NOMINAL: Final = Input(name="nominal", label="resistance at 25 °C", quantity=Quantity.RESISTANCE, unit="Ω")
_B_VALUE: Final = Input(
    name="b", label="B value", quantity=Quantity.TEMPERATURE, unit="K", is_difference=True
)
_TO_CELSIUS: Final = Measure(quantity=Quantity.TEMPERATURE, unit="°C")
_TO_OHMS: Final = Measure(quantity=Quantity.RESISTANCE, unit="Ω")
_TABLE: Final = "maker's R–T table, as published"
_B_EQUATION: Final = "definition of the B value"


def table_calculators(name: str, table: ResistanceTable) -> tuple[Calculator, ...]:
    """Temperature, resistance and error by one table, named `ntc-…-temperature` and so on."""
    return (
        Calculator(
            name=f"ntc-{name}-temperature",
            label=f"Temperature of an NTC, {table.label}",
            inputs=(_OHMS,),
            output=_TO_CELSIUS,
            formula="from the table, ln R straight in 1/T between its points",
            source=_TABLE,
            function=table.temperature,
        ),
        Calculator(
            name=f"ntc-{name}-resistance",
            label=f"Resistance of an NTC, {table.label}",
            inputs=(_CELSIUS,),
            output=_TO_OHMS,
            formula="from the table, ln R straight in 1/T between its points",
            source=_TABLE,
            function=table.resistance,
        ),
        Calculator(
            name=f"ntc-{name}-error",
            label=f"Error of an NTC, {table.label}",
            inputs=(_OHMS, _CELSIUS),
            output=Measure(quantity=Quantity.TEMPERATURE, unit="°C", is_difference=True),
            formula="error = temperature from the table − temperature of the reference thermometer",
            source=_TABLE,
            function=table.error,
        ),
    )


THERMOMETERS: Final = (
    Calculator(
        name="pt100-temperature",
        label="Temperature of a Pt100",
        inputs=(_OHMS,),
        output=_TO_CELSIUS,
        formula="t from R = 100 (1 + 3.9083e-3 t − 5.775e-7 t²), from 0 °C up",
        source="IEC 60751",
        function=pt100_temperature,
    ),
    Calculator(
        name="pt100-resistance",
        label="Resistance of a Pt100",
        inputs=(_CELSIUS,),
        output=_TO_OHMS,
        formula="R = 100 (1 + 3.9083e-3 t − 5.775e-7 t²), from 0 °C up",
        source="IEC 60751",
        function=pt100_resistance,
    ),
    Calculator(
        name="pt100-error",
        label="Error of a Pt100",
        inputs=(_OHMS, _CELSIUS),
        output=Measure(quantity=Quantity.TEMPERATURE, unit="°C", is_difference=True),
        formula="error = temperature from the standard − temperature of the reference thermometer",
        source="IEC 60751",
        function=pt100_error,
    ),
    *(each for name, table in NTC_TABLES.items() for each in table_calculators(name, table)),
    Calculator(
        name="ntc-b-temperature",
        label="Temperature of an NTC by its B value",
        inputs=(_OHMS, _NOMINAL, _B_VALUE),
        output=_TO_CELSIUS,
        formula="1/T = 1/298.15 + ln(R ÷ R25) ÷ B, T in kelvin",
        source=_B_EQUATION,
        function=ntc_temperature,
    ),
    Calculator(
        name="ntc-b-resistance",
        label="Resistance of an NTC by its B value",
        inputs=(_CELSIUS, _NOMINAL, _B_VALUE),
        output=_TO_OHMS,
        formula="R = R25 exp(B (1/T − 1/298.15)), T in kelvin",
        source=_B_EQUATION,
        function=ntc_resistance,
    ),
    Calculator(
        name="ntc-b-value",
        label="B value of an NTC",
        inputs=(
            Input(name="cold", label="temperature when cold", quantity=Quantity.TEMPERATURE, unit="°C"),
            Input(name="warm", label="temperature when warm", quantity=Quantity.TEMPERATURE, unit="°C"),
            Input(
                name="cold_resistance",
                label="resistance when cold",
                quantity=Quantity.RESISTANCE,
                unit="Ω",
            ),
            Input(
                name="warm_resistance",
                label="resistance when warm",
                quantity=Quantity.RESISTANCE,
                unit="Ω",
            ),
        ),
        output=Measure(quantity=Quantity.TEMPERATURE, unit="K", is_difference=True),
        formula="B = ln(R cold ÷ R warm) ÷ (1/T cold − 1/T warm), T in kelvin",
        source=_B_EQUATION,
        function=b_value,
    ),
)

_BY_NAME: Final = {each.name: each for each in THERMOMETERS}
TEMPERATURE_BY: Final[Mapping[str, Calculator]] = MappingProxyType(
    {
        name: _BY_NAME[name.replace("-resistance", "-temperature")]
        for name in _BY_NAME
        if name.endswith("-resistance")
    }
)
"""By the name of each calculator of a thermometer's resistance, the one back to its temperature."""


def celsius_error(calculator: Calculator, *, figures: Figures, resistance: float) -> float:
    """How many °C a resistance is off from what `calculator` makes of `figures`.

    Raises KeyError for a calculator that gives no thermometer's resistance, SampleError for a resistance that
    no temperature goes with.
    """
    others = {name: value for name, value in figures.items() if name != "temperature"}
    found = TEMPERATURE_BY[calculator.name].compute({**others, "resistance": resistance})
    wanted = figures["temperature"]
    assert not isinstance(wanted, tuple)  # none of them takes repeats
    return found - wanted
