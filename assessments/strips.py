"""The strip of a marked reading: the expected range, the reading in it, all in the unit that was typed."""

import math
import re

from academy.strip import Strip
from assessments.marking.results import ReadingMark
from rigs.metrology.quantities import from_si, si_factor, unit_quantity
from rigs.metrology.readings import ReadingError, parse
from rigs.metrology.uncertainty import coverage_factor

_FIGURES = re.compile(r"\W*[0-9][0-9.,' ]*(?:[eE][+-]?[0-9]+)?")


def strip_of(mark: ReadingMark) -> Strip | None:
    """A strip for a reading that was compared with the rig's present value; None for the others."""
    numbers = mark.numbers
    if numbers is None:
        return None
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


def figures_and_unit(text: str, *, unit: str) -> tuple[str, str]:
    """What was typed, without a unit typed after the number; no unit where there is no number, as for OL."""
    try:
        has_value = bool(unit) and parse(text, quantity=unit_quantity(unit), unit=unit).value is not None
    except ReadingError:
        return text, unit
    figures = _FIGURES.match(text) if has_value else None
    return (figures.group().strip(), unit) if figures else (text, "")
