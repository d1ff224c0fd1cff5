"""Verdicts in plain sentences.

Some have the numbers, for those who may see a rig's answers; some have none, for those who may not. The two
are different functions, so that a caller chooses in the open.
"""

import math
from collections.abc import Mapping
from decimal import Decimal

from rigs.metrology.conformity import ContactState, Verdict
from rigs.metrology.quantities import SI_UNIT, Quantity
from rigs.metrology.relations import RelationKind
from rigs.metrology.uncertainty import last_place, reported, rounded

_NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"

_AGREEMENT: Mapping[Verdict, str] = {
    Verdict.IN_RANGE: "within what this rig reads today",
    Verdict.BORDERLINE: "at the edge of what this rig reads today",
    Verdict.OUT_OF_RANGE: "outside what this rig reads today",
    Verdict.CANNOT_JUDGE: "can't be judged by what this rig reads today",
}

_CONFORMANCE: Mapping[Verdict, str] = {
    Verdict.IN_RANGE: "within the limits",
    Verdict.BORDERLINE: "too close to a limit to tell with this instrument",
    Verdict.OUT_OF_RANGE: "outside the limits",
    Verdict.CANNOT_JUDGE: "can't be judged by the limits",
}

_CONTACT: Mapping[ContactState, str] = {
    ContactState.CLOSED: "the contact is closed",
    ContactState.OPEN: "the contact is open",
    ContactState.HIGH_RESISTANCE: "the contact has a high resistance, neither closed nor open",
    ContactState.BORDERLINE: "too close to the limit to tell whether the contact is closed",
    ContactState.BELOW_LEADS: "the leads alone read more than the contact with them, so one is wrong",
    ContactState.CANNOT_JUDGE: "the contact can't be judged",
}

_RELATION: Mapping[RelationKind, tuple[str, str]] = {
    RelationKind.REVERSES_SIGN: ("the sign reverses", "the sign doesn't reverse"),
    RelationKind.FALLS_BY: ("the reading falls as it should", "the reading doesn't fall as it should"),
    RelationKind.CHANGES_STATE: ("the contact changes state", "the contact doesn't change state"),
    RelationKind.REPEATS_WITHIN: ("the repeats agree", "the repeats are too far apart"),
    RelationKind.CLOSES: ("the three pressures close", "the three pressures don't close"),
    RelationKind.EQUALS: ("it follows from the other readings", "it doesn't follow from the other readings"),
}

# Shares of the expected range's half-width, coarse on purpose: words from which no range can be worked out.
_DISTANCES: tuple[tuple[float, str, str], ...] = (
    (0.35, "close to the middle", "close to the middle"),
    (0.75, "on the low side", "on the high side"),
    (1.0, "near the lower edge", "near the upper edge"),
    (1.6, "a little below", "a little above"),
    (4.0, "below", "above"),
    (math.inf, "well below", "well above"),
)


def distance_words(zeta: float, t_in: float) -> str:
    """Where a reading lies, in words only; empty where it can't be said."""
    share = abs(zeta) / t_in if t_in > 0 else math.nan
    for limit, below, above in _DISTANCES:
        if share <= limit:
            return below if zeta < 0 else above
    return ""


def agreement_words(verdict: Verdict) -> str:
    return _AGREEMENT[verdict]


def conformance_words(verdict: Verdict) -> str:
    return _CONFORMANCE[verdict]


def contact_words(state: ContactState) -> str:
    return _CONTACT[state]


def relation_words(kind: RelationKind, *, verdict: Verdict) -> str:
    held, failed = _RELATION[kind]
    match verdict:
        case Verdict.IN_RANGE:
            return held
        case Verdict.OUT_OF_RANGE:
            return failed
        case Verdict.BORDERLINE:
            return f"too close to tell whether {held}"
        case Verdict.CANNOT_JUDGE:
            return f"can't be judged whether {held}"


def agreement_sentence(
    *, verdict: Verdict, reading: Decimal | None, lower: float, upper: float, unit: str
) -> str:
    """With numbers: `within what this rig reads today: 2.4 against 2.1 to 2.6 mbar`.

    All figures in `unit`; `reading` is None where there is no value. Bounds are shown to the reading's own
    last digit, or finer where that would make the sentence contradict its verdict.
    """
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return agreement_words(verdict)
    low, high = _bounds(verdict=verdict, reading=reading, lower=lower, upper=upper)
    shown = "no value" if reading is None else f"{reading:f}"
    return f"{agreement_words(verdict)}: {shown} against {_with_unit(f'{low:f} to {high:f}', unit)}"


def conformance_sentence(
    *, verdict: Verdict, reading: Decimal, lower: float, upper: float, expanded: float, unit: str
) -> str:
    """With numbers: `within the limits: 231.4 against 216.2 to 253.0 V, give or take 2.6 V`.

    Limits are given as stated, to no fewer digits than the reading's; one of them may be infinite.
    """
    last = last_place(reading)
    match (math.isfinite(lower), math.isfinite(upper)):
        case (True, True):
            limits = f"{_stated(lower, last=last)} to {_stated(upper, last=last)}"
        case (True, False):
            limits = f"at least {_stated(lower, last=last)}"
        case _:
            limits = f"at most {_stated(upper, last=last)}"
    allowance = reported(value=reading, expanded=expanded).expanded
    return (
        f"{conformance_words(verdict)}: {reading:f} against {_with_unit(limits, unit)}, "
        f"give or take {_with_unit(f'{allowance:f}', unit)}"
    )


def contact_sentence(*, state: ContactState, resistance: float, limit: float, last: Decimal) -> str:
    """With numbers: `the contact is closed: 0.3 Ω without the leads, against 1 Ω`. In ohms.

    `last` is the display's resolution.
    """
    if not math.isfinite(resistance):
        return contact_words(state)
    ohm = SI_UNIT[Quantity.RESISTANCE]
    found = _with_unit(f"{rounded(value=resistance, last=last):f}", ohm)
    return f"{contact_words(state)}: {found} without the leads, against {_with_unit(f'{limit:g}', ohm)}"


def _bounds(
    *, verdict: Verdict, reading: Decimal | None, lower: float, upper: float
) -> tuple[Decimal, Decimal]:
    """The range's ends, rounded so that the reading still lies in or out of it as its verdict says."""
    if reading is None:
        half_width = reported(value=lower, expanded=(upper - lower) / 2).expanded
        return _ends(lower, upper, last=last_place(half_width))
    last = last_place(reading)
    for finer in (Decimal(1), Decimal("0.1"), Decimal("0.01")):
        low, high = _ends(lower, upper, last=last * finer)
        if (low <= reading <= high) == (verdict is Verdict.IN_RANGE):
            return low, high
    return _ends(lower, upper, last=last * Decimal("0.001"))


def _ends(lower: float, upper: float, *, last: Decimal) -> tuple[Decimal, Decimal]:
    return rounded(value=lower, last=last), rounded(value=upper, last=last)


def _stated(limit: float, *, last: Decimal) -> str:
    """A limit with the digits it was stated in, without the noise of a binary fraction."""
    digits = rounded(value=limit, last=last * Decimal("0.0001")).normalize()
    return f"{rounded(value=digits, last=min(last, last_place(digits))):f}"


def _with_unit(figures: str, unit: str) -> str:
    return figures if unit == SI_UNIT[Quantity.DIMENSIONLESS] else f"{figures}{_NARROW_SPACE}{unit}"
