"""What commands that bring rows in have in common."""

from argparse import ArgumentParser
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy.database import check_migrated
from academy.models import Person
from academy.permissions import permissions_of
from academy.transfer import runs
from academy.transfer.kinds import Kind
from academy.transfer.tables import LARGEST_BYTES, FileRefused


class RowsCommand(BaseCommand):
    """Brings a file in, or says what would come of each row. A subclass says what a row is in `kind_of`."""

    def kind_of(self, options: Mapping[str, Any]) -> Kind:
        raise NotImplementedError

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--by", required=True, metavar="EMAIL", help="whose rows these are, at whose centre"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would come of each row, and stop"
        )
        parser.add_argument(
            "--leave-broken", action="store_true", help="bring in the sound rows and leave the others"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        kind = self.kind_of(options)
        report = self.bring_in(kind, options)
        if report.note:
            self.stderr.write(report.note)
        for row in report.broken:
            self.stderr.write(str(row))
        counts = f"{report.new} new, {report.known} there already, {len(report.broken)} that can’t be used"
        if not report.is_done and not options["dry_run"]:
            raise CommandError(f"Nothing was brought in: {counts}.")
        said = "Brought in" if report.is_done else "Only looked at"
        self.stdout.write(f"{said}: {counts}.")

    def bring_in(self, kind: Kind, options: Mapping[str, Any]) -> runs.Report:
        now = timezone.now()
        by = self.sender(options["by"])
        assert by.centre is not None  # sender() refuses others
        if kind.permission not in permissions_of(by, on=by.centre.date_at(now)):
            raise CommandError(f"{by.email} may not bring in {kind.slug} today.")
        try:
            return runs.bring_in(
                self.content(options["file"]),
                kind=kind,
                centre=by.centre,
                by=by,
                at=now,
                is_trial=options["dry_run"],
                leave_broken=options["leave_broken"],
            )
        except FileRefused as refusal:
            raise CommandError(f"{options['file']}: {refusal}") from refusal

    def sender(self, email: str) -> Person:
        found = Person.objects.select_related("centre").filter(email=email.lower(), is_active=True).first()
        if found is None or found.centre is None:
            raise CommandError(f"Nobody with a centre has the email address {email}.")
        return found

    def content(self, file: Path) -> bytes:
        try:
            with file.open("rb") as opened:
                return opened.read(LARGEST_BYTES + 1)
        except OSError as error:
            raise CommandError(f"{file} can't be read: {error.strerror}.") from error
