"""A person's own working: whether an answer follows from their own earlier figures, and if not, which slip.

Each answer is worked out again from the figures that the person had by then, right or wrong. So one slip is
found once, where it was made, and what follows from it still follows.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final, TypeAlias

from rigs.metrology.computed.calculator import Calculator, Figures, Formula, slopes
from rigs.metrology.computed.gas import BTU_PER_KWH, GROSS_TO_NET
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.computed.thermometers import NTC_TABLES
from rigs.metrology.conformity import TIE
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading
from rigs.metrology.samples import SampleError, finite, positive


class SlipKind(StrEnum):
    """In order of preference: where two would explain an answer, the first is named.

    What is particular to a calculation comes before what can happen to any figure.
    """

    LEADS = "leads-not-taken-off"
    GROSS_FOR_NET = "gross-for-net"
    NET_FOR_GROSS = "net-for-gross"
    INVERTED = "inverted"
    WRONG_BASE = "wrong-base"
    OTHER_TABLE = "other-table"
    SIGN = "sign"
    HOURS_FOR_SECONDS = "hours-for-seconds"
    MINUTES_FOR_SECONDS = "minutes-for-seconds"
    HEAT_UNIT = "heat-unit"
    FACTOR_100 = "factor-100"
    FACTOR_1000 = "factor-1000"
    FACTOR_10 = "factor-10"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A figure in the calculator's output unit, and one step of its last digit."""

    value: float
    resolution: float

    def __post_init__(self) -> None:
        finite(self.value, of="answer")
        positive(self.resolution, of="answer's last digit")

    @classmethod
    def typed(cls, reading: TypedReading, *, calculator: Calculator) -> "Answer":
        """An answer as it was typed, in whichever unit. Raises SampleError where it isn't a value."""
        measure = calculator.output
        return cls(value=measure.figure(reading), resolution=measure.resolution(reading))


@dataclass(frozen=True, slots=True, kw_only=True)
class Follows:
    """`computed`, here and in the other two, is unrounded, in the output's unit.

    `allowed` is what may lie between it and the answer.
    """

    computed: float
    allowed: float
    sentence: str = "It follows from your own figures."


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    kind: SlipKind
    computed: float
    allowed: float
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unexplained:
    computed: float
    allowed: float
    sentence: str = "It doesn't follow from your own figures, and no common slip explains it."


Explanation: TypeAlias = Follows | Slip | Unexplained


def explain(
    calculator: Calculator,
    *,
    inputs: Figures,
    answer: Answer,
    carried: Mapping[str, float] | None = None,
    allowance: float = 0.0,
) -> Explanation:
    """Whether an answer follows from `inputs`, the person's own figures in the calculator's units.

    It follows when it is the result rounded to the answer's own last digit. `carried` has, by input, the last
    digit of an earlier answer, which may have been carried on unrounded. `allowance` is what else may lie
    between, in the output's unit: a table read by eye. Raises SampleError where nothing can be worked out.
    """
    computed = calculator.compute(inputs)
    worked = _Working(
        inputs=inputs,
        answer=answer,
        carried=MappingProxyType(dict(carried or {})),
        allowance=positive(allowance, of="allowance", or_zero=True),
        constants=calculator.constants,
    )
    allowed = worked.half_width(calculator.compute)
    if worked.gives(calculator.compute):
        return Follows(computed=computed, allowed=allowed)
    for wrong in wrong_ways(calculator):
        if worked.is_explained_by(wrong.formula):
            return Slip(kind=wrong.kind, computed=computed, allowed=allowed, sentence=wrong.sentence)
    return Unexplained(computed=computed, allowed=allowed)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Working:
    inputs: Figures
    answer: Answer
    carried: Mapping[str, float]
    allowance: float
    constants: float

    def gives(self, formula: Formula) -> bool:
        """Whether the formula gives the answer, to half its last digit."""
        value, half_width = formula(self.inputs), self.half_width(formula)
        return abs(self.answer.value - value) <= half_width + TIE * (abs(value) + half_width)

    def half_width(self, formula: Formula) -> float:
        """How far from the formula's result an answer may be."""
        half_width = self.answer.resolution / 2 + self.allowance
        if self.constants:
            half_width += self.constants * abs(formula(self.inputs))
        if self.carried:
            found = slopes(formula, figures=self.inputs)
            half_width += sum(
                abs(slope) * last / 2 for name, last in self.carried.items() for slope in found[name]
            )
        return half_width

    def is_explained_by(self, formula: Formula) -> bool:
        """As `gives`, but an answer with no digit left, such as 0, is explained by nothing."""
        try:
            return abs(formula(self.inputs)) >= self.answer.resolution and self.gives(formula)
        except (SampleError, ZeroDivisionError):
            return False


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongWay:
    """A formula with one slip in it."""

    kind: SlipKind
    sentence: str
    formula: Formula


def wrong_ways(calculator: Calculator) -> Iterator[WrongWay]:
    """Every slip that can be made in a calculation, in order of preference."""
    for rule in _RULES:
        yield from rule(calculator)


def _leads(calculator: Calculator) -> Iterable[WrongWay]:
    if calculator.input("leads"):
        yield WrongWay(
            kind=SlipKind.LEADS,
            sentence="The leads have not been taken off.",
            formula=_with(calculator, "leads", lambda _: 0.0),
        )


def _basis(calculator: Calculator) -> Iterable[WrongWay]:
    if calculator.input("gross_to_net"):
        yield WrongWay(
            kind=SlipKind.GROSS_FOR_NET,
            sentence="This is the gross figure; the net is due.",
            formula=_with(calculator, "gross_to_net", lambda _: 1.0),
        )
    elif calculator.input("calorific_value"):
        for ratio in GROSS_TO_NET:
            yield WrongWay(
                kind=SlipKind.NET_FOR_GROSS,
                sentence="This is the net figure; the gross is due.",
                formula=_times(calculator, 1 / ratio),
            )


def _inverted(calculator: Calculator) -> Iterable[WrongWay]:
    if calculator.name in {"ratio", "margin"}:
        yield WrongWay(
            kind=SlipKind.INVERTED,
            sentence="The ratio is upside down.",
            formula=lambda figures: 1 / calculator.compute(figures),
        )
    elif calculator.input("gross_to_net"):
        yield WrongWay(
            kind=SlipKind.INVERTED,
            sentence="The gross was multiplied by the ratio; dividing by it gives the net.",
            formula=_with(calculator, "gross_to_net", lambda ratio: 1 / ratio),
        )
    elif calculator.name == "winding-resistance":
        yield WrongWay(
            kind=SlipKind.INVERTED,
            sentence="The two temperatures are in each other's place.",
            formula=_swapped(calculator, "measured_at", "wanted_at"),
        )


def _wrong_base(calculator: Calculator) -> Iterable[WrongWay]:
    if calculator.name == "percentage-drop":
        swapped = _swapped(calculator, "before", "after")
        yield WrongWay(
            kind=SlipKind.WRONG_BASE,
            sentence="This is a percentage of the later reading; one of the earlier is due.",
            formula=lambda figures: -swapped(figures),
        )


def _other_table(calculator: Calculator) -> Iterable[WrongWay]:
    for name, table in NTC_TABLES.items():
        for what in ("temperature", "resistance", "error"):
            if calculator.name in {f"ntc-{each}-{what}" for each in NTC_TABLES if each != name}:
                yield WrongWay(
                    kind=SlipKind.OTHER_TABLE,
                    sentence=f"This is from the table of the {table.label}.",
                    formula=CALCULATORS[f"ntc-{name}-{what}"].compute,
                )


def _sign(calculator: Calculator) -> Iterable[WrongWay]:
    yield WrongWay(
        kind=SlipKind.SIGN,
        sentence="The size is right and the sign is wrong.",
        formula=_times(calculator, -1),
    )


def _time_unit(calculator: Calculator) -> Iterable[WrongWay]:
    if not calculator.input("time"):
        return
    for kind, seconds, name in (
        (SlipKind.HOURS_FOR_SECONDS, 3600, "hour"),
        (SlipKind.MINUTES_FOR_SECONDS, 60, "minute"),
    ):
        yield WrongWay(
            kind=kind,
            sentence=f"The time was put in as {name}s; the formula takes seconds.",
            formula=_times(calculator, seconds),
        )
        yield WrongWay(
            kind=kind,
            sentence=f"The seconds were taken for {name}s.",
            formula=_times(calculator, 1 / seconds),
        )


def _heat_unit(calculator: Calculator) -> Iterable[WrongWay]:
    calorific_value = calculator.input("calorific_value")
    if calorific_value is None:
        return
    is_metric = calorific_value.unit == "MJ/m³"
    size, name = (3.6, "megajoules") if is_metric else (BTU_PER_KWH, "British thermal units")
    yield WrongWay(
        kind=SlipKind.HEAT_UNIT,
        sentence=f"This is in {name} an hour; {size:g} of them are a kilowatt.",
        formula=_times(calculator, size),
    )


# What a factor may come from: the units that a result scales with, then the smaller and the larger mistaken.
_MISTAKEN: Final[Mapping[int, tuple[tuple[frozenset[str], str, str], ...]]] = {
    10: (),
    100: (
        (frozenset({"mbar"}), "pascals", "millibar"),
        (frozenset({"1", "%"}), "a percentage", "a plain ratio"),
    ),
    1000: (
        (frozenset({"m³", "m³/h", "l"}), "litres", "cubic metres"),
        (frozenset({"Ω"}), "ohms", "kilohms"),
        (frozenset({"kW"}), "watts", "kilowatts"),
    ),
}
_PLACES: Final[Mapping[int, str]] = {10: "one place", 100: "two places", 1000: "three places"}


def _factors(calculator: Calculator) -> Iterable[WrongWay]:
    for kind, factor in (
        (SlipKind.FACTOR_100, 100),
        (SlipKind.FACTOR_1000, 1000),
        (SlipKind.FACTOR_10, 10),
    ):
        for is_large in (True, False):
            yield WrongWay(
                kind=kind,
                sentence=_factor_sentence(calculator, factor, is_large=is_large),
                formula=_times(calculator, factor if is_large else 1 / factor),
            )


def _factor_sentence(calculator: Calculator, factor: int, *, is_large: bool) -> str:
    size = f"{factor} times too {'large' if is_large else 'small'}"
    units = _scaling_units(calculator)
    reasons = [
        f"{smaller} were {larger}" if is_large else f"{larger} were {smaller}"
        for scaling, smaller, larger in _MISTAKEN[factor]
        if scaling & units
    ]
    if reasons:
        return f"{size}, as if {' or '.join(reasons)}."
    return f"{size}: the decimal point is {_PLACES[factor]} off."


def _scaling_units(calculator: Calculator) -> set[str | None]:
    """Units of the result and of what goes into it. Temperatures and stated ratios don't scale."""
    if calculator.output.quantity is Quantity.TEMPERATURE:
        return set()
    read = (each.unit for each in calculator.inputs if each.quantity is not Quantity.DIMENSIONLESS)
    return {calculator.output.unit, *read}


def _with(calculator: Calculator, name: str, changed: Callable[[float], float]) -> Formula:
    def formula(figures: Figures) -> float:
        value = figures[name]
        assert not isinstance(value, tuple)  # none of those changed here has repeats
        return calculator.compute({**figures, name: changed(value)})

    return formula


def _swapped(calculator: Calculator, one: str, other: str) -> Formula:
    return lambda figures: calculator.compute({**figures, one: figures[other], other: figures[one]})


def _times(calculator: Calculator, factor: float) -> Formula:
    return lambda figures: factor * calculator.compute(figures)


_RULES: Final[tuple[Callable[[Calculator], Iterable[WrongWay]], ...]] = (
    _leads,
    _basis,
    _inverted,
    _wrong_base,
    _other_table,
    _sign,
    _time_unit,
    _heat_unit,
    _factors,
)
