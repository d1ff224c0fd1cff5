"""A line of a working, how its figures are written, and several workings side by side."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from academy.strip import number
from assessments.marking.numbers import InstrumentNumbers
from assessments.marking.results import ReadingMark
from assessments.strips import figures_and_unit
from rigs.metrology.quantities import SI_UNIT, Quantity, from_si, si_factor

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"
MOST_DECIMALS = 6
GUARD = 1
"""Digits kept beyond the second one of an uncertainty, so that the rest comes out the same (GUM 7.2.6)."""
PLAIN = frozenset({"", SI_UNIT[Quantity.DIMENSIONLESS]})


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingLine:
    """A quantity, its symbol as in the GUM, its figure with unit, and where it comes from."""

    label: str
    symbol: str
    figure: str
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingRow:
    """The same line of several readings, with a figure each: empty for a reading that has no such line."""

    label: str
    symbol: str
    source: str
    figures: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How figures are written: in ``unit``, down to ``decimals``. They come in SI, or are in it already."""

    unit: str
    decimals: int
    from_si: bool = True

    @classmethod
    def to_second_digit(cls, u: float, *, unit: str, from_si: bool = True) -> "Scale":
        """Down to the second digit of an uncertainty."""
        in_unit = u / si_factor(unit) if from_si else u
        decimals = max(0, 1 - math.floor(math.log10(in_unit))) if in_unit > 0 else 0
        return cls(unit=unit, decimals=decimals, from_si=from_si)

    def value(self, value: float) -> float:
        return from_si(value, unit=self.unit) if self.from_si else value

    def difference(self, width: float) -> float:
        return width / si_factor(self.unit) if self.from_si else width

    def level(self, value: float, *, guard: int = 0) -> str:
        return with_unit(number(self.value(value), self.decimals + guard), self.unit)

    def width(self, width: float) -> str:
        """With a digit more: widths are worked with further."""
        return with_unit(number(self.difference(width), self.decimals + GUARD), self.unit)

    def span(self, lower: float, upper: float) -> str:
        ends = (number(self.value(end), self.decimals) for end in (lower, upper))
        return with_unit(" to ".join(ends), self.unit)

    def comparison(self, *values: float, signs: Sequence[str], are_widths: bool = False) -> str:
        """Values with signs between them, with digits enough to tell them apart."""
        shown = [self.difference(each) if are_widths else self.value(each) for each in values]
        return with_unit(compared(*shown, signs=signs, decimals=self.decimals + GUARD), self.unit)


def with_unit(figures: str, unit: str) -> str:
    return figures if unit in PLAIN else f"{figures}{NARROW_SPACE}{unit}"


def compared(*values: float, signs: Sequence[str], decimals: int) -> str:
    """`1.64 ≤ 2.13`, with the fewest decimals, from some up, at which different values look different."""
    while decimals < MOST_DECIMALS and any(
        one != other and number(one, decimals) == number(other, decimals) for one, other in pairwise(values)
    ):
        decimals += 1
    first, *others = (number(each, decimals) for each in values)
    return " ".join([first, *(f"{sign} {each}" for sign, each in zip(signs, others, strict=True))])


def line(label: str, symbol: str, figure: str, source: str = "") -> WorkingLine:
    return WorkingLine(label=label, symbol=symbol, figure=figure, source=source)


def as_typed(mark: ReadingMark, *, label: str = "Reading", symbol: str = "y") -> WorkingLine:
    return line(
        label,
        symbol,
        NARROW_SPACE.join(filter(None, figures_and_unit(mark.shown, unit=mark.unit))),
        "as typed",
    )


def instrument_lines(instrument: InstrumentNumbers, scale: Scale) -> Iterable[WorkingLine]:
    """From the specification to the two parts of the instrument's uncertainty."""
    certificate = f", certificate {instrument.certificate}" if instrument.certificate else ""
    yield line("Instrument", "", f"{instrument.tag}{certificate}")
    yield line("Its specification", "", specification(instrument), "of the range it was read on")
    yield line(
        "Half-width of that here",
        "a",
        scale.width(instrument.half_width),
        "% of the reading + % of full scale + digits",
    )
    yield line(
        "Accuracy", "a/√3", scale.width(instrument.half_width / math.sqrt(3)), "rectangular, GUM 4.3.7"
    )
    display = instrument.resolution * si_factor(instrument.unit) / math.sqrt(12)
    yield line("Display", "r/√12", scale.width(display), "half a digit either way, GUM F.2.2.1")


def specification(instrument: InstrumentNumbers) -> str:
    """`±(0.5 % of reading + 1 digit of 0.01 mbar), up to 20 mbar`."""
    digit = "digit" if instrument.counts == 1 else "digits"
    resolution = with_unit(f"{instrument.resolution:g}", instrument.unit)
    parts = (
        (instrument.percent_reading, f"{instrument.percent_reading:g} % of reading"),
        (instrument.percent_full_scale, f"{instrument.percent_full_scale:g} % of full scale"),
        (instrument.counts, f"{instrument.counts:g} {digit} of {resolution}"),
    )
    known = " + ".join(text for size, text in parts if size) or "0"
    digits = "" if instrument.counts else f", digits of {resolution}"
    return f"±({known}){digits}, up to {with_unit(f'{instrument.full_scale:g}', instrument.unit)}"


def side_by_side(workings: Sequence[Sequence[WorkingLine]]) -> tuple[WorkingRow, ...]:
    """The workings of several readings as the rows of one table, each reading's lines in their order."""
    keys: list[tuple[str, str, str]] = []
    for working in workings:
        place = 0
        for each in working:
            key = _key(each)
            if key not in keys:
                keys.insert(place, key)
            place = keys.index(key) + 1
    figures = [{_key(each): each.figure for each in working} for working in workings]
    return tuple(
        WorkingRow(
            label=key[0], symbol=key[1], source=key[2], figures=tuple(each.get(key, "") for each in figures)
        )
        for key in keys
    )


def _key(each: WorkingLine) -> tuple[str, str, str]:
    return each.label, each.symbol, each.source
