"""Mark attempts again: one, to see whether anything differs; or a rig's, an instrument's, since a day."""

from argparse import ArgumentParser
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy.database import check_migrated
from academy.management.commands.verify_ledger import centres_named
from academy.models import Centre
from assessments import outcomes, remarking
from assessments.models import Attempt
from assessments.remarking import Change, Remarked
from assessments.shared_inputs import Shared
from rigs.models import Instrument, Rig

INTERRUPTED = 130  # as a shell reports a program that Ctrl+C has ended


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What is to be marked again of one centre."""

    centre: Centre
    rig: Rig | None = None
    instrument: Instrument | None = None


@dataclass(slots=True, kw_only=True)
class Tally:
    """How far it has come."""

    of: int
    attempts: int = 0
    stored: int = 0
    changed: int = 0

    def add(self, batch: Remarked) -> None:
        self.attempts += batch.attempts
        self.stored += batch.stored
        self.changed += len(batch.changes)

    @property
    def in_words(self) -> str:
        if self.of == 0:
            return "Nothing that was marked before is among these."
        attempts = "attempt" if self.attempts == 1 else "attempts"
        outcomes = "outcome" if self.stored == 1 else "outcomes"
        return (
            f"{self.attempts:,} {attempts} marked again: {self.stored:,} {outcomes} added, "
            f"{self.changed:,} with another proposal."
        )


class Command(BaseCommand):
    help = (
        "Mark attempts again from what is on record. One ATTEMPT: say whether anything differs, and store "
        "nothing. With --rig, --instrument or --since: add an outcome to each that comes out otherwise."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("attempt", nargs="?", help="one attempt's id, as in the address of its page")
        parser.add_argument("--rig", metavar="TAG", help="attempts on this rig")
        parser.add_argument("--instrument", metavar="TAG", help="attempts in which this instrument was used")
        parser.add_argument(
            "--since", metavar="DATE", help="attempts handed in on this day or later: 2025-01-06"
        )
        parser.add_argument(
            "--centre", metavar="NAME", help="one centre's, by its name or id, instead of all"
        )
        parser.add_argument(
            "--all", action="store_true", help="add an outcome to those, too, that come out as they were"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        choosing = [name for name in ("rig", "instrument", "since") if options[name]]
        if options["attempt"] is not None:
            if choosing or options["centre"] or options["all"]:
                raise CommandError("Name one attempt, or choose several with options: not both.")
            self.compare(_attempt(options["attempt"]))
        elif choosing:
            self.remark_chosen(options)
        else:
            raise CommandError("Which attempts? Name one, or choose with --rig, --instrument or --since.")

    def compare(self, attempt: Attempt) -> None:
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

    def remark_chosen(self, options: dict[str, Any]) -> None:
        since = _day(options["since"]) if options["since"] else None
        choices = _choices(
            centres_named(options["centre"]), rig=options["rig"], instrument=options["instrument"]
        )
        chosen = [
            (
                each.centre,
                remarking.chosen(centre=each.centre, rig=each.rig, instrument=each.instrument, since=since),
            )
            for each in choices
        ]
        tally = Tally(of=sum(len(attempts) for _, attempts in chosen))
        try:
            for batch in _batches(chosen, every=options["all"]):
                tally.add(batch)
                self.show(batch.changes, tally)
        except KeyboardInterrupt:
            raise CommandError(
                f"Stopped after {tally.attempts:,} of {tally.of:,} attempts. What these gave is stored; "
                "the same command again goes on.",
                returncode=INTERRUPTED,
            ) from None
        self.stdout.write(tally.in_words)

    def show(self, changes: Iterable[Change], tally: Tally) -> None:
        """Each proposal that changed, and how far it is: on a terminal in one line that is written over."""
        for change in changes:
            self.stdout.write(
                f"{change.attempt}: {change.before.label.lower()} → {change.after.label.lower()}"
            )
        if self.stdout.isatty():
            end = "\n" if tally.attempts == tally.of else "\r"
            self.stdout.write(f"{tally.attempts:,} of {tally.of:,} attempts", ending=end)
            self.stdout.flush()


def _batches(chosen: Iterable[tuple[Centre, Sequence[UUID]]], *, every: bool) -> Iterator[Remarked]:
    shared = Shared()
    for centre, attempts in chosen:
        for first in range(0, len(attempts), remarking.BATCH):
            yield remarking.remark(
                attempts=attempts[first : first + remarking.BATCH],
                centre=centre,
                at=timezone.now(),
                every=every,
                shared=shared,
            )


def _attempt(text: str) -> Attempt:
    try:
        attempt = Attempt.objects.get(pk=UUID(text))
    except (ValueError, Attempt.DoesNotExist):
        raise CommandError(f"There is no attempt “{text}”.") from None
    if not attempt.outcomes.exists():
        raise CommandError("This attempt hasn't been handed in, so it was never marked.")
    return attempt


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"“{text}” is not a day: give it as year-month-day, 2025-01-06.") from None


def _choices(centres: Sequence[Centre], *, rig: str | None, instrument: str | None) -> list[Choice]:
    """What is to be marked again, by centre. A tag is a centre’s own: two with the same are told apart."""
    found = [
        Choice(
            centre=centre, rig=_tagged(Rig, rig, centre), instrument=_tagged(Instrument, instrument, centre)
        )
        for centre in centres
    ]
    for name, tag in (("rig", rig), ("instrument", instrument)):
        if tag is not None:
            found = [each for each in found if getattr(each, name) is not None]
            if not found:
                raise CommandError(f"There is no {name} “{tag}”.")
    if len(found) > 1 and (rig or instrument):
        raise CommandError(f"Several centres have “{rig or instrument}”: name one with --centre.")
    return found


def _tagged(model: Any, tag: str | None, centre: Centre) -> Any:
    return None if tag is None else model.objects.filter(centre=centre, tag=tag).first()
