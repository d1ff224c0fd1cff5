"""The air of the room that rigs are read in."""

from typing import ClassVar

from django.db import models
from django.db.models import Q


class RoomConditions(models.Model):
    """°C, Pa, and a relative humidity from 0 to 1; each ``_u`` is a standard uncertainty in the same unit.

    Nobody has to read them. Temperature and pressure come together, for a density follows from both;
    humidity may be left out. An empty uncertainty is the usual one of such an instrument (`rigs.rooms`).
    """

    room_temperature = models.FloatField(null=True, blank=True, help_text="°C")
    air_pressure = models.FloatField(null=True, blank=True, help_text="Pa")
    relative_humidity = models.FloatField(null=True, blank=True, help_text="0 to 1")
    room_temperature_u = models.FloatField(null=True, blank=True, help_text="°C")
    air_pressure_u = models.FloatField(null=True, blank=True, help_text="Pa")
    relative_humidity_u = models.FloatField(null=True, blank=True, help_text="0 to 1")

    class Meta:
        abstract = True
        constraints: ClassVar[tuple[models.BaseConstraint, ...]] = (
            models.CheckConstraint(
                condition=Q(room_temperature=None, air_pressure=None, relative_humidity=None)
                | Q(room_temperature__isnull=False, air_pressure__isnull=False),
                name="a_room_of_a_%(class)s_has_temperature_and_pressure",
            ),
        )

    @property
    def has_room(self) -> bool:
        return self.room_temperature is not None
