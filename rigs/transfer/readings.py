"""What stands in a cell, as a unit or a reading."""

from academy.transfer.cells import text
from academy.transfer.tables import CellRefused, Row
from rigs.metrology.quantities import UNITS, Quantity
from rigs.metrology.readings import ReadingError, TypedReading, parse


def unit(row: Row, column: str, *, quantities: tuple[Quantity, ...]) -> tuple[Quantity, str]:
    """A unit of one of these quantities by its label or another spelling, with the quantity."""
    typed = text(row, column)
    for quantity in quantities:
        try:
            found = parse(f"1 {typed}", quantity=quantity, unit=UNITS[quantity][0])
        except ReadingError:
            continue
        assert found.unit is not None  # a value has one
        return quantity, found.unit
    measured = " or ".join(quantity.words for quantity in quantities)
    listed = ", ".join(each for quantity in quantities for each in UNITS[quantity])
    raise CellRefused(f"“{typed}” is no unit of {measured}. Use one of: {listed}.", column=column)


def reading(row: Row, column: str, *, quantity: Quantity, unit: str) -> TypedReading:
    """A reading, as a person types it off a display."""
    try:
        return parse(text(row, column), quantity=quantity, unit=unit)
    except ReadingError as error:
        raise CellRefused(str(error), column=column) from error
