"""What marking says of a diagnosis, and of what a test should read."""

from collections.abc import Mapping
from decimal import Decimal

from assessments.marking.diagnosed import Diagnosis, DiagnosisVerdict
from assessments.marking.foreseen import Foreseen
from rigs.behaviour.faults import Fault
from rigs.metrology.conformity import ContactState
from rigs.metrology.quantities import from_si

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"

_NOT_ON_THE_RIG: Mapping[str, str] = {
    Fault.MANOMETER_NOT_ZEROED: "Manometer not zeroed",
    Fault.MANOMETER_REVERSED: "Manometer hoses reversed",
    Fault.METER_LEAD_BROKEN: "Meter lead broken",
    Fault.WRONG_TERMINALS: "Probes on the wrong terminals",
    Fault.SIGN_SLIP: "A sign written wrong",
    Fault.UNIT_SLIP: "A unit written wrong",
    Fault.WRONG_LINE: "Readings written on each other’s line",
}
_VERDICTS: Mapping[DiagnosisVerdict, str] = {
    DiagnosisVerdict.RIGHT: "The diagnosis is right",
    DiagnosisVerdict.ALIKE: (
        "The diagnosis is as good as right: this task’s tests can’t tell it from what was set on this rig"
    ),
    DiagnosisVerdict.WRONG: "The diagnosis isn’t right",
}
_STATES: Mapping[ContactState, str] = {
    ContactState.CLOSED: "closed",
    ContactState.OPEN: "open",
    ContactState.HIGH_RESISTANCE: "high resistance",
}


def slip(fault: str) -> str:
    """A fault of an instrument or a slip of the pen, for tasks that don't offer it as a diagnosis."""
    return _NOT_ON_THE_RIG.get(fault) or fault.replace("-", " ").capitalize()


def foreseen(expected: Foreseen, *, unit: str, decimals: int) -> str:
    """What a test should read, a pressure in ``unit`` with that many decimals."""
    if expected.span is not None:
        lower, upper = (_figure(each, unit, decimals) for each in expected.span)
        shown = lower if lower == upper else f"{lower} to {upper}"
        return f"{shown}{NARROW_SPACE}{unit}"
    if expected.states:
        return " or ".join(_STATES[state] for state in expected.states)
    return "nothing to be found"


def _figure(pascals: float, unit: str, decimals: int) -> str:
    value = Decimal(f"{from_si(pascals, unit=unit):.{decimals}f}")
    return f"{value:f}".replace("-", "\N{MINUS SIGN}" if value else "")


def diagnosis(found: Diagnosis) -> str:
    """For a candidate once it is signed off: no number of the rig, and not what was set."""
    return " ".join(filter(None, (right(found), _following(found), _economy(found))))


def right(found: Diagnosis) -> str:
    """Whether it is right and whether the readings taken support it, each told for itself."""
    if found.verdict is DiagnosisVerdict.MISSING:
        return "No diagnosis was logged."
    return f"{_VERDICTS[found.verdict]}{_support(found)}."


def _support(found: Diagnosis) -> str:
    if found.supported is None:
        why = found.why_not.rstrip(".")
        because = f" ({why[:1].lower()}{why[1:]})" if why else ""
        return f"; whether the readings taken support it can’t be worked out{because}"
    if found.is_lucky_guess:
        return ", but the readings taken don’t single it out: it looks like a lucky guess"
    if found.is_unlucky_reading:
        return ", but it is what the readings taken point to: an unlucky reading, or a slip in one"
    return f", and the readings taken {'support it' if found.supported else 'don’t point to it'}"


def _following(found: Diagnosis) -> str:
    if found.supported is None:
        return ""
    if len(found.remaining) < 2:
        return "Nothing else was left that would explain the readings."
    several = "More than one thing would still explain the readings"
    if not found.next_test:
        return f"{several}, and no test of this task tells them apart."
    return f"{several}. The test that would have told most: {found.next_test}."


def _economy(found: Diagnosis) -> str:
    """Feedback only: how many readings it took is no part of the decision."""
    if not found.fewest:
        return ""
    return f"It took {found.used} reading{'' if found.used == 1 else 's'}; {len(found.fewest)} can be enough."
