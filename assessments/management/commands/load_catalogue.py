import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy.database import check_migrated
from academy.models import Centre
from assessments import catalogue
from rigs.catalogue import load_design, read_designs


class Command(BaseCommand):
    help = "Give a centre the rig designs, criteria and tasks in a folder. What it has already is left alone."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("centre", help="the centre's name")
        parser.add_argument(
            "--from",
            dest="folder",
            type=Path,
            default=settings.ROOT / "fixtures",
            help="fixtures/ if not given",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        try:
            centre = Centre.objects.get(name=options["centre"])
        except Centre.DoesNotExist:
            raise CommandError(f"There is no centre “{options['centre']}”.") from None
        try:
            self.load(centre, options["folder"])
        except (OSError, ValueError, KeyError) as error:
            raise CommandError(f"That folder can't be loaded: {error}") from error

    def load(self, centre: Centre, folder: Path) -> None:
        now = timezone.now()
        designs = [
            load_design(centre=centre, data=data, by=None, at=now)
            for data in read_designs(folder / "designs")
        ]
        criteria = json.loads((folder / "criteria.json").read_text(encoding="utf-8"))
        catalogue.load_criteria(centre=centre, data=criteria)
        versions = [
            catalogue.issue(centre=centre, data=data, by=None, at=now)
            for data in catalogue.read_tasks(folder / "tasks")
        ]
        found = f"{len(designs)} rig designs, {len(criteria)} criteria, {len(versions)} tasks"
        self.stdout.write(f"{centre}: {found}.")
