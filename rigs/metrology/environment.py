"""Density of moist air, and what a venturi would have read in reference air."""

import math
from dataclasses import dataclass

from rigs.metrology.samples import SampleError, finite, positive

# "Standard air" of fan engineering, kg/m³ (common practice).
REFERENCE_DENSITY = 1.2
# Relative standard uncertainty of the CIPM-2007 equation itself.
EQUATION_U = 22e-6
# What the sensible range of a room is; a value outside it is a unit mistaken.
_PRESSURES = (60_000.0, 110_000.0)
_CELSIUS = (-10.0, 50.0)
# Where the equation's uncertainty is stated to hold.
_STATED_PRESSURES = (60_000.0, 110_000.0)
_STATED_CELSIUS = (15.0, 27.0)
_GAS_CONSTANT = 8.314472
_WATER = 18.01528e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The room's air: °C, Pa, relative humidity from 0 to 1, carbon dioxide as a mole fraction.

    Each ``_u`` is a standard uncertainty in the same unit. Half humidity is assumed where it wasn't measured:
    between dry and saturated air at 20 °C density changes by 0.9 %.
    """

    celsius: float
    pressure: float
    humidity: float = 0.5
    carbon_dioxide: float = 400e-6
    celsius_u: float = 0.0
    pressure_u: float = 0.0
    humidity_u: float = 0.0

    def __post_init__(self) -> None:
        finite(self.celsius, of="room temperature")
        finite(self.pressure, of="air pressure")
        finite(self.humidity, of="relative humidity")
        for name in ("celsius_u", "pressure_u", "humidity_u"):
            positive(getattr(self, name), of="uncertainty of the room's air", or_zero=True)
        if not _CELSIUS[0] <= self.celsius <= _CELSIUS[1]:
            raise SampleError(
                f"A room at {self.celsius:g} °C. Give the room's temperature in degrees Celsius."
            )
        if not _PRESSURES[0] <= self.pressure <= _PRESSURES[1]:
            raise SampleError(
                f"An air pressure of {self.pressure:g} Pa. Give pascals: a barometer's mbar (hPa) times 100."
            )
        if not 0.0 <= self.humidity <= 1.0:
            raise SampleError(
                f"A relative humidity of {self.humidity:g}. Give a share from 0 to 1: 55 % is 0.55."
            )
        if not 0.0 <= self.carbon_dioxide <= 0.01:
            raise SampleError(
                f"Carbon dioxide {self.carbon_dioxide:g}. Give a mole fraction: 400 ppm is 0.0004."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """kg/m³, with its standard uncertainty. ``stated``: its own part is stated for such a room."""

    value: float
    u: float
    stated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Normalised:
    """A differential pressure as reference air would have given it, with its standard uncertainty."""

    value: float
    u: float


def air_density(air: Air) -> Density:
    """Return the density of moist air by CIPM-2007 (Picard et al., Metrologia 45 (2008) 149–155).

    ρ = p M_a / (Z R T) · (1 − x_v (1 − M_v/M_a)). The uncertainty is the equation's, 22 × 10⁻⁶, with that of
    temperature, pressure and humidity by the law of propagation (JCGM 100 5.1.2).
    """
    value = _density(air.celsius, air.pressure, air.humidity, air.carbon_dioxide)
    inputs = (
        (air.celsius_u, _slope(air, celsius=0.01)),
        (air.pressure_u, _slope(air, pressure=10.0)),
        (air.humidity_u, _slope(air, humidity=0.001)),
    )
    u = math.hypot(EQUATION_U * value, *(u * slope for u, slope in inputs))
    stated = (
        _STATED_CELSIUS[0] <= air.celsius <= _STATED_CELSIUS[1]
        and _STATED_PRESSURES[0] <= air.pressure <= _STATED_PRESSURES[1]
    )
    return Density(value=value, u=u, stated=stated)


def into_reference_air(density: Density, *, reference: float = REFERENCE_DENSITY) -> float:
    """Return ρ_ref/ρ: at a fan's constant speed a venturi's Δp is proportional to density.

    It takes out the weather, not a fan whose speed follows its supply.
    """
    return positive(reference, of="reference density") / positive(density.value, of="density of the air")


def normalised(
    differential: float, *, u: float = 0.0, air: Air, reference: float = REFERENCE_DENSITY
) -> Normalised:
    """Return Δp · ρ_ref/ρ. ``differential`` and ``u`` in any one unit of pressure."""
    finite(differential, of="differential pressure")
    density = air_density(air)
    factor = into_reference_air(density, reference=reference)
    value = differential * factor
    own = factor * positive(u, of="uncertainty of the differential pressure", or_zero=True)
    return Normalised(value=value, u=math.hypot(own, value * density.u / density.value))


def as_read_in(normalised_value: float, *, air: Air, reference: float = REFERENCE_DENSITY) -> float:
    """Return what the room's air would give: the inverse of ``normalised``, in the same unit."""
    finite(normalised_value, of="normalised differential pressure")
    return normalised_value / into_reference_air(air_density(air), reference=reference)


def _density(celsius: float, pressure: float, humidity: float, carbon_dioxide: float) -> float:
    kelvin = celsius + 273.15
    dry = (28.96546 + 12.011 * (carbon_dioxide - 0.0004)) * 1e-3
    vapour = humidity * _enhancement(celsius, pressure) * _saturation_pressure(kelvin) / pressure
    compressibility = _compressibility(celsius, kelvin, pressure, vapour)
    return pressure * dry / (compressibility * _GAS_CONSTANT * kelvin) * (1 - vapour * (1 - _WATER / dry))


def _saturation_pressure(kelvin: float) -> float:
    """Pa, of water vapour. CIPM-2007 annex A1.1."""
    return math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)


def _enhancement(celsius: float, pressure: float) -> float:
    """CIPM-2007 annex A1.2."""
    return 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2


def _compressibility(celsius: float, kelvin: float, pressure: float, vapour: float) -> float:
    """CIPM-2007 annex A1.4."""
    per_kelvin = pressure / kelvin
    first = (
        1.58123e-6
        - 2.9331e-8 * celsius
        + 1.1043e-10 * celsius**2
        + (5.707e-6 - 2.051e-8 * celsius) * vapour
        + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
    )
    return 1 - per_kelvin * first + per_kelvin**2 * (1.83e-11 - 0.765e-8 * vapour**2)


def _slope(air: Air, *, celsius: float = 0.0, pressure: float = 0.0, humidity: float = 0.0) -> float:
    """Return the density's slope along the one input whose step is given."""
    above = _density(
        air.celsius + celsius, air.pressure + pressure, air.humidity + humidity, air.carbon_dioxide
    )
    below = _density(
        air.celsius - celsius, air.pressure - pressure, air.humidity - humidity, air.carbon_dioxide
    )
    return (above - below) / (2 * (celsius + pressure + humidity))
