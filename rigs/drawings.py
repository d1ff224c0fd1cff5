"""Drawings as values: where things are on a chart, whatever it is of. No queries.

Places along a chart are percentages of its width and heights are pixels, so that one drawing fits a phone
and a wide sheet while its lettering keeps its size. Lines and bands are drawn on a field of 1000 across,
stretched to the width.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from academy.strip import number

LEFT, RIGHT = 12.0, 86.0
TOP, BOTTOM = 12.0, 212.0
ROOM_FOR_A_WORD = 15.0
MINUS, NARROW_SPACE = "\N{MINUS SIGN}", "\N{NARROW NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A level line across the chart. ``word`` is empty where there is no room for it."""

    kind: str
    y: float
    word: str = ""

    @property
    def text_y(self) -> float:
        return self.y + 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One point. ``kind`` is "in" or "beyond", or what else a chart tells apart by shape."""

    x: float
    y: float
    kind: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Corners of a line, or of a band where it is closed: "x,y x,y …", x of 1000."""

    kind: str
    corners: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    title: str
    unit: str
    description: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    lines: tuple[Line, ...]
    bands: tuple[Path, ...]
    paths: tuple[Path, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The stretch of time and of values that a chart shows, and where things are in it."""

    start: datetime
    end: datetime
    low: float
    high: float

    def x(self, at: datetime) -> float:
        share = (at - self.start) / (self.end - self.start)
        return round(LEFT + share * (RIGHT - LEFT), 2)

    def y(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(BOTTOM - share * (BOTTOM - TOP), 1)

    def corners(self, places: Iterable[tuple[datetime, float]]) -> str:
        return " ".join(f"{self.x(at) * 10:.1f},{self.y(value):.1f}" for at, value in places)

    def x_ticks(self, zone: tzinfo) -> tuple[Tick, ...]:
        """At most four dates, whole days apart."""
        days = max(1, math.ceil((self.end - self.start) / timedelta(days=3)))
        moments = [self.start + timedelta(days=days * step) for step in range(4)]
        return tuple(
            Tick(at=self.x(at), label=f"{at.astimezone(zone):%-d %b}") for at in moments if at <= self.end
        )

    def y_ticks(self, *, finest: float) -> tuple[Tick, ...]:
        step, digits = round_step((self.high - self.low) / 5, finest=finest)
        first, last = math.ceil(self.low / step), math.floor(self.high / step)
        return tuple(
            Tick(at=self.y(place * step), label=number(place * step, digits))
            for place in range(first, last + 1)
        )


def round_step(at_least: float, *, finest: float) -> tuple[float, int]:
    """The smallest of 1, 2, 5 times a power of ten not below; and its decimals."""
    wanted = max(at_least, finest)
    power = math.floor(math.log10(wanted))
    factor = next(each for each in (1, 2, 5, 10) if each * 10.0**power >= wanted * (1 - 1e-9))
    power, factor = (power + 1, 1) if factor == 10 else (power, factor)
    return factor * 10.0**power, max(0, -power)


def worded(frame: Frame, lines: Iterable[tuple[str, float, str]]) -> tuple[Line, ...]:
    """Level lines, the important first: a word that would lie on another is left out."""
    found: list[Line] = []
    for kind, value, word in lines:
        y = frame.y(value)
        free = all(abs(y - each.y) >= ROOM_FOR_A_WORD for each in found if each.word)
        if frame.low <= value <= frame.high:
            found.append(Line(kind=kind, y=y, word=word if free else ""))
    return tuple(found)


def span(at: Sequence[datetime], until: datetime) -> tuple[datetime, datetime]:
    """The stretch of time that a chart shows: a week at the least."""
    return at[0], max(until, at[0] + timedelta(days=7))


def percent(share: float) -> str:
    """A share with its sign, to a tenth: +0.9 %."""
    text = f"{share:+.1f}"
    text = text.removeprefix("-").removeprefix("+") if not text.strip("+-0.") else text
    return f"{text.replace('-', MINUS)}{NARROW_SPACE}%"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A distance in percent at a moment; ``kind`` is how its mark is drawn."""

    at: datetime
    share: float
    kind: str
    words: str


def dots_panel(dots: Sequence[Dot], *, title: str, description: str, zone: tzinfo) -> Panel | None:
    """Distances in percent in time, whatever they are of; None without any."""
    if not dots:
        return None
    moments = sorted(each.at for each in dots)
    reach = 1.15 * max(5.0, *(abs(each.share) for each in dots))
    start, end = span(moments, moments[-1])
    frame = Frame(start=start, end=end, low=-reach, high=reach)
    return Panel(
        title=title,
        unit="%",
        description=description,
        x_ticks=frame.x_ticks(zone),
        y_ticks=frame.y_ticks(finest=1.0),
        lines=worded(frame, [("centre", 0.0, "sheet")]),
        bands=(),
        paths=(),
        marks=tuple(
            Mark(x=frame.x(each.at), y=frame.y(each.share), kind=each.kind, words=each.words) for each in dots
        ),
    )
