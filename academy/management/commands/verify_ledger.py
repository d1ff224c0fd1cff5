from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError

from academy import ledger
from academy.database import check_migrated
from academy.models import Centre


class Command(BaseCommand):
    help = "Prove that the ledger is whole: one line a centre. Exit code 1 names the first broken entry."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--centre", metavar="NAME", help="one centre, by its name or id, instead of all")
        parser.add_argument(
            "--head",
            metavar="NUMBER:HASH",
            help="an entry as a document prints it, to show a tail that was cut; needs --centre",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        known = _head(options["head"]) if options["head"] else None
        if known and not options["centre"]:
            raise CommandError("--head belongs to one centre: name it with --centre.")
        broken = False
        for centre in centres_named(options["centre"]):
            found = ledger.verify(centre=centre, known=known)
            if isinstance(found, ledger.Broken):
                broken = True
                self.stderr.write(f"{centre.name}: broken at entry {found.number}: {found.reason}.")
            else:
                entries = "entry" if found.count == 1 else "entries"
                self.stdout.write(f"{centre.name}: {found.count} {entries}, intact, head {found.head}")
        if broken:
            raise SystemExit(1)


def centres_named(wanted: str | None) -> list[Centre]:
    """The one of that name or id, or all. CommandError where there is none, or more than one of the name."""
    if wanted is None:
        return list(Centre.objects.order_by("name"))
    found = list(Centre.objects.filter(pk=wanted) if _is_id(wanted) else Centre.objects.filter(name=wanted))
    if not found:
        raise CommandError(f"There is no centre “{wanted}”.")
    if len(found) > 1:
        raise CommandError(f"Several centres are called “{wanted}”: give the id of one.")
    return found


def _is_id(text: str) -> bool:
    try:
        UUID(text)
    except ValueError:
        return False
    return True


def _head(text: str) -> ledger.Head:
    number, _colon, digest = text.partition(":")
    if not number.isdecimal() or len(digest) != len(ledger.GENESIS):
        raise CommandError(f"“{text}” is not a head: give it as a document prints it, NUMBER:HASH.")
    return ledger.Head(number=int(number), hash=digest.lower())
