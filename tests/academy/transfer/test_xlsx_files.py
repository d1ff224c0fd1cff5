"""Workbooks: their values, and what is refused in them."""

import io
import zipfile
from datetime import date, datetime

import pytest
from openpyxl import Workbook, load_workbook

from academy.transfer import xlsx_files
from academy.transfer.tables import Column, FileRefused, table_of

COLUMNS = (Column(name="tag", help=""), Column(name="value", help="", needed=False))


def workbook(*rows, formats=None):
    made = Workbook()
    for row in rows:
        made.active.append(row)
    for address, form in (formats or {}).items():
        made.active[address].number_format = form
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def rezipped(content, **parts):
    """The same workbook with some of its parts replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, parts.get(name.rpartition("/")[2].removesuffix(".xml"), old.read(name)))
    return out.getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1.58, "1.58"),
        (3, "3"),
        (0.00001, "0.00001"),
        (True, "yes"),
        (None, ""),
        (date(2026, 3, 14), "2026-03-14"),
        (datetime(2026, 3, 14, 9, 15), "2026-03-14T09:15:00"),  # noqa: DTZ001 - a sheet has no zone
        ("1,58", "1,58"),
    ],
)
def test_a_value_becomes_the_text_that_a_person_would_type(value, text):
    grid = xlsx_files.read(workbook(["tag", "value"], ["VB-01", value]))
    assert (*grid.lines[1].cells, "")[1] == text


def test_a_reading_keeps_the_digits_that_the_sheet_shows():
    content = workbook(["tag", "value"], ["a", 1.6], ["b", 1.66], formats={"B2": "0.00", "B3": "0.0"})
    assert [line.cells[1] for line in xlsx_files.read(content).lines[1:]] == ["1.60", "1.66"]


def test_a_formula_is_not_worked_out_but_named():
    table = table_of(xlsx_files.read(workbook(["tag", "value"], ["VB-01", "=1+1"])), columns=COLUMNS)
    (row,) = table.rows
    assert (row.flaw.column, "formula" in str(row.flaw)) == ("value", True)


def test_text_that_looks_like_a_formula_is_written_and_read_as_text():
    content = xlsx_files.write(["tag", "value"], [("=1+1", "@x"), ("VB-01", 0.5)], title="Rigs")
    assert [cell.data_type for cell in load_workbook(io.BytesIO(content)).active[2]] == ["s", "s"]
    assert [list(line.cells) for line in xlsx_files.read(content).lines[1:]] == [
        ["=1+1", "@x"],
        ["VB-01", "0.5"],
    ]


def test_letters_that_a_workbook_cannot_hold_are_replaced():
    content = xlsx_files.write(["tag"], [("a\x0bb",)], title="Rigs")
    assert xlsx_files.read(content).lines[1].cells == ["a\N{REPLACEMENT CHARACTER}b"]


@pytest.mark.parametrize(
    "content",
    [
        b"PK\x03\x04 and then nothing",
        rezipped(workbook(["tag"]), sheet1=b"<worksheet><unclosed>"),
        rezipped(workbook(["tag"]), sheet1=b"<!DOCTYPE x [<!ENTITY a 'b'>]><worksheet>&a;</worksheet>"),
        rezipped(workbook(["tag"]), workbook=b"<html/>"),
    ],
)
def test_a_broken_workbook_is_refused_in_words(content):
    with pytest.raises(FileRefused, match=r"can’t be read|no sheet"):
        xlsx_files.read(content)


def test_one_that_unpacks_too_large_is_refused_before_it_is_unpacked():
    large = b"<worksheet>" + b" " * (xlsx_files.LARGEST_UNPACKED + 1)
    with pytest.raises(FileRefused, match="too large"):
        xlsx_files.read(rezipped(workbook(["tag"]), sheet1=large))


def test_a_row_far_below_is_refused():
    made = Workbook()
    made.active["A1"] = "tag"
    made.active["A90000"] = "VB-01"
    out = io.BytesIO()
    made.save(out)
    with pytest.raises(FileRefused, match="far below"):
        xlsx_files.read(out.getvalue())
