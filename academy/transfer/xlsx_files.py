"""Workbooks (ISO/IEC 29500): the values of the first sheet. What is worked out by a formula isn't a value."""

import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.utils.exceptions import InvalidFileException

from academy.transfer.tables import MOST_COLUMNS, MOST_ROWS, FileRefused, Grid, Line, Value

BEGINS = b"PK\x03\x04"
LARGEST_UNPACKED = 20 * 1024 * 1024
MOST_PARTS = 200
BROKEN = "The workbook can’t be read. Save it again as XLSX, or as “CSV UTF-8”."
FIXED = re.compile(r"0(?:\.(0+))?")


def read(content: bytes) -> Grid:
    """Read the first sheet's rows that have something in them. Raises FileRefused."""
    _require_harmless(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions, which hold no values
            workbook = load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
            try:
                return Grid(lines=_lines(workbook))
            finally:
                workbook.close()
    except FileRefused:
        raise
    except (
        AttributeError,
        InvalidFileException,
        KeyError,
        OSError,
        SyntaxError,  # of XML
        TypeError,
        ValueError,
        zipfile.BadZipFile,
    ) as error:
        raise FileRefused(BROKEN) from error


def write(header: Sequence[str], rows: Iterable[Sequence[Value]], *, title: str) -> bytes:
    """One sheet. Text is stored as text, so that nothing in it is ever taken for a formula."""
    workbook = Workbook()
    sheet = workbook.active
    assert sheet is not None  # a new one has it
    sheet.title = title
    for number, row in enumerate([header, *rows], start=1):
        for place, value in enumerate(row, start=1):
            cell = sheet.cell(row=number, column=place)
            if isinstance(value, str):
                cell.value = ILLEGAL_CHARACTERS_RE.sub("\N{REPLACEMENT CHARACTER}", value)
                cell.data_type = "s"
            else:
                cell.value = value
    sheet.freeze_panes = "A2"
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _require_harmless(content: bytes) -> None:
    """Refuse what would fill the memory: a workbook is a ZIP, and its XML has no DTD (ISO/IEC 29500-2)."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            known = parts.infolist()
            if len(known) > MOST_PARTS or sum(part.file_size for part in known) > LARGEST_UNPACKED:
                raise FileRefused("The workbook is too large. Send the one sheet alone, or CSV.")
            if any(b"<!DOCTYPE" in parts.read(part) for part in known):
                raise FileRefused(BROKEN)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError) as error:
        raise FileRefused(BROKEN) from error


def _lines(workbook: Any) -> list[Line]:
    if not workbook.worksheets:
        raise FileRefused("The workbook has no sheet with rows.")
    sheet = workbook.worksheets[0]
    sheet.reset_dimensions()  # what a file says of its size may be wrong
    lines: list[Line] = []
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if number > MOST_ROWS * 10:
            raise FileRefused("Something stands far below the rows. Delete the empty rows between.")
        if len(row) > MOST_COLUMNS:
            raise FileRefused(f"The sheet has {len(row)} columns; {MOST_COLUMNS} are the most.")
        line = _line(number, row)
        if line.flaws or any(cell.strip() for cell in line.cells):
            lines.append(line)
        if len(lines) > MOST_ROWS + 1:
            raise FileRefused(f"The sheet has more than {MOST_ROWS} rows. Send it in parts.")
    return lines


def _line(number: int, row: Sequence[Any]) -> Line:
    flaws = {}
    for place, cell in enumerate(row):
        if cell.data_type == "f":
            flaws[place] = "This is a formula. Paste its value in its place."
        elif cell.data_type == "e":
            flaws[place] = f"The spreadsheet shows an error here: {cell.value}."
    cells = ["" if place in flaws else _text(cell) for place, cell in enumerate(row)]
    return Line(number=number, cells=cells, flaws=flaws)


def _text(cell: Any) -> str:
    value = cell.value
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int() | float():
            return _number(value, form=cell.number_format or "")
        case datetime():
            return value.isoformat() if value.time() != time() else value.date().isoformat()
        case date() | time():
            return value.isoformat()
    return str(value)


def _number(value: float, *, form: str) -> str:
    """A number as the sheet shows it, where that says the same: 1.60 has a digit that 1.6 hasn't."""
    fixed = FIXED.fullmatch(form)
    shown = f"{value:.{len(fixed.group(1) or '')}f}" if fixed else ""
    if shown and float(shown) == value:
        return shown
    return f"{Decimal(repr(value)).normalize():f}"
