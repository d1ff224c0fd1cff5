"""Bringing in a file's rows: what each would do, and doing it, all of them or those that are sound."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from academy.transfer import csv_files, xlsx_files
from academy.transfer.kinds import Kind, RowRefused, Sender
from academy.transfer.tables import (
    LARGEST_BYTES,
    CellRefused,
    FileRefused,
    Row,
    Table,
    table_of,
)


class Verdict(StrEnum):
    NEW = "new"
    KNOWN = "known"
    BROKEN = "broken"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowVerdict:
    """What comes of one row. ``message`` says why not, ``column`` where, if it is one cell's fault."""

    number: int
    name: str
    verdict: Verdict
    message: str = ""
    column: str = ""

    def __str__(self) -> str:
        where = f"row {self.number}, {self.column}" if self.column else f"row {self.number}"
        return f"{where}: {self.message}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What came of each row. ``is_done`` says whether the new ones are on record now."""

    rows: tuple[RowVerdict, ...]
    note: str
    is_done: bool

    def count(self, verdict: Verdict) -> int:
        return sum(row.verdict is verdict for row in self.rows)

    @property
    def new(self) -> int:
        return self.count(Verdict.NEW)

    @property
    def known(self) -> int:
        return self.count(Verdict.KNOWN)

    @property
    def broken(self) -> tuple[RowVerdict, ...]:
        return tuple(row for row in self.rows if row.verdict is Verdict.BROKEN)

    @property
    def sound(self) -> tuple[RowVerdict, ...]:
        return tuple(row for row in self.rows if row.verdict is not Verdict.BROKEN)


def read(content: bytes, *, kind: Kind) -> Table:
    """The rows of a CSV file or a workbook, told apart by content. Raises FileRefused."""
    if not content:
        raise FileRefused("The file is empty.")
    if len(content) > LARGEST_BYTES:
        raise FileRefused(f"The file is larger than {LARGEST_BYTES // 1024 // 1024} MB. Send it in parts.")
    is_workbook = content.startswith(xlsx_files.BEGINS)
    grid = xlsx_files.read(content) if is_workbook else csv_files.read(content)
    return table_of(grid, columns=kind.columns)


def bring_in(
    content: bytes,
    *,
    kind: Kind,
    centre: Centre,
    by: Person,
    at: datetime,
    is_trial: bool = False,
    leave_broken: bool = False,
) -> Report:
    """Put the rows on record by the verbs of their kind; on a trial, only say what would come of each.

    With a broken row nothing is brought in, unless ``leave_broken`` leaves those out. What is on record
    already, the same, is left as it is: the same file sent again does nothing. Raises FileRefused.
    """
    table = read(content, kind=kind)
    sender = Sender(centre=centre, by=by, at=at)
    with transaction.atomic():
        ledger.lock(centre=centre)  # the same file sent twice at once comes in once
        rows = [verdict for group in _groups(table.rows, kind) for verdict in _one(group, kind, sender)]
        rows.sort(key=lambda row: row.number)
        found = Report(rows=tuple(rows), note=table.note, is_done=False)
        if is_trial or (found.broken and not leave_broken):
            transaction.set_rollback(True)
            return found
        if found.new:
            _log(found, kind=kind, sender=sender, content=content)
    return Report(rows=found.rows, note=found.note, is_done=True)


def _groups(rows: Sequence[Row], kind: Kind) -> Iterator[list[Row]]:
    """The rows of each thing, in the order in which the things first come."""
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in rows:
        key = tuple(row.cells.get(name, "").strip().casefold() for name in kind.together)
        groups.setdefault(key or (str(row.number),), []).append(row)
    yield from groups.values()


def _one(rows: Sequence[Row], kind: Kind, sender: Sender) -> Iterator[RowVerdict]:
    """Bring in one thing, in a transaction of its own within the whole."""
    guilty, refusal = rows[0], None
    is_new = False
    try:
        for row in rows:
            _require_readable(row, kind)
        with transaction.atomic():
            is_new = kind.bring_in(rows, sender)
    except RowRefused as refused:
        guilty, refusal = refused.row, CellRefused(str(refused), column=refused.column)
    except CellRefused as refused:
        refusal = refused
    except Refused as refused:
        refusal = CellRefused(refused.message, column=kind.fields.get(refused.field or "", ""))
    for row in rows:
        yield _verdict(row, kind, is_new=is_new, refusal=refusal, guilty=guilty)


def _require_readable(row: Row, kind: Kind) -> None:
    if row.flaw is not None:
        raise RowRefused(str(row.flaw), row=row, column=row.flaw.column)
    for column in kind.columns:
        typed = row.cells.get(column.name, "").strip()
        if column.needed and not typed:
            raise RowRefused("Nothing is written here.", row=row, column=column.name)
        if len(typed) > column.most:
            raise RowRefused(
                f"The text is too long: {column.most} characters are the most.", row=row, column=column.name
            )


def _verdict(row: Row, kind: Kind, *, is_new: bool, refusal: CellRefused | None, guilty: Row) -> RowVerdict:
    name = row.cells.get(kind.named_by, "").strip()
    if refusal is None:
        return RowVerdict(number=row.number, name=name, verdict=Verdict.NEW if is_new else Verdict.KNOWN)
    if row is guilty:
        message, column = str(refusal), refusal.column
    else:
        message, column = f"It belongs together with row {guilty.number}, which can’t be used.", ""
    return RowVerdict(number=row.number, name=name, verdict=Verdict.BROKEN, message=message, column=column)


def _log(found: Report, *, kind: Kind, sender: Sender, content: bytes) -> None:
    ledger.append(
        centre=sender.centre,
        actor=sender.by,
        verb="rows.import",
        subject=hashlib.sha256(content).hexdigest(),
        at=sender.at,
        facts={"kind": kind.slug, "new": str(found.new), "left": str(len(found.broken))},
    )
