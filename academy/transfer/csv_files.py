"""Comma-separated values (RFC 4180), as spreadsheets write and read them."""

import codecs
import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date

from academy.transfer.tables import FileRefused, Grid, Line, Value

SEPARATORS = (",", ";", "\t")
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
AS_WINDOWS_1252 = (
    "The file isn’t in UTF-8; it was read as Windows-1252. Look at letters such as µ, ° and é. "
    "To be sure, save it as “CSV UTF-8”."
)

# A spreadsheet takes a cell that begins like this for a formula and works it out (OWASP, CSV injection).
FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def read(content: bytes) -> Grid:
    """Read the rows that have something in them. Raises FileRefused.

    UTF-8 with or without its mark, or else Windows-1252, which the grid's note says. The separator is the
    one that parts the header into most cells.
    """
    text, note = _decoded(content)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    lines = []
    try:
        for number, cells in enumerate(reader, start=1):
            if any(cell.strip() for cell in cells):
                lines.append(Line(number=number, cells=[_unguarded(cell) for cell in cells], flaws={}))
    except csv.Error as error:
        raise FileRefused(
            f"Line {reader.line_num} can’t be parted into cells: are its quotation marks in pairs?"
        ) from error
    return Grid(lines=lines, note=note)


def write(header: Sequence[str], rows: Iterable[Sequence[Value]]) -> bytes:
    """UTF-8 with its mark, without which some spreadsheets take it for Windows-1252.

    A text that a spreadsheet would take for a formula gets an apostrophe before it, which `read` takes off.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([_guarded(_text(value)) for value in row] for row in rows)
    return codecs.BOM_UTF8 + out.getvalue().encode()


def _decoded(content: bytes) -> tuple[str, str]:
    if content.startswith(UTF_16):
        raise FileRefused("The file is in UTF-16. Save it as “CSV UTF-8”.")
    if b"\0" in content:
        raise FileRefused("The file isn’t text. Send a CSV file or an XLSX workbook.")
    try:
        return content.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252"), AS_WINDOWS_1252
    except UnicodeDecodeError as error:
        raise FileRefused("The file’s letters can’t be read. Save it as “CSV UTF-8”.") from error


def _separator(text: str) -> str:
    def parts(separator: str) -> int:
        first = csv.reader(io.StringIO(text.lstrip("\r\n"), newline=""), delimiter=separator)
        try:
            return len(next(first, []))
        except csv.Error:
            return 0

    return max(SEPARATORS, key=parts)


def _text(value: Value) -> str:
    if isinstance(value, int | float):
        return repr(value).removesuffix(".0")
    return value.isoformat() if isinstance(value, date) else value or ""


def _guarded(text: str) -> str:
    is_taken_for_one = FORMULA.match(text) and not PLAIN_NUMBER.fullmatch(text)
    return f"'{text}" if is_taken_for_one else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text
