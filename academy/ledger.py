"""The append-only ledger: one chain a centre, each entry sealed over the one before it.

An entry's hash is SHA-256 (FIPS 180-4) over the 32 bytes of the previous entry's hash followed by the UTF-8
bytes of its body; the first entry follows 32 zero bytes. The body is the canonical JSON (RFC 8785) of centre,
number, at (UTC, ISO 8601, microseconds), actor, verb, subject and facts, with every number written as a
string. Names and free text are never in it: they are sealed under salts kept outside, so that they can be
erased without breaking a chain.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

import rfc8785
from django.db import transaction

from academy.models import Centre, LedgerEntry, Person
from academy.seals import new_salt, sealed

__all__ = [
    "GENESIS",
    "Broken",
    "Fact",
    "Head",
    "Intact",
    "append",
    "entry_hash",
    "head",
    "lock",
    "new_salt",
    "sealed",
    "verify",
]

GENESIS = "0" * 64

Fact = str | bool | None | Sequence["Fact"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The last entry of a chain, printed in documents so that a cut tail shows. Number 0: no entry yet."""

    number: int
    hash: str

    def __str__(self) -> str:
        return f"{self.number}:{self.hash}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Intact:
    count: int
    head: Head


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """The number of the first entry that doesn't hold, and why."""

    number: int
    reason: str


def append(
    *,
    centre: Centre,
    actor: Person | None,
    verb: str,
    subject: UUID | str,
    at: datetime,
    facts: Mapping[str, Fact] | None = None,
) -> LedgerEntry:
    """Append an entry, in the transaction of what it records.

    Raises RuntimeError outside a transaction, ValueError for a time without a zone, and TypeError for a fact
    that isn't text, a truth value, nothing, or a list of them: numbers go in as text, so that no reader can
    round them.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("A ledger entry belongs in the transaction of what it records.")
    if at.tzinfo is None:
        raise ValueError("A ledger entry needs a time with its zone.")
    lock(centre=centre)
    last = head(centre=centre)
    entry = LedgerEntry(
        centre=centre,
        number=last.number + 1,
        at=at,
        actor=actor.pk if actor else None,
        verb=verb,
        subject=str(subject),
        previous_hash=last.hash,
    )
    entry.body = _body(entry, {name: _checked(fact) for name, fact in (facts or {}).items()})
    entry.hash = entry_hash(last.hash, entry.body)
    entry.save()
    return entry


def lock(*, centre: Centre) -> None:
    """Take the chain's turn until the transaction ends: for a verb that must look before it writes."""
    # Against one another only: a full lock on the centre would wait for every row that points at it, and
    # two verbs that have each written such a row would then wait for one another. (SQLite locks as a whole.)
    list(Centre.objects.select_for_update(no_key=True).filter(pk=centre.pk).values_list("pk"))


def head(*, centre: Centre) -> Head:
    """Return the last entry's number and hash."""
    last = LedgerEntry.objects.filter(centre=centre).order_by("-number").values_list("number", "hash").first()
    return Head(number=last[0], hash=last[1]) if last else Head(number=0, hash=GENESIS)


def verify(*, centre: Centre, known: Head | None = None) -> Intact | Broken:
    """Walk the chain, entry by entry, in constant memory.

    Finds a changed body, column or hash, and an entry removed, put in or moved. A cut tail leaves a sound
    chain behind: it is found against a head `known` from elsewhere, such as a printed document.
    """
    last = Head(number=0, hash=GENESIS)
    for entry in LedgerEntry.objects.filter(centre=centre).order_by("number").iterator(chunk_size=2000):
        reason = _fault(entry, after=last)
        if reason:
            return Broken(number=last.number + 1, reason=reason)
        last = Head(number=entry.number, hash=entry.hash)
        if known and known.number == last.number and known.hash != last.hash:
            return Broken(
                number=known.number, reason="it is not the entry that the given head was taken from"
            )
    if known and known.number > last.number:
        return Broken(
            number=last.number + 1, reason=f"the chain ends before the given head, entry {known.number}"
        )
    return Intact(count=last.number, head=last)


def entry_hash(previous: str, body: str) -> str:
    """Return the hash of an entry with that body, after one with that hash."""
    return hashlib.sha256(bytes.fromhex(previous) + body.encode()).hexdigest()


def _checked(fact: Fact) -> Fact:
    if fact is None or isinstance(fact, str | bool):
        return fact
    if isinstance(fact, list | tuple):
        return [_checked(part) for part in fact]
    raise TypeError(f"A fact is text, a truth value, nothing, or a list of them, not {type(fact).__name__}.")


def _columns(entry: LedgerEntry) -> dict[str, Fact]:
    return {
        "centre": str(entry.centre_id),
        "number": str(entry.number),
        "at": entry.at.astimezone(UTC).isoformat(timespec="microseconds"),
        "actor": str(entry.actor) if entry.actor else None,
        "verb": entry.verb,
        "subject": entry.subject,
    }


def _body(entry: LedgerEntry, facts: Mapping[str, Fact]) -> str:
    return rfc8785.dumps({**_columns(entry), "facts": dict(facts)}).decode()


def _fault(entry: LedgerEntry, *, after: Head) -> str | None:
    if entry.number != after.number + 1:
        return f"it is missing: entry {entry.number} is the next one there"
    if entry.previous_hash != after.hash:
        return "it doesn't follow the entry before it"
    if entry_hash(after.hash, entry.body) != entry.hash:
        return "its body or its hash was changed"
    if not _columns_agree(entry):
        return "what is beside its body doesn't agree with it"
    return None


def _columns_agree(entry: LedgerEntry) -> bool:
    try:
        body = json.loads(entry.body)
    except ValueError:
        return False
    columns = _columns(entry)
    return isinstance(body, dict) and {name: body.get(name) for name in columns} == columns
