"""A batch from a device's queue, read from JSON. Knows no database."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

MOST_ENTRIES = 500
LARGEST_SEQUENCE = 2**31 - 1
CLOCKS = range(1970, 3000)
"""The years in which a device's clock is believed to be one at all, however wrong."""

Kind = Literal["start", "step", "reading", "photo", "take-back", "hand-in"]


class UnreadableBatch(ValueError):
    """What came is no batch. The words say where it stops being one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """An attempt begun on the device: under a ticket, or without one as practice.

    ``instruments`` are those picked, by their kinds; with a ticket they are the ticket's.
    """

    ticket: UUID | None
    rig: UUID
    version: UUID
    instruments: Mapping[str, UUID]
    cautions_read: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """How a person settled a conflict, having seen that ``against`` stands.

    If ``stands`` is “that”, what it said is written once more under the id ``again``.
    """

    against: UUID
    stands: Literal["this", "that"]
    reason: str
    again: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """What was entered on a step, in the fields of the step's own form.

    ``corrects`` is the entry that the person saw standing there.
    """

    position: int
    fields: Mapping[str, str]
    corrects: UUID | None = None
    decided: Decided | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeBack:
    """A step, or a reading of the candidate's own choice, struck out with nothing in its place."""

    position: int
    corrects: UUID
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HandIn:
    """Handing in, once all that the device logged for the attempt is in."""

    needs: frozenset[UUID]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One thing done on the device. ``sequence`` counts within the attempt; the clock may be wrong."""

    id: UUID
    attempt: UUID
    sequence: int
    kind: Kind
    device_at: datetime
    does: Start | Logged | TakeBack | HandIn
    payload: str
    """What it does, as JSON in one spelling: the same id with another is not the same entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What a device sends at once. ``device_now`` is what its clock says while it sends."""

    owner: UUID
    device: UUID
    device_now: datetime
    entries: tuple[Entry, ...]

    def in_order(self) -> list[Entry]:
        """By attempt, in the order in which these first come, and within each by the device's count."""
        first = {entry.attempt: place for place, entry in reversed(list(enumerate(self.entries)))}
        return sorted(self.entries, key=lambda entry: (first[entry.attempt], entry.sequence))


def read_batch(text: str) -> Batch:
    """Raises UnreadableBatch."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UnreadableBatch("It isn’t JSON.") from error
    whole = _Part(data, "the batch")
    entries = whole.listed("entries")
    if len(entries) > MOST_ENTRIES:
        raise UnreadableBatch(f"More than {MOST_ENTRIES} entries at once.")
    batch = Batch(
        owner=whole.id("owner"),
        device=whole.id("device"),
        device_now=whole.moment("device_now"),
        entries=tuple(_entry(_Part(each, f"entry {number}")) for number, each in enumerate(entries, start=1)),
    )
    if len({entry.id for entry in batch.entries}) < len(batch.entries):
        raise UnreadableBatch("Two entries have one id.")
    return batch


@dataclass(frozen=True, slots=True)
class _Part:
    """One object of the JSON, asked for its members by their kinds."""

    data: Any
    name: str

    def member(self, name: str) -> Any:
        if not isinstance(self.data, Mapping) or name not in self.data:
            raise UnreadableBatch(f"{name} is missing in {self.name}.")
        return self.data[name]

    def wrong(self, name: str, wanted: str) -> UnreadableBatch:
        return UnreadableBatch(f"{name} in {self.name} isn’t {wanted}.")

    def id(self, name: str) -> UUID:
        text = self.text(name)
        try:
            return UUID(text)
        except ValueError as error:
            raise self.wrong(name, "a UUID") from error

    def id_if_any(self, name: str) -> UUID | None:
        return self.id(name) if self.has(name) else None

    def has(self, name: str) -> bool:
        return isinstance(self.data, Mapping) and self.data.get(name) is not None

    def text(self, name: str) -> str:
        found = self.member(name)
        if not isinstance(found, str):
            raise self.wrong(name, "text")
        return found

    def whole(self, name: str, *, most: int) -> int:
        found = self.member(name)
        if isinstance(found, bool) or not isinstance(found, int) or not 0 < found <= most:
            raise self.wrong(name, f"a whole number from 1 to {most}")
        return found

    def moment(self, name: str) -> datetime:
        text = self.text(name)
        try:
            found = datetime.fromisoformat(text)
        except ValueError as error:
            raise self.wrong(name, "a date and time") from error
        if found.tzinfo is None or found.year not in CLOCKS:
            raise self.wrong(name, "a date and time with its zone")
        return found

    def listed(self, name: str) -> Sequence[Any]:
        found = self.member(name)
        if not isinstance(found, list):
            raise self.wrong(name, "a list")
        return found

    def texts(self, name: str) -> dict[str, str]:
        found = self.member(name)
        if not isinstance(found, Mapping) or not all(isinstance(each, str) for each in found.values()):
            raise self.wrong(name, "an object of texts")
        return dict(found)

    def part(self, name: str) -> "_Part":
        return _Part(self.member(name), f"{name} of {self.name}")


def _entry(part: _Part) -> Entry:
    kind, payload = part.text("kind"), part.part("payload")
    does: Start | Logged | TakeBack | HandIn
    match kind:
        case "start":
            does = _start(payload)
        case "step" | "reading" | "photo":
            does = _logged(payload)
        case "take-back":
            does = TakeBack(
                position=payload.whole("position", most=LARGEST_SEQUENCE),
                corrects=payload.id("corrects"),
                reason=payload.text("reason"),
            )
        case "hand-in":
            needs = _Part({str(place): each for place, each in enumerate(payload.listed("needs"))}, "needs")
            does = HandIn(needs=frozenset(needs.id(place) for place in needs.data))
        case _:
            raise part.wrong("kind", "one that is known")
    entry = Entry(
        id=part.id("id"),
        attempt=part.id("attempt"),
        sequence=part.whole("sequence", most=LARGEST_SEQUENCE),
        kind=kind,
        device_at=part.moment("device_at"),
        does=does,
        payload=json.dumps(payload.data, sort_keys=True),
    )
    if kind == "start" and entry.id != entry.attempt:
        raise part.wrong("id", "the attempt’s, which it starts")
    return entry


def _start(payload: _Part) -> Start:
    instruments = _Part(payload.texts("instruments"), "instruments")
    return Start(
        ticket=payload.id_if_any("ticket"),
        rig=payload.id("rig"),
        version=payload.id("version"),
        instruments={kind: instruments.id(kind) for kind in instruments.data},
        cautions_read=payload.member("cautions_read") is True,
    )


def _logged(payload: _Part) -> Logged:
    return Logged(
        position=payload.whole("position", most=LARGEST_SEQUENCE),
        fields=payload.texts("fields"),
        corrects=payload.id_if_any("corrects"),
        decided=_decided(payload.part("decided")) if payload.has("decided") else None,
    )


def _decided(part: _Part) -> Decided:
    stands = part.text("stands")
    match stands:
        case "this" | "that":
            return Decided(
                against=part.id("against"), stands=stands, reason=part.text("reason"), again=part.id("again")
            )
        case _:
            raise part.wrong("stands", "this or that")
