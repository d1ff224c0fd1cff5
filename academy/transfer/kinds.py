"""The kinds of thing that are brought in and written out as rows, and what each is made of."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from academy.models import Centre, Person
from academy.permissions import Permission
from academy.transfer.tables import CellRefused, Column, Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """Who brings rows in, where to, and when."""

    centre: Centre
    by: Person
    at: datetime


BringIn = Callable[[Sequence[Row], Sender], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind. Rows that agree in ``together`` are one thing; with none, each row is one.

    ``bring_in`` calls the verb. It returns whether the thing is new: one that is there already, the same, is
    left alone. It raises Refused or CellRefused. ``fields`` says which column a field of the verb stands in.
    """

    slug: str
    title: str
    permission: Permission
    columns: tuple[Column, ...]
    bring_in: BringIn
    named_by: str
    together: tuple[str, ...] = ()
    fields: Mapping[str, str] = field(default_factory=dict)

    @property
    def header(self) -> list[str]:
        return [column.name for column in self.columns]


def require_same(rows: Sequence[Row], columns: Sequence[str]) -> Row:
    """The first row of those that are one thing. Refused where another says otherwise of the whole."""
    first, *others = rows
    for row in others:
        for column in columns:
            if row.cells.get(column, "").strip() != first.cells.get(column, "").strip():
                raise RowRefused(
                    f"This isn’t as in row {first.number}, which is of the same thing.",
                    row=row,
                    column=column,
                )
    return first


class RowRefused(CellRefused):
    """One row of several that are one thing is at fault."""

    def __init__(self, message: str, *, row: Row, column: str = "") -> None:
        super().__init__(message, column=column)
        self.row = row


def require_unchanged(tag: str, pairs: Mapping[str, tuple[Any, Any]]) -> None:
    """Refuse to overwrite what is there already. Each column has what is recorded, and what is sent."""
    changed = [column for column, (recorded, sent) in pairs.items() if recorded != sent]
    if changed:
        listed = ", ".join(changed)
        raise CellRefused(
            f"{tag} is on record already, with another {listed}. Change it on its own page.",
            column=changed[0],
        )
