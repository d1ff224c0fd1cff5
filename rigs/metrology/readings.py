"""A reading as it was typed: its text, its value in the unit typed, and the digits that were given.

What a person writes down is evidence, so the parser guesses nothing: where a text can be read in two ways
it is refused, with a message that says how to type it.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from rigs.metrology.quantities import UNITS, Qualifier, Quantity, UnitError, to_si, unit_quantity, width_to_si
from rigs.metrology.uncertainty import last_place

MOST_CHARACTERS: Final = 60
MOST_DIGITS: Final = 12
LARGEST_EXPONENT: Final = 12


class ReadingError(ValueError):
    """A text that is not a reading. The message is in the user's words and says what to type."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """A value, or why there is none: then `value` and `resolution` are None.

    `resolution` is 10^-decimals in `unit`: of the digits typed, not of the display.
    """

    text: str
    quantity: Quantity
    qualifier: Qualifier
    value: Decimal | None = None
    unit: str | None = None
    resolution: Decimal | None = None

    @property
    def si_value(self) -> float | None:
        if self.value is None or self.unit is None:
            return None
        return to_si(self.value, unit=self.unit)

    @property
    def si_resolution(self) -> float | None:
        if self.resolution is None or self.unit is None:
            return None
        return width_to_si(self.resolution, unit=self.unit)


# Besides the label itself. Upper and lower case are kept apart, because M is a million and m a thousandth.
_SPELLINGS: Mapping[str, tuple[str, ...]] = {
    "mbar": ("mb", "mBar", "Mbar", "MBAR", "millibar", "millibars"),
    "Pa": ("pa", "PA", "pascal", "pascals"),
    "hPa": ("hpa", "HPa", "HPA"),
    "kPa": ("kpa", "KPa", "KPA"),
    "bar": ("Bar", "BAR"),
    "mmH2O": ("mmh2o", "mmwg", "mmWG"),
    "inH2O": ("inh2o", "inwg", "inWG", "inwc", "inWC"),
    "psi": ("Psi", "PSI"),
    "Ω": ("R", "ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS"),
    "kΩ": ("KΩ", "k", "K", "kohm", "kohms", "Kohm", "kOhm", "KOhm"),
    "MΩ": ("M", "Mohm", "Mohms", "MOhm", "megohm", "megohms"),
    "V": ("v", "volt", "volts", "Volt", "Volts", "VAC", "Vac", "VDC", "Vdc"),
    "mV": ("mv",),
    "A": ("a", "amp", "amps", "Amp", "Amps"),
    "mA": ("ma",),
    "µA": ("uA", "ua"),
    "°C": ("C", "c", "degC", "oC"),
    "K": ("k", "kelvin"),
    "°F": ("F", "f", "degF", "oF"),
    "s": ("S", "sec", "secs", "second", "seconds"),
    "min": ("Min", "mins", "minute", "minutes"),
    "h": ("hr", "hrs", "hour", "hours"),
    "m³": ("M3", "cum"),
    "ft³": ("Ft3", "cuft"),
    "l": ("L", "ltr", "litre", "litres", "liter", "liters"),
    "m³/h": ("m3/hr",),
    "ft³/h": ("ft3/hr",),
    "l/s": ("L/s",),
    "l/min": ("L/min",),
    "kW": ("kw", "KW", "Kw"),
    "W": ("w", "watt", "watts"),
    "Hz": ("hz", "HZ"),
    "kHz": ("khz", "KHz"),
    "%": ("percent",),
}


def _folded(text: str) -> str:
    """One spelling for look-alikes: Ω of either code point, ³ and 3, with or without spaces."""
    return unicodedata.normalize("NFKC", text).replace(" ", "").rstrip(".")


_UNIT_OF: Mapping[Quantity, Mapping[str, str]] = {
    quantity: {_folded(text): unit for unit in units for text in (unit, *_SPELLINGS.get(unit, ()))}
    for quantity, units in UNITS.items()
}

_NOT_VALUES: Mapping[str, Qualifier] = {
    "unstable": Qualifier.UNSTABLE,
    "not stable": Qualifier.UNSTABLE,
    "fluctuating": Qualifier.UNSTABLE,
    "not obtained": Qualifier.NOT_OBTAINED,
    "could not be obtained": Qualifier.NOT_OBTAINED,
    "couldn't be obtained": Qualifier.NOT_OBTAINED,
    "couldn't get it": Qualifier.NOT_OBTAINED,
    "can't get it": Qualifier.NOT_OBTAINED,
    "not attempted": Qualifier.NOT_ATTEMPTED,
    "not done": Qualifier.NOT_ATTEMPTED,
}

_OBSERVATIONS: Mapping[str, Qualifier] = {
    "tone": Qualifier.TONE,
    "beep": Qualifier.TONE,
    "no tone": Qualifier.NO_TONE,
    "no beep": Qualifier.NO_TONE,
    "open": Qualifier.OPEN,
    "closed": Qualifier.CLOSED,
    **_NOT_VALUES,
}

_DASHES = "\N{MINUS SIGN}\N{EN DASH}\N{HYPHEN}\N{NON-BREAKING HYPHEN}\N{FULLWIDTH HYPHEN-MINUS}"
_INVISIBLE = "\N{ZERO WIDTH SPACE}\N{WORD JOINER}\N{ZERO WIDTH NO-BREAK SPACE}\N{LEFT-TO-RIGHT MARK}"
_AS_TYPED_ON_A_KEYBOARD = str.maketrans(
    dict.fromkeys(_DASHES, "-") | dict.fromkeys(_INVISIBLE) | {"\N{RIGHT SINGLE QUOTATION MARK}": "'"},
)

_OVER_LIMIT = re.compile(r"[+-]?\s?(?:\.?o\.?l\.?|over(?:[ -]?(?:limit|load|range))?|∞)", re.IGNORECASE)
_ZERO_FOR_O = re.compile(r"[+-]?\s?\.?0\.?l\.?", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?\s?[0-9.,](?:[0-9.,' ]*[0-9.,])?(?:[eE][+-]?[0-9]+)?")
_GROUPED_IN_THREES = re.compile(r"[0-9]{1,3}(?: [0-9]{3})*(?:[.,](?:[0-9]{3} )*[0-9]{0,3})?")
_ONE_WITH_BLANKS = re.compile(r"1 [.,]")
_THOUSAND_OR_THOUSANDTH = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")


def parse(text: str, *, quantity: Quantity, unit: str) -> TypedReading:
    """What was typed for a reading of `quantity`, where `unit` is the one chosen beside it.

    A point or a comma marks the decimals. A unit typed after the number wins over `unit`. Over-limit (as
    displays show it: OL, 0L, O.L), unstable, not obtained and not attempted are results without a value.
    Raises ReadingError.
    """
    _require_same_kind(unit, quantity)
    cleaned = _cleaned(text)
    if qualifier := _NOT_VALUES.get(cleaned.lower()):
        return TypedReading(text=text, quantity=quantity, qualifier=qualifier)
    if (over_unit := _over_limit_unit(cleaned, quantity)) is not None:
        return TypedReading(
            text=text, quantity=quantity, qualifier=Qualifier.OVER_LIMIT, unit=over_unit or unit
        )
    match = _NUMBER.match(cleaned)
    if match is None:
        raise ReadingError(f"{_quoted(cleaned)} is text where a number belongs. Type what the display shows.")
    value = _decimal(match.group())
    return TypedReading(
        text=text,
        quantity=quantity,
        qualifier=Qualifier.VALUE,
        value=value,
        unit=_typed_unit(cleaned[match.end() :].strip(), quantity) or unit,
        resolution=last_place(value),
    )


def parse_observation(text: str) -> Qualifier:
    """A tone, a contact seen open or closed, or why there is none. Raises ReadingError."""
    cleaned = _cleaned(text)
    try:
        return _OBSERVATIONS[cleaned.lower()]
    except KeyError:
        raise ReadingError(
            f"{_quoted(cleaned)} is not an observation. Choose tone, no tone, open or closed.",
        ) from None


def _cleaned(text: str) -> str:
    if len(text) > MOST_CHARACTERS:
        raise ReadingError(f"That is too long for a reading: {MOST_CHARACTERS} characters are the most.")
    cleaned = " ".join(text.translate(_AS_TYPED_ON_A_KEYBOARD).split())
    if not cleaned:
        raise ReadingError("Nothing is written here. Type what the display shows.")
    return cleaned


def _quoted(text: str) -> str:
    return f"“{text}”" if len(text) <= 20 else f"“{text[:20]}…”"


def _require_same_kind(unit: str, quantity: Quantity) -> None:
    try:
        found = unit_quantity(unit)
    except UnitError as error:
        raise ReadingError(str(error)) from None
    if found is not quantity:
        raise ReadingError(f"{unit} is {found.words}; this reading is {quantity.words}.")


def _over_limit_unit(cleaned: str, quantity: Quantity) -> str | None:
    """None when this is not an over-limit mark; else the unit typed after it, or an empty text."""
    match = _OVER_LIMIT.match(cleaned)
    # "0 l" is no litres.
    if match is None and quantity not in {Quantity.VOLUME, Quantity.VOLUME_FLOW}:
        match = _ZERO_FOR_O.match(cleaned)
    if match is None:
        return None
    rest = cleaned[match.end() :].strip()
    if rest and not any(_folded(rest) in units for units in _UNIT_OF.values()):
        return None
    return _typed_unit(rest, quantity) or ""


def _typed_unit(text: str, quantity: Quantity) -> str | None:
    if not text:
        return None
    folded = _folded(text)
    if unit := _UNIT_OF[quantity].get(folded):
        return unit
    for other, units in _UNIT_OF.items():
        if folded in units:
            raise ReadingError(f"{units[folded]} is {other.words}; this reading is {quantity.words}.")
    known = ", ".join(UNITS[quantity])
    raise ReadingError(f"{_quoted(text)} is not a unit for {quantity.words}. Use one of: {known}.")


def _decimal(text: str) -> Decimal:
    number, _, exponent = text.lower().partition("e")
    sign = "-" if number.startswith("-") else ""
    digits = _plain_digits(number.lstrip("+- "))
    significant = digits.replace(".", "").lstrip("0")
    if len(significant) > MOST_DIGITS:
        raise ReadingError(
            f"{_quoted(text)} has {len(significant)} digits. A reading has at most {MOST_DIGITS}.",
        )
    if exponent and len(exponent.lstrip("+-0")) > 2:
        raise ReadingError(f"{_quoted(text)} is too large or too small to be a reading.")
    value = Decimal(f"{sign}{digits}" + (f"e{exponent}" if exponent else ""))
    if value and abs(value.adjusted()) > LARGEST_EXPONENT:
        raise ReadingError(f"{_quoted(text)} is too large or too small to be a reading.")
    return value


def _plain_digits(number: str) -> str:
    """Digits with at most one point. Raises ReadingError where the marks can be read in two ways."""
    if not any(character.isdigit() for character in number):
        raise ReadingError(f"{_quoted(number)} has no digits in it. Type what the display shows.")
    if ("," in number and "." in number) or "'" in number:
        raise ReadingError(f"{_quoted(number)} has a thousands mark. Type it without: 1234.5, not 1,234.5.")
    if number.count(".") + number.count(",") > 1:
        raise ReadingError(f"{_quoted(number)} has two decimal marks. Type it with one.")
    if _THOUSAND_OR_THOUSANDTH.fullmatch(number):
        whole, decimals = number.split(",")
        raise ReadingError(
            f"{_quoted(number)} can be read as {whole}{decimals} or as {whole}.{decimals}. Type which one.",
        )
    if _ONE_WITH_BLANKS.fullmatch(number):
        raise ReadingError(
            f"{_quoted(number)} can be 1, or a display over its limit (a 1 at the left). Type 1 or OL.",
        )
    if " " in number and not _GROUPED_IN_THREES.fullmatch(number):
        raise ReadingError(f"{_quoted(number)} has a space inside it. Type the digits together.")
    return number.replace(",", ".").replace(" ", "")
