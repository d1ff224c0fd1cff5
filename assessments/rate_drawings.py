"""Differences with their intervals as dots and lines on one scale: places in percent of the width."""

import math
from dataclasses import dataclass

from academy.strip import number
from assessments.comparing.rates import Beside, Group, Rates
from rigs.drawings import MINUS, Tick, round_step

LEFT, RIGHT = 3.0, 97.0
LEAST_REACH = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """One group on the scale, in points of a hundred; ``words`` say the same."""

    x: float
    lower: float
    upper: float
    is_outside: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    group: Group
    dot: Dot | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DotPlot:
    zero: float
    ticks: tuple[Tick, ...]
    lines: tuple[Line, ...]


def dot_plot(found: Rates) -> DotPlot:
    """A line for each group, in the order of their names, all on the scale of the widest."""
    besides = [each.beside for each in found.groups if each.beside is not None]
    ends = [100 * max(abs(each.lower), abs(each.upper)) for each in besides]
    reach = min(max([LEAST_REACH, *ends]), 100.0)
    step, digits = round_step(reach / 2, finest=5)
    upto = math.floor(reach / step)
    return DotPlot(
        zero=_place(0.0, reach),
        ticks=tuple(
            Tick(at=_place(place * step, reach), label=_signed(place * step, digits))
            for place in range(-upto, upto + 1)
        ),
        lines=tuple(
            Line(group=each, dot=None if each.beside is None else _dot(each.beside, reach))
            for each in found.groups
        ),
    )


def points(difference: float) -> str:
    """A difference of shares in points of a hundred, with its sign."""
    return _signed(100 * difference, 0)


def _dot(beside: Beside, reach: float) -> Dot:
    return Dot(
        x=_place(100 * beside.difference, reach),
        lower=_place(100 * beside.lower, reach),
        upper=_place(100 * beside.upper, reach),
        is_outside=beside.is_outside,
        words=f"{points(beside.difference)} points, "
        f"interval {points(beside.lower)} to {points(beside.upper)}",
    )


def _place(value: float, reach: float) -> float:
    return round(LEFT + (min(max(value, -reach), reach) + reach) / (2 * reach) * (RIGHT - LEFT), 2)


def _signed(value: float, digits: int) -> str:
    text = number(abs(value), digits)
    if not text.strip("0."):
        return "0"
    return f"{MINUS if value < 0 else '+'}{text}"
