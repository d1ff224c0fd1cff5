"""The layer of files: what is written is read again, and what can't be read is said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from academy.transfer import csv_files
from academy.transfer.tables import FileRefused

HEADER = ["tag", "place"]
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
AWKWARD = st.sampled_from(
    ["=1+1", "'=1+1", "''@x", "+44 20", "-0.05", "@SUM(A1)", "\tx", "\rx", 'a"b', "a,b;c", "1,58", "'", "＝1"]
)
ROWS = st.lists(
    st.tuples(TEXTS | AWKWARD, TEXTS | AWKWARD).filter(lambda row: "".join(row).strip()), max_size=8
)


def cells(content):
    return [list(line.cells) for line in csv_files.read(content).lines]


@given(rows=ROWS)
def test_what_is_written_is_read_again(rows):
    assert cells(csv_files.write(HEADER, rows)) == [HEADER, *map(list, rows)]


@given(rows=ROWS)
def test_no_cell_is_written_that_a_spreadsheet_would_work_out(rows):
    begins = tuple("=+-@\t\r\n＝＋－＠")
    text = csv_files.write(HEADER, rows).decode("utf-8-sig")
    written = csv_files.csv.reader(csv_files.io.StringIO(text, newline=""))
    for row in written:
        for cell in row:
            assert not cell.startswith(begins) or csv_files.PLAIN_NUMBER.fullmatch(cell)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_utf_8_is_read_with_its_mark_or_without(encoding):
    grid = csv_files.read("tag,place\nVB-01,Café µ Ω\n".encode(encoding))
    assert (grid.lines[1].cells, grid.note) == (["VB-01", "Café µ Ω"], "")


def test_windows_1252_is_read_and_said():
    grid = csv_files.read("tag;place\r\nVB-01;Café µ\r\n".encode("cp1252"))
    assert grid.lines[1].cells == ["VB-01", "Café µ"]
    assert "it was read as Windows-1252" in grid.note


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("tag,place\n".encode("utf-16"), "UTF-16"),
        (b"tag,place\nVB\0-01,x\n", "isn’t text"),
        (b"tag,place\n\x81\x8d,x\n", "letters can’t be read"),
        (b'tag,place\nVB-01,"never closed\n', "quotation marks in pairs"),
    ],
)
def test_what_cannot_be_read_says_what_to_do(content, said):
    with pytest.raises(FileRefused, match=said):
        csv_files.read(content)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_told_from_the_header(separator):
    content = f"tag{separator}place\n1,5{separator}x\n" if separator != "," else 'tag,place\n"1,5",x\n'
    assert cells(content.encode()) == [["tag", "place"], ["1,5", "x"]]


def test_rows_have_the_numbers_that_a_spreadsheet_shows():
    grid = csv_files.read(b'tag,place\n\nVB-01,"two\nlines"\n,\nVB-02,x\n')
    assert [line.number for line in grid.lines] == [1, 3, 5]
