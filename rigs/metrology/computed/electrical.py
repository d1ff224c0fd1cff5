"""Resistances that have something to be taken out of them: the leads, or the warmth of a winding."""

from typing import Final

from rigs.metrology.computed.calculator import Calculator, Input, Measure
from rigs.metrology.quantities import Quantity
from rigs.metrology.samples import positive

COPPER: Final = 234.5
"""°C below zero at which the straight line through copper's resistance would reach 0 Ω."""


def without_leads(*, resistance: float, leads: float) -> float:
    """Below zero where the leads alone read more than the contact with them: then one of the two is wrong."""
    return resistance - leads


def winding_resistance(*, resistance: float, measured_at: float, wanted_at: float) -> float:
    """Ω of a copper winding at another temperature: R (234.5 + t₂) ÷ (234.5 + t₁), in °C."""
    warm = positive(COPPER + wanted_at, of="234.5 + temperature wanted")
    return positive(resistance, of="resistance", or_zero=True) * (
        warm / positive(COPPER + measured_at, of="234.5 + temperature measured at")
    )


_OHMS: Final = Input(name="resistance", label="resistance", quantity=Quantity.RESISTANCE, unit="Ω")

ELECTRICAL: Final = (
    Calculator(
        name="without-leads",
        label="Resistance without the leads",
        inputs=(
            _OHMS,
            Input(name="leads", label="resistance of the leads", quantity=Quantity.RESISTANCE, unit="Ω"),
        ),
        output=Measure(quantity=Quantity.RESISTANCE, unit="Ω"),
        formula="resistance = reading − leads",
        source="common practice, no source",
        function=without_leads,
    ),
    Calculator(
        name="winding-resistance",
        label="Copper winding at another temperature",
        inputs=(
            _OHMS,
            Input(
                name="measured_at",
                label="temperature measured at",
                quantity=Quantity.TEMPERATURE,
                unit="°C",
            ),
            Input(name="wanted_at", label="temperature wanted", quantity=Quantity.TEMPERATURE, unit="°C"),
        ),
        output=Measure(quantity=Quantity.RESISTANCE, unit="Ω"),
        formula="R wanted = R measured × (234.5 + t wanted) ÷ (234.5 + t measured)",
        source="234.5 for copper as in IEC 60335-1, from memory",
        function=winding_resistance,
    ),
)
