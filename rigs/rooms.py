"""The room's air as somebody read it, and the density that follows."""

import math
from dataclasses import dataclass
from typing import Any

from rigs.metrology.environment import Air, Density, air_density
from rigs.models import RoomConditions

# Usual accuracies of a room's instruments, half-widths taken as rectangular: ±1 °C, ±2 mbar, ±10 % relative
# humidity (common practice, no source). A humidity that wasn't read lies between 20 and 80 %.
CELSIUS_U = 1.0 / math.sqrt(3)
PRESSURE_U = 200.0 / math.sqrt(3)
HUMIDITY_U = 0.10 / math.sqrt(3)
HUMIDITY_NOT_READ, HUMIDITY_NOT_READ_U = 0.5, 0.3 / math.sqrt(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """°C, Pa, relative humidity from 0 to 1. Each ``_u`` is a standard uncertainty, None for the usual one.

    Raises SampleError for what no room has: a unit mistaken.
    """

    celsius: float
    pressure: float
    humidity: float | None = None
    celsius_u: float | None = None
    pressure_u: float | None = None
    humidity_u: float | None = None

    def __post_init__(self) -> None:
        _ = self.air

    @property
    def air(self) -> Air:
        return Air(
            celsius=self.celsius,
            pressure=self.pressure,
            humidity=HUMIDITY_NOT_READ if self.humidity is None else self.humidity,
            celsius_u=_or_usual(self.celsius_u, CELSIUS_U),
            pressure_u=_or_usual(self.pressure_u, PRESSURE_U),
            humidity_u=HUMIDITY_NOT_READ_U
            if self.humidity is None
            else _or_usual(self.humidity_u, HUMIDITY_U),
        )

    @property
    def columns(self) -> dict[str, Any]:
        """What a row of `RoomConditions` keeps of it."""
        return {
            "room_temperature": self.celsius,
            "air_pressure": self.pressure,
            "relative_humidity": self.humidity,
            "room_temperature_u": self.celsius_u,
            "air_pressure_u": self.pressure_u,
            "relative_humidity_u": self.humidity_u,
        }


def room_of(row: RoomConditions) -> Room | None:
    """The room as it was recorded; None where nobody read it."""
    if row.room_temperature is None or row.air_pressure is None:
        return None
    return Room(
        celsius=row.room_temperature,
        pressure=row.air_pressure,
        humidity=row.relative_humidity,
        celsius_u=row.room_temperature_u,
        pressure_u=row.air_pressure_u,
        humidity_u=row.relative_humidity_u,
    )


def density_of(row: RoomConditions) -> Density | None:
    room = room_of(row)
    return None if room is None else air_density(room.air)


def _or_usual(u: float | None, usual: float) -> float:
    return usual if u is None else u
