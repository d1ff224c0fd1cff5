"""The strip: one reading drawn against its expected range, on a scale of its own.

Everything here is arithmetic. Places along the scale are percentages of the drawing's width, so that the same
drawing fits a phone, a wide table and a document while its lettering keeps its size.
"""

import math
from dataclasses import dataclass
from typing import TypeGuard

from academy.marks import mark

LEFT, RIGHT = 2.0, 98.0
"""Where the scale begins and ends, in percent, when nothing lies beyond it."""
BROKEN = 86.0
"""Where it ends on the side on which a reading lies beyond it; the break and the reading share the rest."""
BEYOND = 96.5
"""Where such a reading is drawn."""
REACH = 3.0
"""How many widths of the range the scale stretches to take in a reading outside it before it is broken."""
_PADDING = 0.4
_LABELS = 3.0
"""The least number of round numbers on a scale; up to two and a half times as many, by where steps fall."""
_LONG_LABELS = 1.6
_LONG_LABEL = 6


class StripError(ValueError):
    """The numbers given make no scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of the drawing, in percent of its width; open where a limit is absent, up to the end."""

    left: float
    right: float
    open_left: bool = False
    open_right: bool = False

    @property
    def width(self) -> float:
        return round(self.right - self.left, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    x: float
    label: str
    anchor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A reading's drawing.

    ``unit`` is empty where the reading is a word, such as OL, and ``range_unit`` never is.
    ``off`` is "below" or "above" for a reading beyond the break in the scale.
    """

    text: str
    uncertainty: str
    unit: str
    range_unit: str
    expected: str
    verdict: str
    axis: Span
    ticks: tuple[Tick, ...]
    band: Span | None
    edges: tuple[Span, ...]
    reading: float | None
    whisker: Span | None
    off: str

    @property
    def description(self) -> str:
        """The drawing in words, for those who don't see it."""
        return _described(self)

    @classmethod
    def build(
        cls,
        *,
        value: float | None,
        u: float | None,
        lower: float | None,
        upper: float | None,
        unit: str,
        digits: int,
        verdict: str,
        outer_lower: float | None = None,
        outer_upper: float | None = None,
        text: str = "",
    ) -> "Strip":
        """Lay out a reading.

        All numbers are in ``unit``. ``u`` is the half-width to draw about the reading: its expanded
        uncertainty. ``lower`` and ``upper`` bound the expected range and may be None, or infinite, on a side
        without a limit; the borderline zones run from there to ``outer_lower`` and ``outer_upper``.
        ``value`` is None where there is no number, infinite for a display over its limit; ``text`` is the
        reading as typed. ``digits`` are the decimals that the display shows.
        Raises StripError for NaN, a negative ``u`` or limits out of order.
        """
        limits = _Limits.ordered(outer_lower, lower, upper, outer_upper)
        value, u = _checked(value, u)
        off, scale = _scale(value, u or 0.0, limits, step=10.0**-digits)
        measured = _is_finite(value)
        written = text or (number(value, digits) if _is_finite(value) else "")
        spread = number(_up(u, digits), digits) if u and measured else ""
        expected = _expected(limits, digits)
        return cls(
            text=written,
            uncertainty=spread,
            unit=unit if measured else "",
            range_unit=unit,
            expected=expected,
            verdict=str(verdict),
            axis=Span(left=scale.left, right=scale.right),
            ticks=scale.ticks(finest=10.0**-digits) if limits.finite or measured else (),
            band=scale.band(limits.lower, limits.upper),
            edges=scale.edges(limits),
            reading=_place(value, off, scale),
            whisker=None if off or not u or value is None else scale.span(value - u, value + u),
            off=off,
        )


def number(value: float, digits: int) -> str:
    """Write a number with a true minus, and narrow spaces between thousands from 10 000 up."""
    written = f"{value:,.{digits}f}"
    if abs(value) < 10_000:
        written = written.replace(",", "")
    if not written.strip("-0.,"):
        written = written.lstrip("-")
    return written.replace(",", "\N{NARROW NO-BREAK SPACE}").replace("-", "\N{MINUS SIGN}")


def _is_finite(value: float | None) -> TypeGuard[float]:
    return value is not None and math.isfinite(value)


def _up(u: float, digits: int) -> float:
    """Round an uncertainty up to the reading's last digit, so that it is never understated."""
    return math.ceil(u * 10.0**digits * (1 - 1e-9)) / 10.0**digits


@dataclass(frozen=True, slots=True)
class _Limits:
    outer_lower: float | None
    lower: float | None
    upper: float | None
    outer_upper: float | None

    @classmethod
    def ordered(cls, *limits: float | None) -> "_Limits":
        if any(limit is not None and math.isnan(limit) for limit in limits):
            raise StripError("A limit of the range is not a number.")
        present = [limit for limit in limits if limit is not None]
        if present != sorted(present):
            raise StripError("The limits of the range are out of order.")
        return cls(*(limit if _is_finite(limit) else None for limit in limits))

    @property
    def finite(self) -> list[float]:
        return [x for x in (self.outer_lower, self.lower, self.upper, self.outer_upper) if x is not None]


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float
    left: float = LEFT
    right: float = RIGHT

    def place(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.left + share * (self.right - self.left), 2)

    def span(self, low: float | None, high: float | None) -> Span:
        return Span(
            left=0.0 if low is None else self.place(low),
            right=100.0 if high is None else self.place(high),
            open_left=low is None,
            open_right=high is None,
        )

    def band(self, lower: float | None, upper: float | None) -> Span | None:
        return None if lower is None and upper is None else self.span(lower, upper)

    def edges(self, limits: _Limits) -> tuple[Span, ...]:
        pairs = ((limits.outer_lower, limits.lower), (limits.upper, limits.outer_upper))
        return tuple(self.span(a, b) for a, b in pairs if a is not None and b is not None and a < b)

    def ticks(self, *, finest: float) -> tuple[Tick, ...]:
        """Round numbers along the scale, no closer together than the display's last digit."""
        step, digits = _round_step((self.high - self.low) / _LABELS, finest=finest)
        if max(len(number(end, digits)) for end in (self.low, self.high)) > _LONG_LABEL:
            step, digits = _round_step((self.high - self.low) / _LONG_LABELS, finest=finest)
        first, last = math.ceil(self.low / step), math.floor(self.high / step)
        return tuple(self._tick(i * step, digits) for i in range(first, last + 1))

    def _tick(self, value: float, digits: int) -> Tick:
        x = self.place(value)
        anchor = "start" if x < LEFT + 4 else "end" if x > RIGHT - 4 else "middle"
        return Tick(x=x, label=number(value, digits), anchor=anchor)


def _round_step(at_most: float, *, finest: float) -> tuple[float, int]:
    """The largest of 1, 2, 5 times a power of ten up to ``at_most``, or to ``finest``; and its decimals."""
    at_most = max(at_most, finest) * (1 + 1e-9)
    power = math.floor(math.log10(at_most))
    factor = max(f for f in (1, 2, 5) if f == 1 or f * 10.0**power <= at_most)
    return factor * 10.0**power, max(0, -power)


def _checked(value: float | None, u: float | None) -> tuple[float | None, float | None]:
    if value is not None and math.isnan(value):
        raise StripError("The reading is not a number.")
    if u is not None and not (math.isfinite(u) and u >= 0):
        raise StripError("The reading's uncertainty is negative or not a number.")
    return value, u


def _frame(value: float | None, limits: _Limits, *, step: float) -> tuple[float, float]:
    """The stretch that the scale must show: the limits, or what stands in for those that are absent."""
    known = limits.finite or ([value] if _is_finite(value) else [0.0])
    low, high = min(known), max(known)
    least = max(4 * step, 1e-9 * max(abs(low), abs(high)))
    if not limits.finite:
        least = max(least, 0.2 * abs(high))
    elif limits.lower is None:
        low -= max(least, abs(low))
    elif limits.upper is None:
        high += max(least, abs(high))
    short = max(0.0, least - (high - low)) / 2
    return low - short, high + short


def _scale(value: float | None, u: float, limits: _Limits, *, step: float) -> tuple[str, _Scale]:
    low, high = _frame(value, limits, step=step)
    width = high - low
    base = (low - _PADDING * width, high + _PADDING * width)
    if value is None:
        return "", _Scale(*base)
    if value > high + REACH * width:
        return "above", _Scale(*base, right=BROKEN)
    if value < low - REACH * width:
        return "below", _Scale(*base, left=100 - BROKEN)
    u = min(u, REACH * width)
    margin = 0.1 * width
    return "", _Scale(min(base[0], value - u - margin), max(base[1], value + u + margin))


def _place(value: float | None, off: str, scale: _Scale) -> float | None:
    if value is None:
        return None
    if off:
        return BEYOND if off == "above" else 100 - BEYOND
    return scale.place(value)


def _expected(limits: _Limits, digits: int) -> str:
    lower, upper = limits.lower, limits.upper
    if lower is None:
        return "" if upper is None else f"up to {number(upper, digits)}"
    least = number(lower, digits)
    return f"from {least}" if upper is None else f"{least} to {number(upper, digits)}"


def _described(strip: Strip) -> str:
    spread = f" ± {strip.uncertainty}" if strip.uncertainty else ""
    reading = f"Reading {strip.text}{spread} {strip.unit}".rstrip() if strip.text else "No reading"
    place = f", far {strip.off} the scale" if strip.off else ""
    expected = f"Expected {strip.expected} {strip.range_unit}".rstrip()
    wanted = expected if strip.expected else "No expected range"
    return f"{reading}{place}. {wanted}. {mark(strip.verdict).word}."
