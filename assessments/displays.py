"""A display's figures drawn in bars, seven to a digit: what a drawing needs, worked out beforehand."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

WIDTH, HEIGHT, THICK, STEP = 40, 72, 8, 54  # of one digit, in the drawing's own units
POINT_STEP: Final = 14

# The bars of a digit: top, right above and below, bottom, left below and above, middle.
_BARS: Final[Mapping[str, str]] = {
    "0": "trRblL",
    "1": "rR",
    "2": "trmlb",
    "3": "trmRb",
    "4": "LmrR",
    "5": "tLmRb",
    "6": "tLlbRm",
    "7": "trR",
    "8": "trRblLm",
    "9": "tLrmRb",
    "O": "trRblL",
    "L": "Llb",
    "-": "m",
    " ": "",
}
_MIDDLE: Final = HEIGHT // 2


def _level(y: int) -> str:
    """A bar lying at height ``y``, pointed at both ends."""
    half = THICK // 2
    return (
        f"{half + 1},{y} {THICK + 1},{y - half} {WIDTH - THICK - 1},{y - half} {WIDTH - half - 1},{y} "
        f"{WIDTH - THICK - 1},{y + half} {THICK + 1},{y + half}"
    )


def _upright(x: int, top: int) -> str:
    half, bottom = THICK // 2, top + _MIDDLE - THICK // 2
    top += 1
    bottom -= 1
    return (
        f"{x},{top} {x + half},{top + half} {x + half},{bottom - half} {x},{bottom} "
        f"{x - half},{bottom - half} {x - half},{top + half}"
    )


_HALF: Final = THICK // 2
_SHAPES: Final[Mapping[str, str]] = {
    "t": _level(_HALF),
    "m": _level(_MIDDLE),
    "b": _level(HEIGHT - _HALF),
    "L": _upright(_HALF, _HALF),
    "r": _upright(WIDTH - _HALF, _HALF),
    "l": _upright(_HALF, _MIDDLE),
    "R": _upright(WIDTH - _HALF, _MIDDLE),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One digit, letter or point, ``x`` from the left. ``lit`` and ``dark`` are the points of polygons."""

    x: int
    lit: tuple[str, ...]
    dark: tuple[str, ...]
    is_point: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """What an instrument shows. ``figures`` draw ``text``; without text the display is dark.

    ``says`` is the same for those who hear the page: the minus and OL in words.
    """

    instrument: str
    text: str
    unit: str
    says: str
    figures: tuple[Figure, ...]
    width: int
    height: int = HEIGHT
    tone: bool | None = None

    @classmethod
    def of(cls, text: str, *, unit: str, instrument: str, tone: bool | None = None) -> "Display":
        """ValueError for a sign that such a display hasn't."""
        figures = tuple(_figures(text))
        return cls(
            instrument=instrument,
            text=text,
            unit=unit,
            says=_in_words(text, unit),
            figures=figures,
            width=_width(text),
            tone=tone,
        )


def _figures(text: str) -> Iterator[Figure]:
    x = 0
    for sign in text:
        if sign == ".":
            yield Figure(x=x, lit=(), dark=(), is_point=True)
            x += POINT_STEP
        else:
            yield _figure(sign, x)
            x += STEP


def _figure(sign: str, x: int) -> Figure:
    if sign not in _BARS:
        raise ValueError(f"A display can't show “{sign}”.")
    lit = _BARS[sign]
    return Figure(
        x=x,
        lit=tuple(_SHAPES[bar] for bar in lit),
        dark=tuple(shape for bar, shape in _SHAPES.items() if bar not in lit),
    )


def _width(text: str) -> int:
    points = text.count(".")
    return max((len(text) - points) * STEP + points * POINT_STEP - (STEP - WIDTH), WIDTH)


def _in_words(text: str, unit: str) -> str:
    if not text:
        return "no figure"
    if text == "OL":
        return "OL, over limit"
    sign = "minus " if text.startswith("-") else ""
    return f"{sign}{text.removeprefix('-')} {unit}"
