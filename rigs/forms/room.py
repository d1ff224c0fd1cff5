from collections.abc import Mapping
from math import sqrt
from typing import Any, ClassVar

from crispy_forms.bootstrap import AppendedText
from crispy_forms.layout import HTML, LayoutObject, Row
from django import forms

from rigs.fields import FigureField
from rigs.forms.layout import More
from rigs.metrology.samples import SampleError
from rigs.rooms import Room

PASCALS_A_MBAR = 100.0
PERCENT = 100.0


class RoomFields(forms.Form):
    """The room's air, if somebody reads it: °C, mbar and %, and how accurate what it was read with is.

    An accuracy is a half-width, as a data sheet states it; u = a/√3.
    """

    room_names: ClassVar[tuple[str, ...]] = (
        "room_temperature",
        "air_pressure",
        "relative_humidity",
        "room_temperature_accuracy",
        "air_pressure_accuracy",
        "relative_humidity_accuracy",
    )

    def add_room(self, *, initial: Mapping[str, Any] | None = None) -> None:
        """Add the fields. ``initial`` is what the run before was read in."""
        given = initial or {}
        fields = {
            "room_temperature": _within("Temperature", -10, 50, unit="°C", signed=True),
            "air_pressure": _within(
                "Air pressure",
                600,
                1100,
                unit="mbar",
                help_text="As the barometer shows it here: not reduced to sea level.",
            ),
            "relative_humidity": _within("Relative humidity", 0, 100, unit="%"),
            "room_temperature_accuracy": FigureField(label="Thermometer, ±", required=False, min_value=0),
            "air_pressure_accuracy": FigureField(label="Barometer, ±", required=False, min_value=0),
            "relative_humidity_accuracy": FigureField(label="Hygrometer, ±", required=False, min_value=0),
        }
        for name, field in fields.items():
            field.initial = given.get(name)
            self.fields[name] = field

    @property
    def asks_for_room(self) -> bool:
        return self.room_names[0] in self.fields

    def room_layout(self) -> LayoutObject:
        """Fold the fields away until one is filled in or wrong."""
        values = [self[name].value() for name in self.room_names]
        units = ("°C", "mbar", "%") * 2
        boxes = [AppendedText(name, unit) for name, unit in zip(self.room_names, units, strict=True)]
        return More(
            "The room, if you read it",
            Row(*boxes[:3]),
            HTML(
                '<p class="note">Accuracies as their data sheets state them. '
                "Left empty: ±1 °C, ±2 mbar and ±10 %.</p>"
            ),
            Row(*boxes[3:]),
            is_open=any(value not in {None, ""} for value in values)
            or any(name in self.errors for name in self.room_names),
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.asks_for_room:
            self._clean_room(cleaned)
        return cleaned

    @property
    def room(self) -> Room | None:
        """What was read; None if nothing was. Call it on a valid form."""
        return self.cleaned_data.get("room")

    @property
    def accuracies(self) -> dict[str, float]:
        """Those that were typed, to be offered again."""
        typed = {name: self.cleaned_data.get(name) for name in self.room_names[3:]}
        return {name: value for name, value in typed.items() if value is not None}

    def _clean_room(self, cleaned: dict[str, Any]) -> None:
        celsius, mbar, humidity = (cleaned.get(name) for name in self.room_names[:3])
        if any(name in self.errors for name in self.room_names):
            return
        if celsius is None and mbar is None and humidity is None:
            cleaned["room"] = None
            return
        if celsius is None or mbar is None:
            missing = "room_temperature" if celsius is None else "air_pressure"
            self.add_error(missing, "Temperature and pressure go together: a density follows from both.")
            return
        accuracies = [cleaned.get(name) for name in self.room_names[3:]]
        u = [None if half_width is None else half_width / sqrt(3) for half_width in accuracies]
        try:
            cleaned["room"] = Room(
                celsius=celsius,
                pressure=mbar * PASCALS_A_MBAR,
                humidity=None if humidity is None else humidity / PERCENT,
                celsius_u=u[0],
                pressure_u=None if u[1] is None else u[1] * PASCALS_A_MBAR,
                humidity_u=None if u[2] is None else u[2] / PERCENT,
            )
        except SampleError as error:
            self.add_error(None, str(error))


def _within(label: str, low: float, high: float, *, unit: str, **options: Any) -> FigureField:
    shown = unit.replace("%", "%%")  # Django fills figures into messages
    message = f"Give {label.lower()} in {shown}: {low} to {high}."
    return FigureField(
        label=label,
        required=False,
        min_value=low,
        max_value=high,
        error_messages={"min_value": message, "max_value": message},
        **options,
    )
