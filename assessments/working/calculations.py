"""The working of 'computed', and of a result that is held against limits: formula, figures, result."""

import math
from collections.abc import Iterable

from academy.strip import number
from assessments.marking.numbers import Calculation, ComputedNumbers, Figure
from assessments.marking.results import ReadingMark
from assessments.working.lines import Scale, WorkingLine, as_typed, line, with_unit
from rigs.metrology.conformity import TIE, Verdict

CARRIED = (
    "half of the answer’s last digit, and what earlier answers’ rounding and the formula’s constants add"
)


def formula_lines(calculation: Calculation) -> Iterable[WorkingLine]:
    yield line("Formula", "", calculation.formula, f"{calculation.label}; {calculation.source}")
    for figure in calculation.figures:
        yield line(_capital(figure.label), "", _values(figure), _origin(figure))


def computed_lines(mark: ReadingMark, numbers: ComputedNumbers) -> Iterable[WorkingLine]:
    """In the calculation's unit. The result has a digit more than the answer."""
    unit = numbers.calculation.unit
    scale = Scale(unit=unit, decimals=_decimals(numbers.resolution) + 1, from_si=False)
    yield from formula_lines(numbers.calculation)
    yield line("What follows", "x", scale.level(numbers.computed), "from your own figures")
    yield as_typed(mark, label="Your answer")
    if numbers.celsius_error is not None:
        yield from _celsius_lines(mark.verdict, numbers, scale)
        return
    source = CARRIED + (", and the task’s allowance" if numbers.allowance else "")
    yield line("Allowed between them", "", scale.width(numbers.allowed), source)
    yield line("Rule", "|y − x|", _rule(numbers, scale), "it follows up to what is allowed")


def _celsius_lines(verdict: Verdict, numbers: ComputedNumbers, scale: Scale) -> Iterable[WorkingLine]:
    error = numbers.celsius_error
    assert error is not None  # seen to by computed_lines
    celsius = Scale(unit="°C", decimals=2, from_si=False)
    yield line("Rounding allowed", "", scale.width(numbers.allowed), CARRIED)
    yield line(
        "Error", "e", celsius.level(error), "temperature of your answer − the one it is worked out from"
    )
    yield line("Allowed", "", celsius.level(numbers.allowance), "by the task")
    if verdict is Verdict.IN_RANGE and abs(error) > numbers.allowance * (1 + TIE):
        yield line("Rule", "|y − x|", _rule(numbers, scale), "it follows up to what is allowed")
        return
    sign = "≤" if verdict is Verdict.IN_RANGE else ">"
    rule = celsius.comparison(abs(error), numbers.allowance, signs=sign)
    yield line("Rule", "|e|", rule, "judged in °C: the same error is another one in Ω at each temperature")


def _rule(numbers: ComputedNumbers, scale: Scale) -> str:
    off = abs(numbers.answer - numbers.computed)
    follows = off <= numbers.allowed + TIE * (abs(numbers.computed) + numbers.allowed)
    return scale.comparison(off, numbers.allowed, signs="≤" if follows else ">")


def _values(figure: Figure) -> str:
    return with_unit("; ".join(_plain(each) for each in figure.values), figure.unit)


def _plain(value: float) -> str:
    """As many digits as there are, to ten of them."""
    text = f"{value:.10g}"
    return text if "e" in text else number(value, len(text.partition(".")[2]))


def _origin(figure: Figure) -> str:
    if not figure.origins:
        return "given by the task"
    return "your own " + ", ".join(f"“{title}”" for title in figure.origins)


def _decimals(resolution: float) -> int:
    return max(0, -round(math.log10(resolution)))


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
