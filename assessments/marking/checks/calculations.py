"""What the candidate's own readings come to in a calculator: for limits, and for their answers."""

import math
from dataclasses import dataclass
from decimal import Decimal

from assessments.marking import parameters, wording
from assessments.marking.inputs import ReadingInput
from assessments.marking.numbers import Calculation, Figure
from assessments.marking.parameters import Given, Work
from assessments.marking.rows import Row, instrument_u, value_on
from rigs.metrology.computed.calculator import Calculator, Input
from rigs.metrology.quantities import SI_UNIT, Qualifier, Quantity, from_si, si_factor, to_si
from rigs.metrology.readings import TypedReading
from rigs.metrology.samples import SampleError

PLAIN = SI_UNIT[Quantity.DIMENSIONLESS]


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A calculator with the candidate's figures in it, in its units.

    ``carried`` has the last digit of each figure that is an answer itself, ``u`` the standard uncertainty of
    each that an instrument showed.
    """

    calculator: Calculator
    inputs: tuple["FilledInput", ...]

    @property
    def figures(self) -> dict[str, float | tuple[float, ...]]:
        return {
            each.due.name: each.values if each.due.has_repeats else each.values[0] for each in self.inputs
        }

    @property
    def carried(self) -> dict[str, float]:
        return {each.due.name: each.carried for each in self.inputs if each.carried}

    @property
    def u(self) -> dict[str, float]:
        return {each.due.name: each.u for each in self.inputs if each.u}

    def numbers(self, *, shares: dict[str, float] | None = None) -> Calculation:
        """``shares`` are the parts of the result's uncertainty, by the inputs' labels, where it has one."""
        return Calculation(
            label=self.calculator.label,
            formula=self.calculator.formula,
            source=self.calculator.source,
            unit=without_plain(self.calculator.output.unit),
            figures=tuple(
                Figure(
                    label=each.due.label,
                    unit=without_plain(each.due.unit),
                    values=each.values,
                    origins=each.origins,
                    u=each.u if shares is not None and each.u else None,
                    share=(shares or {}).get(each.due.label),
                )
                for each in self.inputs
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledInput:
    due: Input
    values: tuple[float, ...]
    origins: tuple[str, ...]
    carried: float
    u: float


def filled(row: Row, work: Work) -> Filled | str:
    """A calculator with the figures that a row's step names; why not, where one of them can't be had."""
    slugs = {given for each in work.inputs.values() for given in each if isinstance(given, str)}
    found: dict[str, Row] = {}
    for slug in sorted(slugs):
        other = value_on(row, slug)
        if isinstance(other, str):
            return other
        found[slug] = other
    calculator = parameters.measuring(
        work,
        quantities={slug: each.reading.quantity for slug, each in found.items()},
        default=row.reading.quantity,
    )
    try:
        inputs = tuple(_filled(each, work.inputs[each.name], found) for each in calculator.inputs)
    except SampleError as error:
        return wording.not_worked_out(str(error))
    return Filled(calculator=calculator, inputs=inputs)


def typed(row: Row) -> TypedReading:
    """A value as the calculators take it: with its unit, and the last digit that was typed."""
    reading = row.reading
    return TypedReading(
        text=reading.text,
        quantity=Quantity(reading.quantity),
        qualifier=Qualifier.VALUE,
        value=Decimal(repr(from_si(row.si, unit=reading.unit))),
        unit=reading.unit,
        resolution=last_digit(reading),
    )


def last_digit(reading: ReadingInput) -> Decimal:
    """One step of the last digit that was typed, in the unit typed. Raises SampleError if it isn't known."""
    if not reading.si_resolution:
        raise SampleError(f"How finely “{reading.text}” was written isn't known. Type it again.")
    return Decimal(1).scaleb(round(math.log10(reading.si_resolution / si_factor(reading.unit))))


def in_typed_unit(row: Row, calculator: Calculator, value: float) -> float:
    """A result of the calculator in the unit that the row's answer was typed in."""
    unit, output = row.reading.unit, calculator.output
    if output.unit is None or output.unit == unit:
        return value
    if output.is_difference:
        return value * si_factor(output.unit) / si_factor(unit)
    return from_si(to_si(value, unit=output.unit), unit=unit)


def without_plain(unit: str | None) -> str:
    return "" if unit is None or unit == PLAIN else unit


def _filled(due: Input, given: tuple[Given, ...], found: dict[str, Row]) -> FilledInput:
    rows = [found[each] for each in given if isinstance(each, str)]
    answers = [row for row in rows if row.step.judged_by == "computed"]
    shown = [row for row in rows if row.step.judged_by != "computed" and row.range is not None]
    return FilledInput(
        due=due,
        values=tuple(due.figure(typed(found[each])) if isinstance(each, str) else each for each in given),
        origins=tuple(row.step.title for row in rows),
        carried=max((due.resolution(typed(row)) for row in answers), default=0.0),
        u=max(float(u) for u in instrument_u(shown)) / si_factor(due.unit or PLAIN) if shown else 0.0,
    )
