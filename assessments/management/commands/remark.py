from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError, CommandParser

from academy.database import check_migrated
from assessments import outcomes
from assessments.models import Attempt


class Command(BaseCommand):
    help = (
        "Marks an attempt again from what is on record, and says whether anything differs. Changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("attempt", help="the attempt's id, as in the address of its page")

    def handle(self, *args: Any, **options: Any) -> None:
        check_migrated()
        attempt = self._attempt(options["attempt"])
        comparison = outcomes.compare(attempt=attempt)
        outcome = comparison.outcome
        if comparison.same:
            self.stdout.write(
                f"Same outcome: {outcome.get_proposal_display().lower()}, inputs {outcome.inputs_sha256}."
            )
            return
        for noun, lines in (("input", comparison.inputs), ("result", comparison.result)):
            for line in lines:
                self.stdout.write(f"{noun} {line}")
        raise CommandError(
            f"Marking {outcome.number} of {attempt.pk} differs from a marking made now: see the lines above.",
            returncode=1,
        )

    def _attempt(self, text: str) -> Attempt:
        try:
            attempt = Attempt.objects.get(pk=UUID(text))
        except (ValueError, Attempt.DoesNotExist):
            raise CommandError(f"There is no attempt “{text}”.") from None
        if not attempt.outcomes.exists():
            raise CommandError("This attempt hasn't been handed in, so it was never marked.")
        return attempt
