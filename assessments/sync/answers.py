"""What became of each entry of a batch. Knows no database."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any
from uuid import UUID


class Result(StrEnum):
    STORED = "stored"
    ALREADY = "already"
    LATER = "later"
    REFUSED = "refused"
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What the site has where the device has something else."""

    id: UUID
    says: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """``later``: something before it isn't in yet, or all is stopped; it is sent again, in order.

    ``refused``: it is kept on the device, and a person decides. ``attempt`` is the open
    one at the same task and rig, where an attempt begun on the device was refused.
    """

    id: UUID
    result: Result
    words: str = ""
    field: str | None = None
    standing: Standing | None = None
    attempt: UUID | None = None

    @property
    def data(self) -> dict[str, Any]:
        """As JSON takes it."""
        standing = self.standing and {
            "id": str(self.standing.id),
            "says": self.standing.says,
            "at": self.standing.at.isoformat(),
        }
        return {
            "id": str(self.id),
            "result": self.result.value,
            "words": self.words,
            "field": self.field,
            "standing": standing,
            "attempt": None if self.attempt is None else str(self.attempt),
        }
