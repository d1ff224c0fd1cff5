"""The working behind a verdict, line by line: somebody with a calculator can follow it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from academy.strip import number
from assessments.marking.results import Numbers, ReadingMark
from assessments.strips import figures_and_unit
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import from_si, si_factor

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"
FLOOR_COUNTS = 1 + 1e-9
MOST_DECIMALS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingLine:
    """A quantity, its symbol as in the GUM, its figure with unit, and where it comes from."""

    label: str
    symbol: str
    figure: str
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingRow:
    """The same line of several readings, with a figure each: empty for a reading that has no such line."""

    label: str
    symbol: str
    source: str
    figures: tuple[str, ...]


def working_of(mark: ReadingMark) -> tuple[WorkingLine, ...]:
    """Every figure behind an 'agrees' verdict in the unit that was typed; nothing for the other checks.

    Figures with that unit are given to the second digit of the combined uncertainty.
    """
    return () if mark.numbers is None else tuple(_lines(mark, mark.numbers))


def side_by_side(workings: Sequence[Sequence[WorkingLine]]) -> tuple[WorkingRow, ...]:
    """The workings of several readings as the rows of one table."""
    lines = {line.label: line for working in workings for line in working}
    figures = [{line.label: line.figure for line in working} for working in workings]
    return tuple(
        WorkingRow(
            label=line.label,
            symbol=line.symbol,
            source=line.source,
            figures=tuple(each.get(line.label, "") for each in figures),
        )
        for line in sorted(lines.values(), key=lambda line: LABELS.index(line.label))
    )


READING, VALUE, REPEATS = "Reading", "The rig today", "Repeat noise"
VALUE_U, INSTRUMENT_U = "Uncertainty of the rig’s value", "Uncertainty of the instrument"
COMBINED, FLOOR, DOF = "Combined", "The centre’s floor", "Degrees of freedom, effective"
FACTOR, RANGE, DISTANCE, RULE = "Factor, 95.45 %", "Expected range", "Distance", "Rule"
LABELS = (
    READING,
    VALUE,
    REPEATS,
    VALUE_U,
    INSTRUMENT_U,
    COMBINED,
    FLOOR,
    DOF,
    FACTOR,
    RANGE,
    DISTANCE,
    RULE,
)


def _lines(mark: ReadingMark, numbers: Numbers) -> Iterable[WorkingLine]:
    unit, digits = mark.unit, _decimals(numbers.u / si_factor(mark.unit))

    def level(si: float) -> str:
        return number(from_si(si, unit=unit), digits)

    def width(si: float) -> str:
        return f"{number(si / si_factor(unit), digits)}{NARROW_SPACE}{unit}"

    def line(label: str, symbol: str, figure: str, source: str = "") -> WorkingLine:
        return WorkingLine(label=label, symbol=symbol, figure=figure, source=source)

    combined = math.hypot(numbers.repeat_sd, numbers.value_u, numbers.instrument_u)
    yield line(READING, "y", NARROW_SPACE.join(figures_and_unit(mark.shown, unit=unit)), "as typed")
    yield line(
        VALUE, "m", f"{level(numbers.value)}{NARROW_SPACE}{unit}", "baseline and checks up to the start"
    )
    yield line(REPEATS, "s", width(numbers.repeat_sd), "repeats of the baseline")
    yield line(
        VALUE_U,
        "u(m)",
        width(numbers.value_u),
        "drift, session, reference instrument, its share of the repeats",
    )
    yield line(
        INSTRUMENT_U, "u(i)", width(numbers.instrument_u), "specification’s half-width ÷ √3, display ÷ √12"
    )
    yield line(COMBINED, "u", width(combined), "√(s² + u(m)² + u(i)²)")
    if numbers.u > combined * FLOOR_COUNTS:
        yield line(FLOOR, "u", width(numbers.u), "the range is never narrower, so u is scaled up to it")
    dof = "∞" if numbers.dof is None else number(numbers.dof, 1)
    yield line(DOF, "ν", dof, "Welch–Satterthwaite")
    yield line(FACTOR, "t", number(numbers.t_in, 2), "Student’s t at ν")
    yield line(RANGE, "m ± t·u", f"{level(numbers.lower)} to {level(numbers.upper)}{NARROW_SPACE}{unit}")
    yield from _verdict_lines(mark.verdict, numbers)


def _verdict_lines(verdict: Verdict, numbers: Numbers) -> Iterable[WorkingLine]:
    decimals = _telling(abs(numbers.zeta), numbers.t_in, numbers.t_out)
    zeta, t_in, t_out = (number(each, decimals) for each in (abs(numbers.zeta), numbers.t_in, numbers.t_out))
    match verdict:
        case Verdict.IN_RANGE:
            rule = f"{zeta} ≤ {t_in}"
        case Verdict.OUT_OF_RANGE:
            rule = f"{zeta} ≥ {t_out}"
        case _:
            rule = f"{t_in} < {zeta} < {t_out}"
    yield WorkingLine(
        label=DISTANCE,
        symbol="ζ",
        figure=number(numbers.zeta, decimals),
        source="(y − m)/u: the zeta score of ISO 13528",
    )
    yield WorkingLine(
        label=RULE,
        symbol="|ζ|",
        figure=rule,
        source="in range up to t at 95.45 %, out of range from t at 99.73 %",
    )


def _decimals(u: float) -> int:
    """Decimals down to the second digit of an uncertainty."""
    return max(0, 1 - math.floor(math.log10(u))) if u > 0 else 0


def _telling(zeta: float, *limits: float) -> int:
    """The fewest decimals, from two up, at which a distance doesn't look as if it were at a limit."""
    for decimals in range(2, MOST_DECIMALS):
        if all(number(zeta, decimals) != number(limit, decimals) for limit in limits):
            return decimals
    return MOST_DECIMALS
