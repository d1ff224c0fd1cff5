"""Typing in a log sheet that was filled in on paper: what is written on it, in its own order.

The attempt is started on the site first, so that what it is marked against is pinned. Whoever types the
sheet in is kept with it, and the day of the work as it stands on the sheet: the site's clock wasn't at the
bench. Handing in stays with the candidate, who sees what was typed.
"""

import json
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet, prefetch_related_objects

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import evidence, stops
from assessments.models import Attempt, Reading, Step, StepRecord
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.tasks import StepKind
from rigs.metrology.readings import TypedReading
from rigs.models import Condition, TestPoint

Entry = Reading | StepRecord

CLOCK = re.compile(r"([01]?[0-9]|2[0-3])[:.]([0-5][0-9])")
ORDER = re.compile(r"[1-9][0-9]{0,2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What stands on the sheet for one step, or one line of a step of free measurements.

    ``written`` is the time (10:42) or the place in the order (7) beside it, empty where there is none. A
    refusal names its fields after ``key``.
    """

    key: str
    id: UUID
    step: Step
    written: str = ""
    typed: TypedReading | None = None
    answer: str = ""
    note: str = ""
    test_point: TestPoint | None = None
    condition: Condition | None = None


def visible_to(person: Person, *, on: date) -> QuerySet[Attempt]:
    """Whose log sheets a person may print and type in: their own, and with the right to it the centre's."""
    if Permission.ATTEMPT_TRANSCRIBE in permissions_of(person, on=on):
        return Attempt.objects.visible_to(person)
    return Attempt.objects.of(person)


@transaction.atomic
def transcribe(
    *, attempt: Attempt, lines: Sequence[Line], observed_on: date, by: Person, at: datetime
) -> Attempt:
    """Log what is on a sheet, in the order in which the work was done. Typing it in twice stores it once.

    Refused for somebody without the right to it, for an attempt that was handed in, for a day on which the
    work can't have been done, and for a sheet that has nothing on it. A refusal of one line names its field.
    """
    held = Attempt.objects.get_locked(pk=attempt.pk)
    _require_right(held, by, at=at)
    if held.status != AttemptStatus.OPEN:
        raise Refused(evidence.CLOSED)
    stops.require_running(centre=held.rig.centre)
    _require_day(held, observed_on, at=at)
    if not lines:
        raise Refused("Nothing is filled in yet: type in what stands on the sheet.")
    held.transcribed_by_id = held.transcribed_by_id or by.pk
    held.observed_on = observed_on
    prefetch_related_objects([held], "instruments")
    entries = [_entry(line, attempt=held, at=at) for line in in_order(lines)]
    _require_measured(entries, attempt=held)
    new = _new(entries, attempt=held)
    if new:
        held.save(update_fields=["transcribed_by", "observed_on"])
        _store(new, attempt=held)
        _log(held, new, by=by, at=at)
    return held


def in_order(lines: Sequence[Line]) -> list[Line]:
    """The lines as they were worked: by the times or the numbers beside them, else as on the sheet.

    A line without one comes right after the line that is printed before it. Refused where some lines have
    times and others numbers, where a number stands twice, and for what is neither.
    """
    places = [_place(line) for line in lines]
    kinds = {type(place) for place in places if place is not None}
    if len(kinds) > 1:
        odd = next(line for line, place in zip(lines, places, strict=True) if isinstance(place, int))
        raise Refused(
            "Some lines have a time and others a number. Use one of the two for the whole sheet.",
            field=f"{odd.key}_written",
        )
    _require_single(lines, places)
    last, keys = None, []
    for number, place in enumerate(places):
        last = place if place is not None else last
        keys.append((last is not None, last if last is not None else 0, number))
    return [lines[number] for *_, number in sorted(keys)]


def written_time(line: Line) -> time | None:
    """The time beside a line, if a time is what is written there."""
    place = _place(line)
    return place if isinstance(place, time) else None


def _place(line: Line) -> time | int | None:
    written = line.written.strip()
    if not written:
        return None
    if clock := CLOCK.fullmatch(written):
        return time(int(clock[1]), int(clock[2]))
    if ORDER.fullmatch(written):
        return int(written)
    raise Refused(
        f"“{written}” is neither a time, such as 10:42, nor a number in the order.",
        field=f"{line.key}_written",
    )


def _require_single(lines: Sequence[Line], places: Collection[time | int | None]) -> None:
    seen: set[int] = set()
    for line, place in zip(lines, places, strict=True):
        if isinstance(place, int) and place in seen:
            raise Refused(f"The number {place} stands twice on the sheet.", field=f"{line.key}_written")
        if isinstance(place, int):
            seen.add(place)


def _require_right(attempt: Attempt, by: Person, *, at: datetime) -> None:
    on = attempt.rig.centre.date_at(at)
    if not visible_to(by, on=on).filter(pk=attempt.pk).exists():
        raise Refused("This log sheet isn’t yours to type in.")


def _require_day(attempt: Attempt, observed_on: date, *, at: datetime) -> None:
    centre = attempt.rig.centre
    started_on = centre.date_at(attempt.started_at)
    if observed_on > centre.date_at(at):
        raise Refused("That day is still to come.", field="observed_on")
    if attempt.purpose == Purpose.ASSESSMENT and observed_on != started_on:
        raise Refused(
            f"This assessment was started on {started_on:%d %B %Y}, on a rig that was checked for that "
            "session: work of another day can’t be judged by it.",
            field="observed_on",
        )
    if attempt.observed_on is not None and attempt.observed_on != observed_on:
        raise Refused(
            f"The first part of this sheet was typed in as work of {attempt.observed_on:%d %B %Y}.",
            field="observed_on",
        )


def _entry(line: Line, *, attempt: Attempt, at: datetime) -> Entry:
    """What a line says, not stored yet. What is wrong with it is said with its step, beside its field."""
    sent = _sent(line, attempt=attempt)
    try:
        return _built(line, attempt=attempt, sent=sent, at=at)
    except Refused as refusal:
        field = f"{line.key}_{refusal.field or 'written'}"
        raise Refused(f"{line.step.title}: {refusal.message}", field=field) from refusal


def _built(line: Line, *, attempt: Attempt, sent: evidence.Sent, at: datetime) -> Entry:
    if line.test_point is not None and line.condition is not None and line.typed is not None:
        return evidence.measurement_entry(
            attempt,
            line.step,
            test_point=line.test_point,
            condition=line.condition,
            typed=line.typed,
            sent=sent,
            at=at,
        )
    if line.typed is not None:
        return evidence.reading_entry(attempt, line.step, typed=line.typed, sent=sent, at=at)
    return evidence.record_entry(attempt, line.step, sent=sent, at=at, answer=line.answer, note=line.note)


def _sent(line: Line, *, attempt: Attempt) -> evidence.Sent:
    clock, on = written_time(line), attempt.observed_on
    zone = attempt.rig.centre.zone
    written_at = datetime.combine(on, clock, tzinfo=zone) if on is not None and clock is not None else None
    return evidence.Sent(id=line.id, on_paper=True, written_at=written_at)


def _new(entries: Sequence[Entry], *, attempt: Attempt) -> list[Entry]:
    """Those that aren't stored yet. Refused where a step has another entry, or an id says something else."""
    ids = [entry.pk for entry in entries]
    stored: dict[UUID, Entry] = {
        each.pk: each for model in (Reading, StepRecord) for each in model.objects.filter(pk__in=ids)
    }
    taken = {step for step, each in evidence.standing(attempt).items() if each.pk not in stored}
    for entry in entries:
        known = stored.get(entry.pk)
        if known is not None and (known.attempt_id, known.says) != (attempt.pk, entry.says):
            raise Refused(f"{entry.step.title}: it was logged otherwise already. Load the page again.")
        if known is None and entry.step_id in taken and entry.step.kind != StepKind.MEASUREMENTS:
            raise Refused(f"{entry.step.title}: it was logged meanwhile. Load the page again.")
    return [entry for entry in entries if entry.pk not in stored]


def _require_measured(entries: Sequence[Entry], *, attempt: Attempt) -> None:
    """A diagnosis rests on readings, of which one stands before it."""
    measured = evidence.has_measured(attempt)
    for entry in entries:
        measured = measured or entry.step.kind == StepKind.MEASUREMENTS
        if entry.step.kind == StepKind.DIAGNOSIS and not measured:
            raise Refused(evidence.NOTHING_MEASURED)


def _store(entries: Sequence[Entry], *, attempt: Attempt) -> None:
    for sequence, entry in enumerate(entries, start=evidence.next_sequence(attempt)):
        entry.sequence = sequence
    Reading.objects.bulk_create(entry for entry in entries if isinstance(entry, Reading))
    StepRecord.objects.bulk_create(entry for entry in entries if isinstance(entry, StepRecord))


def _log(attempt: Attempt, entries: Sequence[Entry], *, by: Person, at: datetime) -> None:
    """One ledger entry for all that was typed in together, sealed in its order."""
    assert attempt.observed_on is not None
    content = json.dumps([(str(entry.pk), entry.says) for entry in entries], default=str)
    ledger.append(
        centre=attempt.rig.centre,
        actor=by,
        verb="attempt.transcribe",
        subject=attempt.pk,
        at=at,
        facts={
            "observed_on": attempt.observed_on.isoformat(),
            "entries": str(len(entries)),
            "digest": sealed(content, attempt.salt),
        },
    )
