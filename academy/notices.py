"""What waits for somebody: one sentence, an address and a date each, from whichever package knows of it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import IntEnum
from typing import TypeAlias

from django.conf import settings
from django.utils.module_loading import import_string

from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of


class Urgency(IntEnum):
    """In the order in which they are shown."""

    NOW = 1
    WAITING = 2
    COMING = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """``url`` is where it can be dealt with; ``on`` the day since when, or by when, if there is one.

    ``in_the_room`` where somebody stands and waits: that comes before all that is as urgent.
    """

    urgency: Urgency
    text: str
    url: str
    on: date | None = None
    in_the_room: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Who is told, what they may do today, and when."""

    person: Person
    centre: Centre
    permissions: frozenset[Permission]
    at: datetime

    @property
    def today(self) -> date:
        return self.centre.date_at(self.at)

    def may(self, permission: Permission) -> bool:
        return permission in self.permissions


Source: TypeAlias = Callable[[Reader], Iterable[Notice]]
"""Finds notices for a reader in a constant number of queries. Each is named in ``NOTICE_SOURCES``."""


def notices_for(*, person: Person, at: datetime) -> list[Notice]:
    """Everything that waits for a person, the most urgent first: what is in the room, then the oldest."""
    if person.centre is None:
        return []
    reader = Reader(
        person=person,
        centre=person.centre,
        permissions=permissions_of(person, on=person.centre.date_at(at)),
        at=at,
    )
    found = [notice for source in _sources() for notice in source(reader)]
    return sorted(
        found, key=lambda notice: (notice.urgency, not notice.in_the_room, notice.on or reader.today)
    )


def _sources() -> Iterator[Source]:
    return map(import_string, settings.NOTICE_SOURCES)
