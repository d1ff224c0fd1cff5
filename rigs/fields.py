"""Form fields that take what a person reads off a display, and keep it as they typed it."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import MOST_CHARACTERS, ReadingError, TypedReading, parse

MISSING = "Nothing is written here. Type what the display shows."

# A keypad of digits has no minus and no OL: a reading that may be either needs the whole keyboard.
DIGITS = {"inputmode": "decimal", "autocomplete": "off", "enterkeyhint": "next"}
LETTERS_TOO = DIGITS | {"inputmode": "text", "autocapitalize": "characters"}

THOUSAND_OR_THOUSANDTH = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


def typed(text: str, *, quantity: Quantity, unit: str) -> TypedReading:
    """Read what was typed in `unit`. Raises ValidationError, which says what to type instead."""
    try:
        return parse(text, quantity=quantity, unit=unit)
    except ReadingError as error:
        raise ValidationError(str(error), code="reading") from error


class TypedReadingField(forms.CharField):
    """One reading of `quantity`, cleaned to a TypedReading; in `unit` unless another one is typed.

    `letters` asks for the whole keyboard, for a reading that may be negative or over-limit.
    """

    default_error_messages = {"required": MISSING}

    def __init__(self, *, quantity: Quantity, unit: str, letters: bool = False, **options: Any) -> None:
        # As typed is evidence, spaces and all; the parser looks past them.
        widget = forms.TextInput(attrs=LETTERS_TOO if letters else DIGITS)
        super().__init__(widget=widget, strip=False, max_length=MOST_CHARACTERS, **options)
        self.quantity = quantity
        self.unit = unit

    def clean(self, value: Any) -> Any:
        """Return a TypedReading, or None where nothing was typed and nothing is required."""
        text = super().clean(value)
        return typed(text, quantity=self.quantity, unit=self.unit) if text else None

    def prepare_value(self, value: Any) -> Any:
        return value.text if isinstance(value, TypedReading) else value


class FigureField(forms.FloatField):
    """A figure copied from a data sheet or a certificate, with a point or a comma for the decimals."""

    default_error_messages = {"invalid": "Type a plain number, such as 0.05."}

    def __init__(self, *, signed: bool = False, **options: Any) -> None:
        widget = forms.TextInput(attrs=LETTERS_TOO if signed else DIGITS)
        super().__init__(widget=widget, **options)

    def to_python(self, value: Any) -> float | None:
        if isinstance(value, str):
            value = value.strip().replace("\N{MINUS SIGN}", "-")
            if "." not in value and not THOUSAND_OR_THOUSANDTH.fullmatch(value):
                value = value.replace(",", ".", 1)
        number: float | None = super().to_python(value)
        return number
