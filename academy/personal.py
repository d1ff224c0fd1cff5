"""What is kept about people, in every package: what holds it, what erasure wipes, what they may take away.

Each package says so in a `Keeper`, named in ``RECORD_KEEPERS``. A text that a person may have written, or
that may be about one, is in its ``texts``; every other text of its models is in ``kept``, with why.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeAlias
from uuid import UUID

from django.apps import apps
from django.conf import settings
from django.db import models
from django.utils.module_loading import import_string

from academy.models import Centre, Person
from academy.seals import new_salt

ERASED = "[erased]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Texts:
    """Free text of one model, by its label.

    ``about`` are the ways to the person whose words, or about whom, they are: for them they are wiped
    altogether. In whatever others wrote at the ``centre``, a name and an address that are erased are taken
    out, and the rest stays. ``salt`` is the way to the salt that seals them in the ledger, if they are.
    """

    model: str
    fields: tuple[str, ...]
    centre: str
    about: tuple[str, ...] = ()
    salt: str = ""

    @property
    def rows(self) -> "models.QuerySet[Any]":
        rows: models.QuerySet[Any] = apps.get_model(self.model)._base_manager.all()
        return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A file of a person's own data: its path in the archive, and what is in it, piece by piece."""

    path: str
    pieces: Iterable[bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A record that has been kept for its period: since when, of whom, and what it is."""

    id: str
    person: UUID | None
    words: str
    since: date


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordKind:
    """Records with a period of their own. ``counted_from`` and ``disposal`` say so in words.

    ``due`` finds what is older than a moment, held or not; ``dispose`` is given the ids of some of that.
    """

    slug: str
    title: str
    months: int
    source: str
    counted_from: str
    disposal: str
    due: Callable[[Centre, datetime], Iterable[Due]]
    dispose: Callable[["Batch"], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Records that go together, by their ids, and by whose hand."""

    centre: Centre
    ids: Sequence[str]
    by: Person
    at: datetime


Reasons: TypeAlias = Mapping[UUID, Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeper:
    """``holds`` says, by person, why nothing about them may go; ``wipe`` takes what isn't text."""

    texts: tuple[Texts, ...]
    kept: Mapping[str, tuple[str, ...]]
    holds: Callable[[Collection[UUID]], Reasons] = field(default=lambda _people: {})
    wipe: Callable[[Person], None] = field(default=lambda _person: None)
    parts: Callable[[Person], Iterable[Part]] = field(default=lambda _person: ())
    kinds: tuple[RecordKind, ...] = ()


def keepers() -> Iterator[Keeper]:
    return map(import_string, settings.RECORD_KEEPERS)


def held(people: Collection[UUID]) -> Reasons:
    """Those of whom nothing may go, with the reasons."""
    found: dict[UUID, list[str]] = {}
    for keeper in keepers():
        for person, reasons in keeper.holds(people).items():
            found.setdefault(person, []).extend(reasons)
    return found


def wipe(*, person: Person) -> None:
    """Take a person out of what is kept besides their own row. Call it while that still has their name."""
    names = _names(person)
    for keeper in keepers():
        keeper.wipe(person)
        for texts in keeper.texts:
            for way in texts.about:
                wipe_texts(texts, texts.rows.filter(**{way: person}))
            _take_out(names, texts, centre=person.centre_id)


def wipe_texts(texts: Texts, rows: "models.QuerySet[Any]") -> None:
    """Wipe these rows' free text, and the salts without which its digests say nothing any more."""
    found = list(rows.values_list("pk", flat=True))
    _new_salts(texts, found)
    for name in texts.fields:
        texts.rows.filter(pk__in=found).exclude(**{name: ""}).update(**{name: ERASED})


def _names(person: Person) -> re.Pattern[str]:
    """The name and the address as words of their own: C-1 isn't in C-12."""
    known = "|".join(re.escape(text) for text in (person.email, person.name) if text)
    return re.compile(rf"(?<!\w)(?:{known})(?!\w)", re.IGNORECASE)


def _take_out(names: re.Pattern[str], texts: Texts, *, centre: UUID | None) -> None:
    changed = []
    written = texts.rows.filter(**{texts.centre: centre}).exclude(**dict.fromkeys(texts.fields, ""))
    for row in written.only(*texts.fields).order_by().iterator(chunk_size=500):
        told = {name: getattr(row, name) for name in texts.fields}
        left = {name: names.sub(ERASED, text) for name, text in told.items()}
        if left != told:
            changed.append(row.pk)
            texts.rows.filter(pk=row.pk).update(**_fitting(texts, left))
    _new_salts(texts, changed)


def _fitting(texts: Texts, told: Mapping[str, str]) -> dict[str, str]:
    meta = apps.get_model(texts.model)._meta
    return {name: text[: getattr(meta.get_field(name), "max_length", None)] for name, text in told.items()}


def _new_salts(texts: Texts, rows: Sequence[Any]) -> None:
    """Forget the salts. With fresh ones in their place, what is written later can still be sealed."""
    if not (texts.salt and rows):
        return
    way, _, name = texts.salt.rpartition("__")
    holder = apps.get_model(texts.model)
    for step in way.split("__") if way else ():
        holder = holder._meta.get_field(step).related_model
    holders = texts.rows.filter(pk__in=rows).values_list(f"{way}__pk" if way else "pk", flat=True)
    for pk in set(holders):
        holder._base_manager.filter(pk=pk).update(**{name: new_salt()})
