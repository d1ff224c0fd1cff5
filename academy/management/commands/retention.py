from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy import retention
from academy.database import check_migrated
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.personal import RecordKind
from academy.refusals import Refused


class Command(BaseCommand):
    help = "List records that were kept for their period. With --dispose, dispose of them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--by", required=True, metavar="EMAIL", help="the manager in whose name, and where"
        )
        parser.add_argument("--kind", help="one kind of record instead of all")
        parser.add_argument(
            "--dispose", action="store_true", help="dispose of what is due; without it, nothing is changed"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        at = timezone.now()
        by = _manager(options["by"], at)
        try:
            kinds = [retention.kind_named(options["kind"])] if options["kind"] else list(retention.kinds())
            for kind in kinds:
                self._one(kind, by, at, is_dispose=options["dispose"])
        except Refused as refusal:
            raise CommandError(refusal.message) from refusal

    def _one(self, kind: RecordKind, by: Person, at: datetime, *, is_dispose: bool) -> None:
        centre = _centre(by)
        found = retention.due(centre=centre, kind=kind, at=at)
        if is_dispose:
            count = retention.dispose(centre=centre, kind=kind, by=by, at=at)
            self.stdout.write(f"{kind.title}: {count} disposed of, {len(found.held)} held.")
            return
        self.stdout.write(
            f"{kind.title}, {found.period.months} months, before {found.before.isoformat()}: "
            f"{len(found.due)} due, {len(found.held)} held."
        )
        for one in found.due:
            self.stdout.write(f"  {one.since.isoformat()}  {one.words}")
        for held in found.held:
            self.stdout.write(f"  {held.due.since.isoformat()}  {held.due.words}: {'; '.join(held.reasons)}")


def _manager(email: str, at: datetime) -> Person:
    found = Person.objects.select_related("centre").filter(email=email.lower(), is_active=True).first()
    if found is None or found.centre is None:
        raise CommandError(f"Nobody with a centre has the email address {email}.")
    if Permission.CENTRE_MANAGE not in permissions_of(found, on=found.centre.date_at(at)):
        raise CommandError(f"{found.email} may not dispose of records today.")
    return found


def _centre(by: Person) -> Centre:
    assert by.centre is not None  # _manager() refuses others
    return by.centre
