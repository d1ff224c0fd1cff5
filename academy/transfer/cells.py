"""What stands in a cell, as a value. Nothing is guessed: what can be read in two ways is refused."""

import math
import re
from datetime import date, datetime, tzinfo

from academy.transfer.tables import CellRefused, Row

DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?([+-][0-9]{2}:[0-9]{2}|Z)?"
)
FIGURE = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?")
THOUSAND_OR_THOUSANDTH = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
TRUTH = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


def text(row: Row, column: str) -> str:
    return row.cells.get(column, "").strip()


def day(row: Row, column: str) -> date | None:
    """A date; None for an empty cell."""
    typed = text(row, column)
    if not typed:
        return None
    if DAY.fullmatch(typed):
        try:
            return date.fromisoformat(typed)
        except ValueError:
            pass
    raise CellRefused(f"“{typed}” isn’t a date. Write it as year-month-day: 2026-03-14.", column=column)


def needed_day(row: Row, column: str) -> date:
    found = day(row, column)
    assert found is not None  # empty cells of needed columns are refused before
    return found


def moment(row: Row, column: str, *, zone: tzinfo) -> datetime:
    """A date with its time; by the centre's clock unless it says its offset."""
    typed = text(row, column)
    if MOMENT.fullmatch(typed):
        try:
            found = datetime.fromisoformat(typed)
        except ValueError:
            pass
        else:
            return found if found.tzinfo else found.replace(tzinfo=zone)
    raise CellRefused(f"“{typed}” isn’t a date with a time. Write it as 2026-03-14 09:15.", column=column)


def figure(row: Row, column: str) -> float | None:
    """A number, with a point or a comma for the decimals; None for an empty cell."""
    typed = text(row, column).replace("\N{MINUS SIGN}", "-")
    if not typed:
        return None
    if THOUSAND_OR_THOUSANDTH.fullmatch(typed):
        whole, decimals = typed.split(",")
        raise CellRefused(
            f"“{typed}” can be read as {whole}{decimals} or as {whole}.{decimals}. Write which one.",
            column=column,
        )
    number = float(typed.replace(",", ".")) if FIGURE.fullmatch(typed) else math.nan
    if not math.isfinite(number):
        raise CellRefused(f"“{typed}” isn’t a plain number, such as 0.05.", column=column)
    return number


def needed_figure(row: Row, column: str) -> float:
    found = figure(row, column)
    assert found is not None  # empty cells of needed columns are refused before
    return found


def whole(row: Row, column: str) -> int:
    typed = text(row, column)
    if not (typed.isascii() and typed.isdigit() and len(typed) <= 4):
        raise CellRefused(f"“{typed}” isn’t a whole number, such as 1.", column=column)
    return int(typed)


def truth(row: Row, column: str) -> bool | None:
    typed = text(row, column).lower()
    if typed and typed not in TRUTH:
        raise CellRefused(f"“{typed}” is neither yes nor no.", column=column)
    return TRUTH[typed] if typed else None
