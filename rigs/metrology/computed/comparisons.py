"""Results from readings of one kind: means, differences, ratios, and a pressure switch's make and break."""

import statistics
from typing import Final

from rigs.metrology.computed.calculator import Calculator, Input, Measure
from rigs.metrology.quantities import Quantity
from rigs.metrology.samples import SampleError

_PRACTICE: Final = "common practice, no source"
_PLAIN: Final = Measure(quantity=Quantity.DIMENSIONLESS, unit="1")
_PERCENT: Final = Measure(quantity=Quantity.DIMENSIONLESS, unit="%")
_MAKES: Final = Input(
    name="makes", label="make points", quantity=Quantity.PRESSURE, unit="mbar", has_repeats=True
)
_BREAKS: Final = Input(
    name="breaks", label="break points", quantity=Quantity.PRESSURE, unit="mbar", has_repeats=True
)


def mean(*, readings: tuple[float, ...]) -> float:
    return statistics.fmean(readings)


def difference(*, high: float, low: float) -> float:
    return high - low


def ratio(*, of: float, to: float) -> float:
    return of / _not_zero(to, of="the reading divided by")


def percentage_drop(*, before: float, after: float) -> float:
    """Of the earlier reading: 1.60 to 0.60 is 62.5 %. A rise is below zero."""
    return 100 * (before - after) / _not_zero(before, of="the earlier reading")


def hysteresis(*, makes: tuple[float, ...], breaks: tuple[float, ...]) -> float:
    """Mean make less mean break, in their unit: above zero for a switch that makes on a rising pressure."""
    return statistics.fmean(makes) - statistics.fmean(breaks)


def margin(*, running: float, makes: tuple[float, ...]) -> float:
    """How many times the make point the fan's own Δp is."""
    return running / _not_zero(statistics.fmean(makes), of="the make point")


def _not_zero(value: float, *, of: str) -> float:
    if value == 0:
        raise SampleError(f"{of[0].upper()}{of[1:]} is 0, and nothing can be divided by it. Read it again.")
    return value


COMPARISONS: Final = (
    Calculator(
        name="mean",
        label="Mean of repeats",
        inputs=(Input(name="readings", label="repeats", has_repeats=True),),
        output=Measure(),
        formula="mean = sum of the repeats ÷ their number",
        source="JCGM 100:2008, 4.2.1",
        function=mean,
    ),
    Calculator(
        name="difference",
        label="Difference",
        inputs=(Input(name="high", label="higher reading"), Input(name="low", label="lower reading")),
        output=Measure(is_difference=True),
        formula="difference = higher − lower",
        source=_PRACTICE,
        function=difference,
    ),
    Calculator(
        name="ratio",
        label="Ratio",
        inputs=(
            Input(name="of", label="reading divided"),
            Input(name="to", label="reading divided by"),
        ),
        output=_PLAIN,
        formula="ratio = reading divided ÷ reading divided by",
        source=_PRACTICE,
        function=ratio,
    ),
    Calculator(
        name="percentage-drop",
        label="Percentage drop",
        inputs=(
            Input(name="before", label="earlier reading"),
            Input(name="after", label="later reading"),
        ),
        output=_PERCENT,
        formula="drop = 100 × (earlier − later) ÷ earlier",
        source=_PRACTICE,
        function=percentage_drop,
    ),
    Calculator(
        name="hysteresis",
        label="Hysteresis",
        inputs=(_MAKES, _BREAKS),
        output=Measure(quantity=Quantity.PRESSURE, unit="mbar", is_difference=True),
        formula="hysteresis = mean make − mean break",
        source=_PRACTICE,
        function=hysteresis,
    ),
    Calculator(
        name="margin",
        label="Margin over the make point",
        inputs=(
            Input(name="running", label="Δp with the fan running", quantity=Quantity.PRESSURE, unit="mbar"),
            _MAKES,
        ),
        output=_PLAIN,
        formula="margin = running Δp ÷ mean make",
        source=_PRACTICE,
        function=margin,
    ),
)
