from argparse import ArgumentParser
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from assessments.models import Pack
from assessments.pack_files import Checked, NoPack, check


class Command(BaseCommand):
    help = (
        "Hold a pack against its own manifest: a line for each file that isn’t as it was. Exit code 1 then."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path, help="the pack, as it was fetched")

    def handle(self, *_args: Any, **options: Any) -> None:
        path: Path = options["file"]
        found = self.checked(path)
        known = known_manifest(found.manifest)
        faults = list(found.faults)
        if known not in {None, found.manifest_sha256}:
            faults.insert(0, "manifest.json: it isn’t the one that this site recorded")
        for fault in faults:
            self.stderr.write(f"{path.name}: {fault}.")
        if faults:
            raise SystemExit(1)
        count = len(found.manifest["files"])
        where = "not one of this site’s own" if known is None else "as this site recorded it"
        head = found.manifest.get("ledger_head")
        self.stdout.write(f"{path.name}: {count} files, intact, {where}; ledger head {head}")

    def checked(self, path: Path) -> Checked:
        try:
            with path.open("rb") as file:
                return check(file)
        except OSError as error:
            raise CommandError(f"{path} can’t be opened: {error.strerror or error}.") from error
        except NoPack as fault:
            raise CommandError(f"{path.name} isn’t a pack: {fault}.") from fault


def known_manifest(manifest: Mapping[str, Any]) -> str | None:
    """The digest that this site keeps of that pack's manifest, if the pack is its own."""
    try:
        return (
            Pack.objects.filter(pk=str(manifest.get("pack")))
            .values_list("manifest_sha256", flat=True)
            .first()
        )
    except (DatabaseError, ValidationError):
        return None  # a pack can be checked wherever there is this program, with or without a site
