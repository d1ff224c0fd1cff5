"""The working of 'conforms': limits, the uncertainty that guards them, the probability of conformity."""

import math
from collections.abc import Iterable

from academy.strip import number
from assessments.marking.numbers import LimitsNumbers
from assessments.marking.results import ReadingMark
from assessments.working.calculations import formula_lines
from assessments.working.lines import Scale, WorkingLine, as_typed, instrument_lines, line, with_unit
from rigs.metrology.conformity import Verdict


def limits_lines(mark: ReadingMark, numbers: LimitsNumbers) -> Iterable[WorkingLine]:
    calculation = numbers.calculation
    unit = mark.unit if calculation is None else calculation.unit
    scale = Scale.to_second_digit(numbers.u, unit=unit, from_si=calculation is None)
    yield from _value_lines(mark, numbers, scale)
    yield line("Factor, 95.45 %", "k", number(numbers.factor, 2), "normal")
    yield line("Expanded uncertainty", "U", scale.width(numbers.expanded), "k·u")
    yield line("Limits", "T", _limits(numbers, scale), f"{numbers.source}, {numbers.dated}")
    if numbers.middle_expanded is not None and numbers.lower is not None and numbers.upper is not None:
        half_range = (numbers.upper - numbers.lower) / 2
        decides = numbers.middle_expanded <= half_range
        yield line(
            "Can the instrument tell?",
            "",
            scale.comparison(
                numbers.middle_expanded, half_range, signs="≤" if decides else ">", are_widths=True
            ),
            f"U{'' if calculation else ' in the middle of the limits'} against half of the range",
        )
    if mark.verdict is not Verdict.CANNOT_JUDGE:
        yield line(
            "Probability of conformity",
            "p",
            _percent(numbers.probability),
            "normal: Φ((upper − y)/u) − Φ((lower − y)/u), JCGM 106, 7",
        )
        yield line("Rule", "y", _rule(mark.verdict, numbers, scale), "guarded by U: ILAC-G8:09/2019")


def _value_lines(mark: ReadingMark, numbers: LimitsNumbers, scale: Scale) -> Iterable[WorkingLine]:
    if numbers.calculation is None:
        yield as_typed(mark)
        if numbers.instrument is not None:
            yield from instrument_lines(numbers.instrument, scale)
        yield line("Uncertainty of the instrument", "u", scale.width(numbers.u), "√(a²/3 + r²/12)")
        return
    yield from formula_lines(numbers.calculation)
    yield line("What follows", "y", scale.level(numbers.value, guard=1), "from your own figures")
    for figure in numbers.calculation.figures:
        if figure.share is not None:
            label = f"Uncertainty through the {figure.label}"
            shown = with_unit(f"{figure.u:.3g}", figure.unit)
            yield line(label, "", scale.width(figure.share), f"{shown} from its instrument, times the slope")
    yield line("Combined", "u", scale.width(numbers.u), "the root of the sum of their squares")


def _limits(numbers: LimitsNumbers, scale: Scale) -> str:
    match numbers.lower, numbers.upper:
        case None, float() | int() as upper:
            return f"at most {with_unit(_stated(upper, scale), scale.unit)}"
        case float() | int() as lower, None:
            return f"at least {with_unit(_stated(lower, scale), scale.unit)}"
        case lower, upper:
            assert lower is not None and upper is not None  # one is given
            ends = " to ".join(_stated(each, scale) for each in (lower, upper))
            return with_unit(ends, scale.unit)


def _stated(limit: float, scale: Scale) -> str:
    """With the digits that it was stated with, without the noise of a binary fraction."""
    text = f"{scale.value(limit):.6g}"
    return text if "e" in text else number(float(text), len(text.partition(".")[2]))


def _percent(probability: float) -> str:
    """Never rounded to certainty."""
    for decimals in (1, 2, 3):
        text = number(100 * probability, decimals)
        if float(text) not in {0.0, 100.0}:
            return f"{text} %"
    return "more than 99.999 %" if probability > 0.5 else "less than 0.001 %"


def _rule(verdict: Verdict, numbers: LimitsNumbers, scale: Scale) -> str:
    lower = -math.inf if numbers.lower is None else numbers.lower
    upper = math.inf if numbers.upper is None else numbers.upper
    y, w = numbers.value, numbers.expanded
    match verdict:
        case Verdict.IN_RANGE:
            bounds = (lower + w, upper - w)
        case Verdict.OUT_OF_RANGE:
            return scale.comparison(y, lower - w if y < lower else upper + w, signs="<" if y < lower else ">")
        case _:
            nearest = lower if abs(y - lower) <= abs(upper - y) else upper
            bounds = (nearest - w, nearest + w)
    if math.isinf(bounds[0]):
        return scale.comparison(y, bounds[1], signs="≤")
    if math.isinf(bounds[1]):
        return scale.comparison(y, bounds[0], signs="≥")
    return scale.comparison(bounds[0], y, bounds[1], signs="≤≤")
