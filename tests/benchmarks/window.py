"""A window of attempts to mark again: a few worked through by the verbs, and copies with other readings.

Copies are inserted as rows, whole attempts with all that was logged in them: a million readings by the verbs
would take a day.
"""

import random
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from functools import cached_property
from itertools import count, islice
from typing import Any
from uuid import UUID, uuid4

from django.db import connection, transaction
from django.db.models import Max, Model

from academy.models import Centre
from assessments import remarking
from assessments.models import Attempt, AttemptInstrument, Outcome, Photo, Reading, StepRecord
from rigs.models import SheetValue, ValueSheet
from tests.factories import assessments as made
from tests.factories.assessments import Work

ATTEMPTS_A_SESSION = 12
DRIFT = 0.6
"""Standard deviation from one session's value sheet to another's, in Pa."""
SPREAD = 2.0
"""Standard deviation of the copies' pressures, in Pa: what a careful candidate reads on a healthy rig."""
LEADS_SPREAD = 0.1
"""Standard deviation of the copies' resistances, in Ω: everybody has leads of their own."""
WORKS = (
    (made.ALL_WELL, 90),
    (Work(struck={"ports-running": "15.8"}), 6),
    (
        Work(
            readings={"ports-running": "1.91", "contacts-running": "480"}, skipped=frozenset({"prove-after"})
        ),
        4,
    ),
)
"""What is copied, with how many in a hundred."""
CHUNK = 20_000
Row = list[Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    centre: Centre
    attempts: tuple[UUID, ...]
    readings: int


def open_window(*, readings: int, seed: int = 1) -> Window:
    """A centre with as many attempts as have that many readings, on one rig, a dozen to a session."""
    bench = made.ready_bench()
    candidates = [made.another_candidate(bench) for _ in WORKS]
    templates = [
        Template(attempt=made.handed_in(bench, work, candidate=candidate))
        for (work, _), candidate in zip(WORKS, candidates, strict=True)
    ]
    copies = max(1, readings // len(templates[0].readings))
    with transaction.atomic():
        _copy(templates, copies=copies, rng=random.Random(seed))
    attempts = remarking.chosen(centre=bench.centre)
    return Window(
        centre=bench.centre,
        attempts=tuple(attempts),
        readings=Reading.objects.filter(attempt__rig=bench.rig).count(),
    )


@dataclass(frozen=True, kw_only=True)
class Template:
    attempt: Attempt

    @cached_property
    def instruments(self) -> list[AttemptInstrument]:
        return list(self.attempt.instruments.all())

    @cached_property
    def readings(self) -> list[Reading]:
        return list(self.attempt.readings.select_related("step"))

    @cached_property
    def records(self) -> list[StepRecord]:
        return list(self.attempt.records.all())

    @cached_property
    def photos(self) -> list[Photo]:
        return list(self.attempt.photos.all())

    @cached_property
    def outcome(self) -> Outcome:
        return self.attempt.outcomes.get()

    def copied(
        self, numbers: Iterator[int], rng: random.Random, *, place: int, **changed: Any
    ) -> Iterator[tuple[type[Model], Row]]:
        """What was logged, as another attempt's, row by row in the order in which rows point at one another.

        ``changed`` is of the attempt itself, its ``id`` among them; ``numbers`` are free for its instruments.
        """
        pk = changed["id"]
        yield Attempt, row_of(self.attempt, **changed)
        instruments = {each.pk: next(numbers) for each in self.instruments}
        for taken in self.instruments:
            yield AttemptInstrument, row_of(taken, id=instruments[taken.pk], attempt_id=pk)
        entries = {each.pk: uuid4() for each in (*self.readings, *self.records, *self.photos)}
        for reading in self.readings:
            figures = _read_again(reading, rng) | {"instrument_id": instruments[reading.instrument_id]}
            yield Reading, _logged(reading, entries, attempt_id=pk, **figures)
        for record in self.records:
            said = {"note": f"{record.note} Rig as found, {place}."} if record.note else {}
            yield StepRecord, _logged(record, entries, attempt_id=pk, **said)
        for photo in self.photos:
            yield Photo, _logged(photo, entries, attempt_id=pk, **_another_picture(rng))


def _copy(templates: list[Template], *, copies: int, rng: random.Random) -> None:
    sheets = sheets_like(templates[0].attempt, count=1 + copies // ATTEMPTS_A_SESSION, rng=rng)
    numbers = count(first_free(AttemptInstrument))
    chosen = rng.choices(templates, weights=[share for _, share in WORKS], k=copies)
    rows = (
        row
        for place, template in enumerate(chosen)
        for row in _rows(template, numbers, sheet=sheets[place // ATTEMPTS_A_SESSION], place=place, rng=rng)
    )
    while chunk := list(islice(rows, CHUNK)):
        for model in (Attempt, AttemptInstrument, Reading, StepRecord, Photo, Outcome):
            insert(model, (row for kind, row in chunk if kind is model))


def sheets_like(attempt: Attempt, *, count: int, rng: random.Random) -> list[UUID]:
    """Value sheets of later sessions: the rig has drifted a little."""
    sheet, values = attempt.sheet, list(attempt.sheet.values.all())
    numbers = iter(range(first_free(SheetValue), 2**62))
    made = [uuid4() for _ in range(count)]
    insert(ValueSheet, (row_of(sheet, id=pk, rig_check_id=None) for pk in made))
    insert(
        SheetValue,
        (
            row_of(value, id=next(numbers), sheet_id=pk, value=_drifted(value.value, rng))
            for pk in made
            for value in values
        ),
    )
    return made


def _drifted(value: float | None, rng: random.Random) -> float | None:
    return None if value is None else value + rng.gauss(0, DRIFT)


def first_free(model: type[Model]) -> int:
    return 1 + (model._default_manager.aggregate(last=Max("pk"))["last"] or 0)


def _rows(
    template: Template, numbers: Iterator[int], *, sheet: UUID, place: int, rng: random.Random
) -> Iterator[tuple[type[Model], Row]]:
    """One copy as another attempt, marked as its original was."""
    pk = uuid4()
    submitted_at = template.attempt.submitted_at + timedelta(seconds=place)
    yield from template.copied(numbers, rng, place=place, id=pk, sheet_id=sheet, submitted_at=submitted_at)
    yield Outcome, row_of(template.outcome, id=uuid4(), attempt_id=pk)


def _read_again(reading: Reading, rng: random.Random) -> dict[str, Any]:
    """Another reading of the same pressure or contact, to the display's last digit."""
    if reading.si_value is None:
        return {}
    match reading.step.judged_by:
        case "agrees" | "falls":
            pascals = round(rng.gauss(reading.si_value, SPREAD))
            in_mbar = Decimal(pascals).scaleb(-2)
            return {"text": f"{in_mbar:.2f}", "value": in_mbar, "si_value": float(pascals)}
        case "contact" | "leads":
            ohms = Decimal(f"{abs(rng.gauss(reading.si_value, LEADS_SPREAD)):.1f}")
            return {"text": f"{ohms}", "value": ohms, "si_value": float(ohms)}
        case _:
            return {}


def _another_picture(rng: random.Random) -> dict[str, str]:
    return {name: rng.randbytes(32).hex() for name in ("sha256", "received_sha256", "pixels_sha256")}


def _logged(entry: Any, entries: Mapping[UUID, UUID], **changed: Any) -> Row:
    return row_of(entry, id=entries[entry.pk], supersedes_id=entries.get(entry.supersedes_id), **changed)


def row_of(instance: Model, **changed: Any) -> Row:
    return [
        field.get_db_prep_save(changed.get(field.attname, getattr(instance, field.attname)), connection)
        for field in instance._meta.concrete_fields
    ]


def insert(model: type[Model], rows: Iterable[Row]) -> None:
    """Rows with every column in its place, as the database takes them."""
    columns = ", ".join(connection.ops.quote_name(field.column) for field in model._meta.concrete_fields)
    places = ", ".join(["%s"] * len(model._meta.concrete_fields))
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {model._meta.db_table} ({columns}) VALUES ({places})", list(rows))  # noqa: S608
