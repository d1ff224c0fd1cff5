from argparse import ArgumentParser
from smtplib import SMTPException
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy import digests
from academy.database import check_migrated
from academy.models import Centre


class Command(BaseCommand):
    help = "Write to everybody for whom something waits: once a day each, however often this runs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--dry-run", action="store_true", help="say who would be written to, and send nothing"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        at, sent = timezone.now(), 0
        for centre in Centre.objects.order_by("name"):
            for letter in digests.due(centre=centre, at=at):
                if options["dry_run"]:
                    self.stdout.write(f"{letter.person.email}: {len(letter.notices)} waiting")
                else:
                    sent += _sent(letter, at)
        if not options["dry_run"]:
            self.stdout.write(f"{sent} sent." if sent else "Nobody to write to.")


def _sent(letter: digests.Letter, at: Any) -> bool:
    try:
        return digests.send(letter=letter, at=at)
    except (OSError, SMTPException) as error:
        raise CommandError(
            f"The mail server didn't take it: {error}. Nobody further was written to; run it again later."
        ) from error
