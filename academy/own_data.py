"""A person's own data, as an archive to take away: made a piece at a time, and kept nowhere."""

import zipfile
from collections.abc import Iterator
from datetime import datetime
from typing import IO

from django.db import transaction

from academy import ledger, personal
from academy.models import Person
from academy.refusals import Refused


def write(out: IO[bytes], *, person: Person, at: datetime) -> None:
    """Write the archive. One piece of one file is in memory at a time."""
    written = (at.year, at.month, at.day, at.hour, at.minute, at.second)
    with zipfile.ZipFile(out, "w") as archive:
        for part in _parts(person):
            entry = zipfile.ZipInfo(part.path, date_time=written)
            entry.compress_type = zipfile.ZIP_DEFLATED
            with archive.open(entry, "w", force_zip64=True) as file:
                for piece in part.pieces:
                    file.write(piece)


def note_taken(*, person: Person, at: datetime) -> None:
    """Note in the ledger that the person took their data away."""
    if person.centre is None:
        raise Refused("Somebody without a centre has no records here.")
    with transaction.atomic():
        ledger.append(centre=person.centre, actor=person, verb="own-data.take", subject=person.pk, at=at)


def _parts(person: Person) -> Iterator[personal.Part]:
    for keeper in personal.keepers():
        yield from keeper.parts(person)
