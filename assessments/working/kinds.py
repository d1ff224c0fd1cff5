"""The working of a verdict, whichever kind of check it comes from."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from assessments.marking.numbers import (
    AgreementNumbers,
    ChangeNumbers,
    ClosureNumbers,
    ComputedNumbers,
    ContactNumbers,
    FallNumbers,
    LimitsNumbers,
    RepeatsNumbers,
    ReversalNumbers,
    ZeroNumbers,
)
from assessments.marking.results import ReadingMark
from assessments.working.agreement import agreement_lines
from assessments.working.calculations import computed_lines
from assessments.working.contacts import change_lines, contact_lines
from assessments.working.limits import limits_lines
from assessments.working.lines import WorkingLine
from assessments.working.relations import (
    closure_lines,
    fall_lines,
    repeats_lines,
    reversal_lines,
    zero_lines,
)

_LINES: Final[Mapping[type, Callable[[ReadingMark, Any], Iterable[WorkingLine]]]] = {
    AgreementNumbers: agreement_lines,
    LimitsNumbers: limits_lines,
    ContactNumbers: contact_lines,
    ChangeNumbers: change_lines,
    FallNumbers: fall_lines,
    ReversalNumbers: reversal_lines,
    ClosureNumbers: closure_lines,
    RepeatsNumbers: repeats_lines,
    ZeroNumbers: zero_lines,
    ComputedNumbers: computed_lines,
}


def working_of(mark: ReadingMark) -> tuple[WorkingLine, ...]:
    """Every figure behind a verdict, in the unit that was typed; nothing where no figure is behind it."""
    return () if mark.numbers is None else tuple(_LINES[type(mark.numbers)](mark, mark.numbers))
