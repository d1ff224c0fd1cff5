"""Marking many attempts again, from what is on record now: a rig's, an instrument's, those since a day.

A batch is one transaction with one ledger entry. What was stored before an interruption stays; beginning
again finds it as it should be and goes on.
"""

import gc
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.db import connection, transaction
from django.db.models import Field

from academy import ledger
from academy.models import Centre
from assessments.freezing import frozen
from assessments.gathering import gather
from assessments.marking.canonical import digest
from assessments.marking.mark import ENGINE, mark_many
from assessments.models import Attempt, AttemptInstrument, Outcome
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Proposal
from assessments.outcomes import outcome_of
from assessments.shared_inputs import Shared
from rigs.models import Instrument, Rig

BATCH = 500
"""Attempts to a transaction: several thousand readings, a fraction of a second, ten megabytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """An attempt for which the engine now proposes something else than it did last."""

    attempt: UUID
    before: Proposal
    after: Proposal


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarked:
    """What became of a batch: how many were marked, how many outcomes that gave, which proposals changed."""

    attempts: int
    stored: int
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Last:
    """An attempt's latest outcome, as far as another is compared with it."""

    number: int
    engine: str
    inputs_sha256: str
    result: str
    proposal: str


def chosen(
    *, centre: Centre, rig: Rig | None = None, instrument: Instrument | None = None, since: date | None = None
) -> list[UUID]:
    """Attempts that were marked before, the oldest first: by rig, by instrument, handed in from a day on."""
    found = Attempt.objects.filter(rig__centre=centre).counting()
    if rig is not None:
        found = found.filter(rig=rig)
    if instrument is not None:
        taken = AttemptInstrument.objects.filter(instrument=instrument)
        found = found.filter(pk__in=taken.values("attempt"))
    if since is not None:
        found = found.filter(submitted_at__gte=datetime.combine(since, time.min, tzinfo=centre.zone))
    return list(found.order_by("submitted_at", "pk").values_list("pk", flat=True))


@contextmanager
def no_search_for_cycles() -> Iterator[None]:
    """Frozen values make no circles: looking for some among thousands takes half as long again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@no_search_for_cycles()
@transaction.atomic
def remark(
    *,
    attempts: Sequence[UUID],
    centre: Centre,
    at: datetime,
    every: bool = False,
    shared: Shared | None = None,
) -> Remarked:
    """Mark a batch of a centre's attempts again, and add an outcome to each that comes out otherwise.

    With ``every`` to all of them. One comes out as it was if its latest outcome has the same inputs, result
    and engine. Attempts that were never marked are passed over, and so are those that are with their
    candidate again or that an open appeal is about. ``shared`` is what earlier batches have read.
    """
    held = _held(attempts, centre=centre)
    last = _last(held)
    gathered = gather(held, shared=shared)
    made = [
        outcome_of(inputs, marking, attempt=pk, number=last[pk].number + 1, at=at)
        for pk, inputs, marking in zip(held, gathered, mark_many(gathered), strict=True)
    ]
    added = [each for each in made if every or not _comes_out_as(each, last[each.attempt_id])]
    if added:
        _insert(added)
        _log(added, centre=centre, at=at)
    return Remarked(
        attempts=len(held),
        stored=len(added),
        changes=tuple(
            Change(attempt=each.attempt_id, before=Proposal(before), after=Proposal(each.proposal))
            for each in added
            if (before := last[each.attempt_id].proposal) != each.proposal
        ),
    )


def _held(attempts: Sequence[UUID], *, centre: Centre) -> list[UUID]:
    """Those of the centre that were marked before, locked: nothing is handed in or decided meanwhile."""
    of_centre = (
        Attempt.objects.filter(rig__in=Rig.objects.filter(centre=centre))
        .counting()
        .exclude(status=AttemptStatus.RETURNED)
    )
    locked = of_centre.select_for_update().filter(pk__in=attempts).order_by("pk")
    found = set(locked.values_list("pk", flat=True)) - frozen(attempts)
    return [pk for pk in attempts if pk in found]


def _last(attempts: Iterable[UUID]) -> dict[UUID, _Last]:
    rows = Outcome.objects.filter(attempt__in=attempts).latest_of_each()
    unsorted = rows.order_by()  # with their long results they take as long to sort as to read
    return {
        attempt: _Last(
            number=number, engine=engine, inputs_sha256=inputs_sha256, result=result, proposal=proposal
        )
        for attempt, number, engine, inputs_sha256, result, proposal in unsorted.values_list(
            "attempt_id", "number", "engine", "inputs_sha256", "result", "proposal"
        )
    }


def _comes_out_as(outcome: Outcome, last: _Last) -> bool:
    return (outcome.engine, outcome.inputs_sha256, outcome.result) == (
        last.engine,
        last.inputs_sha256,
        last.result,
    )


def _insert(outcomes: Iterable[Outcome]) -> None:
    """Insert rows by one prepared statement: bulk_create takes half as long again for rows this wide."""
    fields = Outcome._meta.concrete_fields
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    # No value is in the text, only the model's own names.
    statement = f"INSERT INTO {quote(Outcome._meta.db_table)} ({columns}) VALUES ({places})"  # noqa: S608 # nosec B608
    values_of = attrgetter(*(field.attname for field in fields))
    values = zip(*map(values_of, outcomes), strict=True)
    prepared = [_prepared(column, field) for column, field in zip(values, fields, strict=True)]
    with connection.cursor() as cursor:
        cursor.executemany(statement, list(zip(*prepared, strict=True)))


def _prepared(column: Sequence[Any], field: "Field[Any, Any]") -> Iterable[Any]:
    """As the database takes it: text and whole numbers as they are, anything else once for equal ones."""
    if isinstance(column[0], str | int):
        return column
    known = {value: field.get_db_prep_save(value, connection) for value in set(column)}
    return [known[value] for value in column]


def _log(outcomes: Sequence[Outcome], *, centre: Centre, at: datetime) -> None:
    ledger.append(
        centre=centre,
        actor=None,
        verb="attempt.remark",
        subject=centre.pk,
        at=at,
        facts={
            "engine": ENGINE,
            "outcomes": [
                [str(each.attempt_id), each.inputs_sha256, digest(each.result.encode())] for each in outcomes
            ],
        },
    )
