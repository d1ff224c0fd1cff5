"""Every calculator by its name."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rigs.metrology.computed.calculator import Calculator
from rigs.metrology.computed.comparisons import COMPARISONS
from rigs.metrology.computed.electrical import ELECTRICAL
from rigs.metrology.computed.gas import GAS
from rigs.metrology.computed.thermometers import THERMOMETERS

CALCULATORS: Final[Mapping[str, Calculator]] = MappingProxyType(
    {each.name: each for each in (*COMPARISONS, *GAS, *ELECTRICAL, *THERMOMETERS)}
)
