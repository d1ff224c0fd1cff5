"""Rows of a spreadsheet, whatever kind of file they came in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

MOST_ROWS = 2000
MOST_COLUMNS = 60
LARGEST_BYTES = 1024 * 1024

Value = str | float | date | None


class FileRefused(ValueError):
    """A file of which no row can be read. The message says what to do, in the user's words."""


class CellRefused(ValueError):
    """What stands in one cell can't be used. The message doesn't name the column: ``column`` does."""

    def __init__(self, message: str, *, column: str = "") -> None:
        super().__init__(message)
        self.column = column


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """``needed`` may not be left out of the header, nor empty in a row. ``most`` is in characters."""

    name: str
    help: str
    needed: bool = True
    most: int = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row by the number that a spreadsheet shows beside it. ``flaw`` is what made it unreadable."""

    number: int
    cells: Mapping[str, str]
    flaw: CellRefused | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A row as it was read, before its cells have names. ``flaws`` are cells that hold no plain value."""

    number: int
    cells: Sequence[str]
    flaws: Mapping[int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The lines of a file that have something in them, the header first. ``note`` is for whoever sent it."""

    lines: Sequence[Line]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    rows: Sequence[Row]
    note: str = ""


def table_of(grid: Grid, *, columns: Sequence[Column]) -> Table:
    """Give the cells their columns' names. Raises FileRefused for a header that doesn't fit."""
    if not grid.lines:
        raise FileRefused("The file is empty: its first row names the columns.")
    header, *lines = grid.lines
    names = _names(header, columns)
    if not lines:
        raise FileRefused("The file has its header and no rows below it.")
    if len(lines) > MOST_ROWS:
        raise FileRefused(f"The file has {len(lines)} rows; {MOST_ROWS} are the most. Send it in parts.")
    return Table(rows=[_row(line, names) for line in lines], note=grid.note)


def _names(header: Line, columns: Sequence[Column]) -> list[str]:
    known = {folded(column.name): column.name for column in columns}
    listed = ", ".join(known.values())
    names = []
    for cell in _without_tail(header.cells):
        name = known.get(folded(cell))
        if name is None:
            raise FileRefused(f"There is no column “{cell.strip()}”. The columns are: {listed}.")
        if name in names:
            raise FileRefused(f"The column “{name}” is there twice.")
        names.append(name)
    missing = [column.name for column in columns if column.needed and column.name not in names]
    if missing:
        raise FileRefused(f"The column “{missing[0]}” is missing. The columns are: {listed}.")
    return names


def folded(name: str) -> str:
    """A column's name, whatever its capitals and whatever joins its words."""
    return " ".join(name.replace("_", " ").replace("-", " ").split()).casefold()


def _row(line: Line, names: Sequence[str]) -> Row:
    cells = _without_tail(line.cells)
    flaw = None
    if len(cells) > len(names):
        flaw = CellRefused(
            f"This row has {len(cells)} cells and the header {len(names)}. A text with the separator in it "
            "belongs in quotation marks."
        )
    elif line.flaws:
        place, why = next(iter(line.flaws.items()))
        flaw = CellRefused(why, column=names[place] if place < len(names) else "")
    filled = [*cells, *[""] * (len(names) - len(cells))]
    return Row(number=line.number, cells=dict(zip(names, filled, strict=False)), flaw=flaw)


def _without_tail(cells: Sequence[str]) -> list[str]:
    """Less the empty cells at the end, which spreadsheets add."""
    kept = list(cells)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept
