"""Rows as a file to download."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from academy.transfer import csv_files, xlsx_files
from academy.transfer.kinds import Kind
from academy.transfer.tables import Value

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Download:
    content: bytes
    content_type: str
    ending: str


def download(rows: Iterable[Sequence[Value]], *, kind: Kind, wanted: str) -> Download:
    """The rows in the columns that are brought in: a workbook where “xlsx” is wanted, or else CSV."""
    return table(kind.header, rows, title=kind.title, wanted=wanted)


def table(header: Sequence[str], rows: Iterable[Sequence[Value]], *, title: str, wanted: str) -> Download:
    """Any rows under a header: a workbook where “xlsx” is wanted, or else CSV."""
    if wanted == "xlsx":
        content = xlsx_files.write(header, rows, title=title)
        return Download(content=content, content_type=XLSX, ending="xlsx")
    content = csv_files.write(header, rows)
    return Download(content=content, content_type="text/csv; charset=utf-8", ending="csv")
