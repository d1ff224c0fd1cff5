"""The strip of a marked reading: the expected range, the reading in it, all in the unit that was typed."""

import math
import re

from academy.strip import Strip, number
from assessments.marking.numbers import AgreementNumbers, LimitsNumbers
from assessments.marking.results import ReadingMark
from rigs.metrology.quantities import from_si, si_factor, unit_quantity
from rigs.metrology.readings import ReadingError, parse
from rigs.metrology.uncertainty import coverage_factor, last_place, reported

_FIGURES = re.compile(r"\W*[0-9][0-9.,' ]*(?:[eE][+-]?[0-9]+)?")


def strip_of(mark: ReadingMark) -> Strip | None:
    """A strip for a reading that has a range to lie in; None for the others."""
    match mark.numbers:
        case AgreementNumbers() as numbers:
            return _in_expected_range(mark, numbers)
        case LimitsNumbers(calculation=None) as numbers:
            return _in_limits(mark, numbers)
        case LimitsNumbers() as numbers:
            return _result_in_limits(mark, numbers)
        case _:
            return None


def _in_expected_range(mark: ReadingMark, numbers: AgreementNumbers) -> Strip:
    """The borderline zones lie outside the range."""
    far = numbers.t_out * numbers.u
    return Strip.build(
        value=from_si(numbers.reading, unit=mark.unit),
        u=numbers.instrument_u * coverage_factor(dof=math.inf) / si_factor(mark.unit),
        lower=from_si(numbers.lower, unit=mark.unit),
        upper=from_si(numbers.upper, unit=mark.unit),
        outer_lower=from_si(numbers.value - far, unit=mark.unit),
        outer_upper=from_si(numbers.value + far, unit=mark.unit),
        unit=mark.unit,
        digits=mark.decimals,
        verdict=mark.verdict,
        text=figures_and_unit(mark.shown, unit=mark.unit)[0],
    )


def _in_limits(mark: ReadingMark, numbers: LimitsNumbers) -> Strip:
    """In range with all of the whisker inside the limits, out of range with all of it beyond one."""
    lower, upper = (
        None if limit is None else from_si(limit, unit=mark.unit) for limit in (numbers.lower, numbers.upper)
    )
    return Strip.build(
        value=from_si(numbers.value, unit=mark.unit),
        u=numbers.expanded / si_factor(mark.unit),
        lower=lower,
        upper=upper,
        unit=mark.unit,
        digits=max(mark.decimals, *(_decimals(limit) for limit in (lower, upper))),
        verdict=mark.verdict,
        text=figures_and_unit(mark.shown, unit=mark.unit)[0],
    )


def _result_in_limits(mark: ReadingMark, numbers: LimitsNumbers) -> Strip:
    """What the reading comes to, in its own unit."""
    assert numbers.calculation is not None  # seen to by strip_of
    spread = reported(value=numbers.value, expanded=numbers.expanded)
    digits = max(0, -last_place(spread.expanded).adjusted())
    return Strip.build(
        value=numbers.value,
        u=numbers.expanded,
        lower=numbers.lower,
        upper=numbers.upper,
        unit=numbers.calculation.unit,
        digits=max(digits, *(_decimals(limit) for limit in (numbers.lower, numbers.upper))),
        verdict=mark.verdict,
        text=number(numbers.value, digits),
    )


def _decimals(limit: float | None) -> int:
    """Those that a limit is stated with, without the noise of a binary fraction."""
    return 0 if limit is None else len(f"{limit:.6g}".partition(".")[2])


def figures_and_unit(text: str, *, unit: str) -> tuple[str, str]:
    """What was typed, without a unit typed after the number; no unit where there is no number, as for OL."""
    try:
        has_value = bool(unit) and parse(text, quantity=unit_quantity(unit), unit=unit).value is not None
    except ReadingError:
        return text, unit
    figures = _FIGURES.match(text) if has_value else None
    return (figures.group().strip(), unit) if figures else (text, "")
