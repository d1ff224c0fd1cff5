"""The working of what must hold between a candidate's own readings; and of an instrument's zero."""

from collections.abc import Iterable

from academy.strip import number
from assessments.marking.numbers import (
    ClosureNumbers,
    FallNumbers,
    RepeatsNumbers,
    ReversalNumbers,
    Term,
    ZeroNumbers,
)
from assessments.marking.results import ReadingMark
from assessments.strips import figures_and_unit
from assessments.working.lines import NARROW_SPACE, Scale, WorkingLine, as_typed, line, specification
from rigs.metrology.conformity import TIE, Verdict


def fall_lines(mark: ReadingMark, numbers: FallNumbers) -> Iterable[WorkingLine]:
    before, after = numbers.terms
    scale = _scale(mark, numbers.expanded)
    kept = 1 - numbers.percent / 100
    yield from _term_lines(before, "1", scale)
    yield from _term_lines(after, "2", scale)
    yield line("It must fall by", "p", f"{numbers.percent:g} %", "or more, towards zero")
    yield line("So to", "y₁·(1 − p/100)", scale.level(before.value * kept, guard=1), "or nearer to zero")
    yield line("Further than it had to", "x", scale.width(numbers.margin), "from there towards zero")
    yield line("Factor, 95.45 %", "k", number(numbers.factor, 2), "normal")
    made_of = "k·√(((1 − p/100)·u₁)² + u₂²)"
    yield line("Expanded uncertainty", "U", scale.width(numbers.expanded), made_of)
    match mark.verdict:
        case Verdict.IN_RANGE:
            values, signs = (numbers.margin, numbers.expanded), "≥"
        case Verdict.OUT_OF_RANGE:
            values, signs = (numbers.margin, -numbers.expanded), "<"
        case _:
            values, signs = (numbers.margin, numbers.expanded), "<"
    rule = scale.comparison(*values, signs=signs, are_widths=True)
    yield line("Rule", "x", rule, "in range from U on, out of range below −U")


def reversal_lines(mark: ReadingMark, numbers: ReversalNumbers) -> Iterable[WorkingLine]:
    scale = _scale(mark, max(each.u for each in numbers.terms))
    for sign, term in zip("12", numbers.terms, strict=True):
        yield from _term_lines(term, sign, scale)
    yield line("Factor, 95.45 %", "k", number(numbers.factor, 2), "normal")
    for sign, term in zip("12", numbers.terms, strict=True):
        expanded = numbers.factor * term.u
        beyond = abs(term.value) > expanded
        rule = scale.comparison(abs(term.value), expanded, signs=">" if beyond else "≤", are_widths=True)
        yield line(f"Is “{term.title}” told from zero?", f"|y{_below(sign)}|", rule, "against k·u")
    before, after = numbers.terms
    signs = "opposite" if before.value * after.value < 0 else "the same"
    yield line("Rule", "", f"signs are {signs}", "both told from zero, and on opposite sides of it")


def closure_lines(mark: ReadingMark, numbers: ClosureNumbers) -> Iterable[WorkingLine]:
    scale = _scale(mark, numbers.u)
    for sign, term in zip("HLΔ", numbers.terms, strict=True):
        yield from _term_lines(term, sign, scale)
    yield line("What follows", "pH − pL", scale.width(numbers.computed))
    yield line("Combined", "u", scale.width(numbers.u), "√(uH² + uL² + uΔ²)")
    yield line(
        "Allowed between them", "U", scale.width(numbers.allowed), f"{number(numbers.factor, 2)}·u, 95.45 %"
    )
    yield line("Out of range from", "", scale.width(numbers.far), "3·u, 99.73 %")
    off = abs(numbers.terms[-1].value - numbers.computed)
    yield line("Rule", "|yΔ − (pH − pL)|", _rule(mark, numbers, off, out="≥"))


def repeats_lines(mark: ReadingMark, numbers: RepeatsNumbers) -> Iterable[WorkingLine]:
    scale = _scale(mark, numbers.repeat_sd or numbers.step)
    for place, term in enumerate(numbers.terms, start=1):
        yield line(term.title, f"y{_below(str(place))}", _shown(term), "as typed")
    yield line("Apart by", "x", scale.width(numbers.spread), "the largest − the smallest")
    yield line("Repeat noise", "s", scale.width(numbers.repeat_sd), "repeats of the baseline")
    count = len(numbers.terms)
    yield line("Factor, 95 %", f"f({count})", number(numbers.factor, 2), "critical range, ISO 5725-6, 4.1.4")
    yield line("Factor, 99.73 %", "f′", number(numbers.far_factor, 2), "the same at that level")
    yield line("A step of the display", "r", scale.width(numbers.step), "neighbouring digits always agree")
    yield line("Allowed", "f·s", scale.width(numbers.allowed), "or r, if that is wider")
    yield line("Out of range beyond", "f′·s", scale.width(numbers.far), "or r, if that is wider")
    yield line("Rule", "x", _rule(mark, numbers, numbers.spread, out=">"))


def zero_lines(mark: ReadingMark, numbers: ZeroNumbers) -> Iterable[WorkingLine]:
    allowed = numbers.digits * numbers.resolution
    scale = Scale(unit=mark.unit, decimals=mark.decimals)
    yield as_typed(mark)
    yield line("A step of the display", "r", scale.width(numbers.resolution))
    yield line("Allowed", "d·r", scale.width(allowed), f"{numbers.digits:g} × r")
    off = abs(numbers.value)
    sign = "≤" if off <= allowed * (1 + TIE) else ">"
    yield line("Rule", "|y|", scale.comparison(off, allowed, signs=sign, are_widths=True))


def _scale(mark: ReadingMark, u: float) -> Scale:
    return Scale.to_second_digit(u, unit=mark.unit)


def _term_lines(term: Term, sign: str, scale: Scale) -> Iterable[WorkingLine]:
    subscript = _below(sign)
    yield line(term.title, f"y{subscript}", _shown(term), "as typed")
    instrument = term.instrument
    spec = "" if instrument is None else f"{instrument.tag}: {specification(instrument)}; "
    yield line(
        f"Uncertainty of “{term.title}”", f"u{subscript}", scale.width(term.u), f"{spec}√(a²/3 + r²/12)"
    )


def _below(sign: str) -> str:
    """Digits as subscripts."""
    return sign.translate(str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉"))


def _shown(term: Term) -> str:
    return NARROW_SPACE.join(filter(None, figures_and_unit(term.shown, unit=term.unit)))


def _rule(mark: ReadingMark, numbers: ClosureNumbers | RepeatsNumbers, off: float, *, out: str) -> str:
    """``out`` is the sign with which a difference is out of range: from `far` on, or beyond it."""
    allowed, far = numbers.allowed, numbers.far
    scale = _scale(mark, allowed)
    match mark.verdict:
        case Verdict.IN_RANGE:
            return scale.comparison(off, allowed, signs="≤", are_widths=True)
        case Verdict.OUT_OF_RANGE:
            return scale.comparison(off, far, signs=out, are_widths=True)
        case _:
            return scale.comparison(
                allowed, off, far, signs=["<", "<" if out == "≥" else "≤"], are_widths=True
            )
