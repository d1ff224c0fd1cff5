from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from academy import json_files
from academy.database import check_migrated
from academy.json_files import FileError
from academy.models import Centre
from assessments import catalogue, questions
from rigs.catalogue import load_design_file, read_designs


class Command(BaseCommand):
    help = (
        "Give a centre the rig designs, criteria, tasks and questions of a folder that it doesn’t have yet."
    )

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
            with transaction.atomic():
                found = self.load(centre, options["folder"])
        except FileError as error:
            raise CommandError(f"Nothing was loaded. {error}") from error
        except OSError as error:
            why = f"{error.filename} can't be read: {error.strerror}."
            raise CommandError(f"Nothing was loaded. {why}") from error
        self.stdout.write(f"{centre}: {found}.")

    def load(self, centre: Centre, folder: Path) -> str:
        """Load all of it, and say how much there is. Raises FileError and OSError."""
        now = timezone.now()
        designs = [
            load_design_file(centre=centre, file=file, by=None, at=now)
            for file in read_designs(folder / "designs")
        ]
        criteria = catalogue.load_criteria_file(centre=centre, file=json_files.read(folder / "criteria.json"))
        tasks = catalogue.read_tasks(folder / "tasks")
        for file in tasks:
            catalogue.issue_file(centre=centre, file=file, by=None, at=now)
        asked = [
            questions.issue_file(centre=centre, file=file, by=None, at=now)
            for file in questions.read_files(folder / "questions")
        ]
        counts = f"{len(designs)} rig designs, {criteria} criteria, {len(tasks)} tasks"
        return f"{counts}, questions for {len(asked)}" if asked else counts
