"""The mark that goes with each verdict and state: a word, a tone and a small drawing of its own.

Verdicts on readings are drawn as brackets with a dot: the expected range, and where the reading fell.
People's decisions are drawn in circles. So the two are told apart by shape, before word or colour.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Tone(StrEnum):
    """What a mark's colour says again; never the only thing that says it."""

    GOOD = "good"
    EDGE = "edge"
    OUT = "out"
    UNSURE = "unsure"
    PLAIN = "plain"


PRINT_COLOURS: Mapping[Tone, str] = {
    Tone.GOOD: "#00694c",
    Tone.EDGE: "#7d5300",
    Tone.OUT: "#a53d00",
    Tone.UNSURE: "#85386a",
    Tone.PLAIN: "#16222c",
}
"""The light scheme's colours again, for drawings in documents: a style sheet doesn't reach into those."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A word with its drawing, on a field of 24 × 24: ``line`` is stroked, ``solid`` is filled."""

    word: str
    tone: Tone
    line: str
    solid: str = ""

    @property
    def print_colour(self) -> str:
        return PRINT_COLOURS[self.tone]


class UnknownMark(LookupError):
    """No mark has that code."""


_CIRCLE = "M12 3a9 9 0 1 0 0 18 9 9 0 1 0 0-18z"
_TRIANGLE = "M12 3 22 20H2z"
_LIMITS = "M3 4h18M3 20h18"
_BLADES = "M12 10V3c4 0 5 4 2 7M13.7 13l6 3.5c-2 3.5-6 2.4-7-1.5M10.3 13l-6 3.5c-2-3.5 1-6.3 5-5.2"
_HUB = "M12 10a2 2 0 1 0 0 4 2 2 0 1 0 0-4z"

_GOOD, _EDGE, _OUT, _UNSURE, _PLAIN = Tone.GOOD, Tone.EDGE, Tone.OUT, Tone.UNSURE, Tone.PLAIN

MARKS: Mapping[str, Mark] = {
    # The verdict on a reading.
    "in-range": Mark(
        "In range", _GOOD, "M8 4H4v16h4M16 4h4v16h-4", "M12 8.5a3.5 3.5 0 1 0 0 7 3.5 3.5 0 1 0 0-7z"
    ),
    "borderline": Mark(
        "Borderline",
        _EDGE,
        "M7 4H3v16h4M12 4h4v4M16 16v4h-4M16 8.2a3.8 3.8 0 1 0 0 7.6 3.8 3.8 0 1 0 0-7.6z",
        "M16 8.2a3.8 3.8 0 0 0 0 7.6z",
    ),
    "out-of-range": Mark("Out of range", _OUT, "M6 4H2v16h4M9 4h4v16H9", "M19 7.5 23.5 12 19 16.5 14.5 12z"),
    "out-of-range-below": Mark(
        "Out of range", _OUT, "M18 4h4v16h-4M15 4h-4v16h4", "M5 7.5.5 12 5 16.5 9.5 12z"
    ),
    "cannot-judge": Mark(
        "Can’t be judged",
        _UNSURE,
        "M7 4H3v4M3 16v4h4M17 4h4v4M21 16v4h-4M9.4 9.6a2.7 2.7 0 1 1 3.9 2.4c-.9.4-1.3 1-1.3 1.9",
        "M12 15.6a1.2 1.2 0 1 0 0 2.4 1.2 1.2 0 1 0 0-2.4z",
    ),
    # A person's decision, and where an attempt stands.
    "competent": Mark("Competent", _GOOD, f"{_CIRCLE}M7.8 12.3l2.9 2.9 5.6-6"),
    "prior": Mark("Achieved before", _GOOD, "M4 4h13v16H4zM7.5 12.2l2.4 2.4 4-4.8M20 7v13H8"),
    "not-yet-competent": Mark("Not yet competent", _OUT, "M19.8 7.5A9 9 0 1 0 21 12M20.5 2.8v5h-5"),
    "countersign": Mark(
        "Awaiting countersignature",
        _EDGE,
        "M3 11c2.5-7 4.5-7 4-2s2.5 3 4 0 2.5 3 5 2c2-.8 3-1 5-1M3 19h4M10 19h4M17 19h4",
    ),
    "suspended": Mark("Suspended", _UNSURE, f"{_CIRCLE}M9.5 8.5v7M14.5 8.5v7"),
    "open": Mark("Open", _PLAIN, _CIRCLE, "M12 3a9 9 0 0 0 0 18z"),
    "submitted": Mark("Handed in", _PLAIN, "M12 3v10M8 9l4 4 4-4M4 15v5h16v-5"),
    "returned": Mark("Returned", _EDGE, "M9 4 4 9l5 5M4 9h10a5.5 5.5 0 0 1 0 11h-3"),
    "signed-off": Mark("Signed off", _PLAIN, "M3 20h18M4 15c4-9 7-12 7.5-9S8 15 9.5 15s3-4 4.5-4 1 3 5 3"),
    "void": Mark("Void", _PLAIN, f"{_CIRCLE}M5.7 5.7l12.6 12.6"),
    "practice": Mark("Practice", _PLAIN, "M4 20l1-4.5L16 4.5 19.5 8 8.5 19z"),
    "assessment": Mark("Assessment", _PLAIN, "M6 3h12v18H6zM9.5 8h5M9.5 12h5M9.5 16h3"),
    # How a rig is doing, and whether it or an instrument may be used.
    "steady": Mark("Steady", _GOOD, f"{_LIMITS}M3 12h18"),
    "watch": Mark("Watch", _EDGE, f"{_LIMITS}M3 15l6-1 6-3.5L20 6"),
    "in-service": Mark("In service", _GOOD, _CIRCLE, "M12 7.5a4.5 4.5 0 1 0 0 9 4.5 4.5 0 1 0 0-9z"),
    "hold": Mark("On hold", _OUT, "M8 3h8l5 5v8l-5 5H8l-5-5V8zM8 12h8"),
    "retired": Mark("Retired", _PLAIN, "M4 4h16v16H4zM8 8l8 8M16 8l-8 8"),
    "in-date": Mark("In date", _GOOD, "M4 6h16v15H4zM8 3v5M16 3v5M8.5 14l2.5 2.5 4.5-4.5"),
    "due-soon": Mark("Due soon", _EDGE, f"{_CIRCLE}M12 7v5h4.5"),
    "overdue": Mark("Overdue", _OUT, "M4 6h16v15H4zM8 3v5M16 3v5M12 11v3.5", "M11 16.5h2v2h-2z"),
    # A step or a criterion.
    "done": Mark("Done", _GOOD, "M4 12.5l5 5L20 6.5"),
    "met": Mark("Met", _GOOD, "M4 12.5l5 5L20 6.5"),
    "not-met": Mark("Not met", _OUT, "M6 6l12 12M18 6 6 18"),
    "missing": Mark(
        "Missing", _OUT, "M9 3.5h6M18.5 6l2 5M20 15l-3.5 4.5M12.5 21 7 19.5M4.5 16 3.5 10M4.5 7l2-2"
    ),
    "out-of-order": Mark("Out of order", _OUT, "M7 20V4M3 8l4-4 4 4M17 4v16M13 16l4 4 4-4"),
    "not-assessed": Mark("Not assessed", _PLAIN, "M6 12h12"),
    "safety-critical": Mark("Safety-critical", _PLAIN, "M12 2l10 10-10 10L2 12zM12 7v6", "M11 15h2v2h-2z"),
    "caution": Mark("Caution", _EDGE, f"{_TRIANGLE}M12 9v5.5", "M11 16h2v2h-2z"),
    # The condition a rig is put into.
    "fan-running": Mark("Fan running", _PLAIN, _BLADES, _HUB),
    "fan-off": Mark("Fan off", _PLAIN, f"{_BLADES}M3 3l18 18", _HUB),
    "isolated": Mark("Isolated", _PLAIN, "M5 11h14v10H5zM8 11V7.5a4 4 0 0 1 8 0V11", "M11 14.5h2v3h-2z"),
    "condition": Mark("Condition", _PLAIN, "M4 8h16M4 16h16", "M13 5h4v6h-4zM7 13h4v6H7z"),
}

CONDITIONS = frozenset({"fan-running", "fan-off", "isolated"})
"""The conditions with a drawing of their own; any other takes that of "condition"."""


def mark(code: str) -> Mark:
    """Return the mark of a verdict's or a state's code; UnknownMark if there is none."""
    try:
        return MARKS[code]
    except KeyError:
        raise UnknownMark(f"There is no mark for “{code}”.") from None
