"""Readings of the candidate's own choice, each with what was struck out for it, in the order of the bench."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from uuid import UUID

from assessments.models import Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """A reading that was struck out, and why."""

    reading: Reading
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What stands in a line of corrections: a reading, or that it was taken back. The oldest comes last."""

    number: int
    reading: Reading
    struck_out: tuple[Struck, ...]


def measured(readings: Iterable[Reading]) -> Iterator[Measured]:
    """From all the readings of a step, in order of their sequence: numbered by when each was taken first."""
    known: dict[UUID, Reading] = {}
    lines: dict[UUID, UUID] = {}  # from the first reading of a line to its last
    first_of: dict[UUID, UUID] = {}
    for each in readings:
        known[each.pk] = each
        first = each.pk if each.supersedes_id is None else first_of[each.supersedes_id]
        first_of[each.pk], lines[first] = first, each.pk
    for number, last in enumerate(lines.values(), start=1):
        yield Measured(number=number, reading=known[last], struck_out=tuple(_struck_out(known[last], known)))


def _struck_out(reading: Reading, known: dict[UUID, Reading]) -> Iterator[Struck]:
    while reading.supersedes_id is not None:
        before = known[reading.supersedes_id]
        yield Struck(reading=before, reason=reading.reason)
        reading = before
