"""A calculator: a formula with the units, the words and the source that go with it."""

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final, TypeAlias, TypeVar

from rigs.metrology.quantities import SI_UNIT, UNITS, Quantity, from_si, si_factor, to_si, width_to_si
from rigs.metrology.readings import TypedReading
from rigs.metrology.samples import SampleError, finite, sample
from rigs.metrology.uncertainty import Budget, Component, Distribution

Figures: TypeAlias = Mapping[str, float | tuple[float, ...]]
"""A calculator's inputs by name, in its own units; repeats of one input are a tuple."""

Formula: TypeAlias = Callable[[Figures], float]

# Step of a numerical slope, as a share of the figure. It is never less than that share of the second.
_STEP: Final = 1e-5
_SMALLEST: Final = 1e-2


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What a figure measures, and the unit that the formula has it in.

    `quantity` None: in a unit that nothing on the bench reads, such as MJ/m³. `unit` None as well: any one
    quantity, in SI. A difference converts by a factor alone: 1 K of it is 1 °C.
    """

    quantity: Quantity | None = None
    unit: str | None = None
    is_difference: bool = False

    def figure(self, reading: TypedReading) -> float:
        """What was typed, in this unit. Raises SampleError for no value, or one of another quantity."""
        unit = self._unit_for(reading)
        assert reading.value is not None and reading.unit is not None  # seen to by _unit_for
        if reading.unit == unit:
            return float(reading.value)
        if self.is_difference:
            return width_to_si(reading.value, unit=reading.unit) / si_factor(unit)
        return from_si(to_si(reading.value, unit=reading.unit), unit=unit)

    def resolution(self, reading: TypedReading) -> float:
        """One step of the last digit typed, in this unit. Raises SampleError as `figure` does."""
        unit = self._unit_for(reading)
        assert reading.resolution is not None and reading.unit is not None  # seen to by _unit_for
        if reading.unit == unit:
            return float(reading.resolution)
        return width_to_si(reading.resolution, unit=reading.unit) / si_factor(unit)

    def _unit_for(self, reading: TypedReading) -> str:
        if reading.value is None:
            raise SampleError(f"“{reading.text}” is no number, so nothing can be worked out from it.")
        if self.unit is None:
            return SI_UNIT[reading.quantity]
        if self.quantity is not reading.quantity:
            due = self.unit if self.quantity is None else self.quantity.words
            raise SampleError(f"“{reading.text}” is {reading.quantity.words}; {due} is due here.")
        return self.unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Input(Measure):
    """`name` is the formula's own. An input with repeats takes one figure or more."""

    name: str
    label: str
    has_repeats: bool = False

    def checked(self, given: float | tuple[float, ...]) -> float | tuple[float, ...]:
        if self.has_repeats:
            column = sample(given if isinstance(given, tuple) else (given,), of=self.label)
            return tuple(column.tolist())
        if isinstance(given, tuple):
            raise SampleError(f"The {self.label} is one figure, not {len(given)}. Give one.")
        return finite(given, of=self.label)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculator:
    """A formula that a person works out on the bench.

    `function` takes the inputs by their names and raises SampleError. `constants` is how far, relatively, the
    constants of one textbook lie from another's.
    """

    name: str
    label: str
    inputs: tuple[Input, ...]
    output: Measure
    formula: str
    source: str
    function: Callable[..., float]
    constants: float = 0.0

    def compute(self, figures: Figures) -> float:
        """The result in the output's unit. Raises SampleError, saying which figure is missing or can't be."""
        checked = self._checked(figures)
        try:
            result = float(self.function(**checked))
        except OverflowError:
            result = math.inf
        if not math.isfinite(result):
            raise SampleError(f"“{self.label}” can't be worked out from figures of such a size. Check them.")
        return result

    def sensitivity(self, figures: Figures) -> dict[str, tuple[float, ...]]:
        """∂result/∂input, one for each figure of each input, in the output's unit per input's."""
        return slopes(self.compute, figures=self._checked(figures))

    def budget(self, figures: Figures, *, u: Mapping[str, float]) -> Budget:
        """The result's uncertainty by the law of propagation, a line for each input (JCGM 100 5.1.2).

        `u` holds standard uncertainties by input, in its unit; inputs left out are exact. Inputs are taken as
        independent, but the repeats of one as fully correlated (F.1.2.3): an instrument's error is in each of
        them, and a mean doesn't lessen it.
        """
        found = self.sensitivity(figures)
        return Budget(
            components=tuple(
                Component(
                    name=each.label,
                    half_width=u[each.name],
                    distribution=Distribution.STANDARD,
                    sensitivity=sum(found[each.name]),
                )
                for each in self.inputs
                if each.name in u
            )
        )

    def measuring(self, quantity: Quantity) -> "Calculator":
        """This calculator with its open inputs and output set to `quantity`, in its usual unit."""
        return replace(
            self,
            inputs=tuple(_filled(each, quantity) for each in self.inputs),
            output=_filled(self.output, quantity),
        )

    def input(self, name: str) -> Input | None:
        return next((each for each in self.inputs if each.name == name), None)

    def _checked(self, figures: Figures) -> dict[str, float | tuple[float, ...]]:
        known = {each.name for each in self.inputs}
        if strange := sorted(figures.keys() - known):
            raise SampleError(f"“{self.label}” has no use for “{strange[0]}”. Leave it out.")
        for each in self.inputs:
            if each.name not in figures:
                raise SampleError(f"The {each.label} is missing. Give it before working this out.")
        return {each.name: each.checked(figures[each.name]) for each in self.inputs}


_Some = TypeVar("_Some", bound=Measure)


def _filled(measure: _Some, quantity: Quantity) -> _Some:
    return replace(measure, quantity=quantity, unit=UNITS[quantity][0]) if measure.unit is None else measure


def slopes(formula: Formula, *, figures: Figures) -> dict[str, tuple[float, ...]]:
    """Numerical slopes of a formula along each figure: central, or one-sided at the end of a table."""
    return {
        name: tuple(_slope(formula, figures, name=name, place=place) for place in range(_count(value)))
        for name, value in figures.items()
    }


def _count(value: float | tuple[float, ...]) -> int:
    return len(value) if isinstance(value, tuple) else 1


def _slope(formula: Formula, figures: Figures, *, name: str, place: int) -> float:
    value = figures[name]
    here = value[place] if isinstance(value, tuple) else value
    step = _STEP * max(abs(here), _SMALLEST)
    found: list[tuple[float, float]] = []
    for there in (here + step, here - step, here):
        moved = (*value[:place], there, *value[place + 1 :]) if isinstance(value, tuple) else there
        with suppress(SampleError):
            found.append((there, formula({**figures, name: moved})))
    (first, high), (second, low) = found[:2]
    return (high - low) / (first - second)
