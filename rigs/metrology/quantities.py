"""Physical quantities, the unit labels that the trade writes, and conversion to SI.

Factors come from pint, once, as exact fractions. Labels are mapped to pint's names one by one, because
pint reads `mb` as millibarn, `pa` as pico-year and `PA` as peta-ampere.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache, cached_property
from types import MappingProxyType

import numpy as np
import pint
from numpy.typing import ArrayLike, NDArray


class UnitError(ValueError):
    """A unit label that is not on the list, or a value that has no place on its scale."""


class Quantity(StrEnum):
    PRESSURE = "pressure"
    RESISTANCE = "resistance"
    VOLTAGE = "voltage"
    CURRENT = "current"
    TEMPERATURE = "temperature"
    TIME = "time"
    VOLUME = "volume"
    VOLUME_FLOW = "volume-flow"
    POWER = "power"
    FREQUENCY = "frequency"
    DIMENSIONLESS = "dimensionless"

    @property
    def words(self) -> str:
        """As a noun with its article: `a pressure`."""
        match self:
            case Quantity.DIMENSIONLESS:
                return "a plain number"
            case Quantity.VOLUME_FLOW:
                return "a volume flow"
            case _:
                return f"a {self.value}"


class Qualifier(StrEnum):
    """What kind of result a reading is. Over-limit is a result of its own, never 0 or blank."""

    VALUE = "value"
    OVER_LIMIT = "over-limit"
    UNSTABLE = "unstable"
    NOT_OBTAINED = "not-obtained"
    NOT_ATTEMPTED = "not-attempted"
    TONE = "tone"
    NO_TONE = "no-tone"
    OPEN = "open"
    CLOSED = "closed"


# mmH2O and inH2O are the conventional ones (1000 kg/m³ and standard gravity: NIST SP 811, B.8).
_PINT_NAMES: Mapping[Quantity, Mapping[str, str]] = {
    Quantity.PRESSURE: {
        "mbar": "millibar",
        "Pa": "pascal",
        "hPa": "hectopascal",
        "kPa": "kilopascal",
        "bar": "bar",
        "mmH2O": "millimeter_H2O",
        "inH2O": "inch_H2O",
        "psi": "pound_force_per_square_inch",
    },
    Quantity.RESISTANCE: {"Ω": "ohm", "kΩ": "kiloohm", "MΩ": "megaohm"},
    Quantity.VOLTAGE: {"V": "volt", "mV": "millivolt"},
    Quantity.CURRENT: {"A": "ampere", "mA": "milliampere", "µA": "microampere"},
    Quantity.TEMPERATURE: {"°C": "degree_Celsius", "K": "kelvin", "°F": "degree_Fahrenheit"},
    Quantity.TIME: {"s": "second", "min": "minute", "h": "hour"},
    Quantity.VOLUME: {"m³": "meter ** 3", "ft³": "foot ** 3", "l": "liter"},
    Quantity.VOLUME_FLOW: {
        "m³/h": "meter ** 3 / hour",
        "m³/s": "meter ** 3 / second",
        "l/s": "liter / second",
        "l/min": "liter / minute",
        "ft³/h": "foot ** 3 / hour",
    },
    Quantity.POWER: {"kW": "kilowatt", "W": "watt", "Btu/h": "Btu / hour"},
    Quantity.FREQUENCY: {"Hz": "hertz", "kHz": "kilohertz"},
    Quantity.DIMENSIONLESS: {"1": "dimensionless", "%": "percent"},
}

UNITS: Mapping[Quantity, tuple[str, ...]] = MappingProxyType(
    {quantity: tuple(names) for quantity, names in _PINT_NAMES.items()},
)
"""Unit labels that may be used for each quantity, the usual one first. No label serves two quantities."""

SI_UNIT: Mapping[Quantity, str] = MappingProxyType(
    {
        Quantity.PRESSURE: "Pa",
        Quantity.RESISTANCE: "Ω",
        Quantity.VOLTAGE: "V",
        Quantity.CURRENT: "A",
        # Celsius, an SI unit too: a thermometer's "% of reading" is a percentage of its °C figure, and
        # ±10 % of 293 K would be no tolerance at all. Differences and uncertainties are the same in K.
        Quantity.TEMPERATURE: "°C",
        Quantity.TIME: "s",
        Quantity.VOLUME: "m³",
        Quantity.VOLUME_FLOW: "m³/s",
        Quantity.POWER: "W",
        Quantity.FREQUENCY: "Hz",
        Quantity.DIMENSIONLESS: "1",
    },
)

_QUANTITY_OF: Mapping[str, Quantity] = {unit: quantity for quantity, units in UNITS.items() for unit in units}


@dataclass(frozen=True, kw_only=True)
class _Scale:
    """SI value = factor · value + offset, exactly."""

    factor: Fraction
    offset: Fraction

    @cached_property
    def times(self) -> float | None:
        """The factor, if that is exactly a float."""
        return _as_float(self.factor)

    @cached_property
    def over(self) -> float | None:
        """One over the factor, if that is exactly a float."""
        return _as_float(1 / self.factor)

    @cached_property
    def nearest(self) -> tuple[float, float]:
        """The floats nearest to factor and offset, for columns."""
        return float(self.factor), float(self.offset)

    def scaled(self, value: Decimal | float) -> float:
        """`value` times the factor, rounded once: as IEEE 754 does one operation on exact operands."""
        if isinstance(value, float):
            if self.times is not None and math.isfinite(found := value * self.times):
                return float(found) + 0.0  # zero has no sign
            if self.over is not None and math.isfinite(found := value / self.over):
                return float(found) + 0.0
        return float(_exact(value) * self.factor)

    def unscaled(self, si_value: Decimal | float) -> float:
        """`si_value` over the factor, rounded once."""
        if isinstance(si_value, float):
            if self.times is not None and math.isfinite(found := si_value / self.times):
                return float(found) + 0.0
            if self.over is not None and math.isfinite(found := si_value * self.over):
                return float(found) + 0.0
        return float(_exact(si_value) / self.factor)


def _as_float(number: Fraction) -> float | None:
    return float(number) if Fraction(float(number)) == number else None


@cache
def _scales() -> Mapping[str, _Scale]:
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)

    def in_si(value: int, quantity: Quantity, name: str) -> Fraction:
        si_name = _PINT_NAMES[quantity][SI_UNIT[quantity]]
        return Fraction(registry.Quantity(Fraction(value), name).to(si_name).magnitude)

    scales = {}
    for unit, quantity in _QUANTITY_OF.items():
        name = _PINT_NAMES[quantity][unit]
        zero = in_si(0, quantity, name)
        scales[unit] = _Scale(factor=in_si(1, quantity, name) - zero, offset=zero)
    return scales


def unit_quantity(unit: str) -> Quantity:
    """The quantity that a unit label measures. Raises UnitError for a label that is not on the list."""
    try:
        return _QUANTITY_OF[unit]
    except KeyError:
        raise UnitError(f"“{unit}” is not a unit used here.") from None


def _scale(unit: str) -> _Scale:
    try:
        return _scales()[unit]
    except KeyError:
        raise UnitError(f"“{unit}” is not a unit used here.") from None


def si_factor(unit: str) -> float:
    """SI units in one `unit`: for widths, resolutions and differences, which have no offset."""
    return float(_scale(unit).factor)


def to_si(value: Decimal | float, *, unit: str) -> float:
    """The SI value nearest to `value` in `unit`: exact arithmetic, rounded once.

    Raises UnitError for an unknown unit and for NaN or infinity.
    """
    scale = _scale(unit)
    return float(_exact(value) * scale.factor + scale.offset) if scale.offset else scale.scaled(value)


def from_si(value: Decimal | float, *, unit: str) -> float:
    """The inverse of `to_si`: what an SI value is in `unit`."""
    scale = _scale(unit)
    return float((_exact(value) - scale.offset) / scale.factor) if scale.offset else scale.unscaled(value)


def width_to_si(value: Decimal | float, *, unit: str) -> float:
    """A width, resolution or difference in `unit`, in SI: a factor without an offset."""
    return _scale(unit).scaled(value)


def column_to_si(values: ArrayLike, *, unit: str) -> NDArray[np.float64]:
    """A column of values in one unit, in SI, by one factor and one offset. NaN stays NaN."""
    factor, offset = _scale(unit).nearest
    return np.asarray(values, dtype=np.float64) * factor + offset


def column_from_si(values: ArrayLike, *, unit: str | Sequence[str]) -> NDArray[np.float64]:
    """The inverse of `column_to_si`, into one unit or each row into its own."""
    units = [unit] if isinstance(unit, str) else unit
    factor, offset = np.array([_scale(each).nearest for each in units]).T
    return np.asarray((np.asarray(values, dtype=np.float64) - offset) / factor)


def _exact(value: Decimal | float) -> Fraction:
    if not math.isfinite(value):
        raise UnitError("Only a finite number can be converted to another unit.")
    return Fraction(value)
