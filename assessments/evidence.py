"""What a candidate logs: readings, steps, photos, and corrections that strike out without erasing.

Each carries an id made where it was written, so that sending one twice stores it once.
"""

from copy import copy
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import Max
from django.db.models.base import ModelState

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from assessments import returns
from assessments.attempts import own_locked
from assessments.marking.parameters import free_measuring
from assessments.models import Attempt, AttemptInstrument, Photo, Reading, Step, StepRecord
from assessments.models.attempts import AT_WORK, AttemptStatus
from assessments.models.tasks import StepKind
from assessments.photos import CleanPhoto
from rigs.metrology.quantities import Qualifier, Quantity
from rigs.metrology.readings import TypedReading
from rigs.models import Condition, TestPoint

Entry = TypeVar("Entry", Reading, StepRecord, Photo)
CLOSED = "This attempt was handed in: nothing can be added to it."
VOID = "This attempt is void: nothing can be added to it."
CORRECTION = "This step has an entry already: say why it is corrected."
STRUCK_OUT = "That reading was struck out already. Load the page again."
NOTHING_MEASURED = (
    "Measure something first: a diagnosis rests on your own readings, and you have logged none on this rig."
)
RECORDED = (StepKind.ACTION, StepKind.OBSERVATION, StepKind.DIAGNOSIS, StepKind.CONCLUSION)
REASONED = frozenset({StepKind.DIAGNOSIS, StepKind.CONCLUSION})
MODELS: tuple[type[Reading] | type[StepRecord] | type[Photo], ...] = (Reading, StepRecord, Photo)
VERBS = {Reading: "reading", StepRecord: "step", Photo: "photo"}
"""What the ledger calls each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """How something was logged: the device's own id, count and clock, and for a correction the reason.

    What is typed in from a log sheet was ``on_paper``, with the time that was written on it, if one was.
    """

    id: UUID
    sequence: int | None = None
    device_at: datetime | None = None
    reason: str = ""
    on_paper: bool = False
    written_at: datetime | None = None


@transaction.atomic
def log_reading(
    *, attempt: Attempt, step: Step, typed: TypedReading, sent: Sent, candidate: Person, at: datetime
) -> Reading:
    """Log a reading on a step. On a step that has one already it is a correction, and needs a reason."""
    held = _open_for(attempt, step, StepKind.READING, candidate=candidate, at=at)
    return _keep(reading_entry(held, step, typed=typed, sent=sent, at=at), sent, verb="reading")


@transaction.atomic
def log_measurement(
    *,
    attempt: Attempt,
    step: Step,
    test_point: TestPoint,
    condition: Condition,
    typed: TypedReading,
    sent: Sent,
    candidate: Person,
    at: datetime,
    why: str = "",
    corrects: Reading | None = None,
) -> Reading:
    """Log one more reading of the candidate's own choice, or with a reason the one that ``corrects`` another.

    Refused where the task doesn't offer the test point or the condition, where it isn't such a quantity that
    is read there, and where no instrument for it was taken to the attempt.
    """
    held = _open_for(attempt, step, StepKind.MEASUREMENTS, candidate=candidate, at=at)
    reading = measurement_entry(
        held, step, test_point=test_point, condition=condition, typed=typed, sent=sent, at=at, why=why
    )
    known = _known(reading)
    return known or _store(reading, sent, verb="reading", before=_standing_one(corrects, held, sent))


@transaction.atomic
def take_back_reading(
    *, attempt: Attempt, reading: Reading, sent: Sent, candidate: Person, at: datetime
) -> Reading:
    """Strike out a reading of the candidate's own choice, with a reason and with nothing in its place."""
    held = _open_for(attempt, reading.step, StepKind.MEASUREMENTS, candidate=candidate, at=at)
    nothing = Reading(
        **_stamp(held, reading.step, sent, at=at),
        instrument=reading.instrument,
        qualifier=Qualifier.NOT_ATTEMPTED,
        test_point=reading.test_point,
        condition=reading.condition,
        taken_back=True,
    )
    known = _known(nothing)
    return known or _store(nothing, sent, verb="reading", before=_standing_one(reading, held, sent))


def _require_offered(step: Step, test_point: TestPoint, condition: Condition) -> None:
    offered, design = free_measuring(step), step.version.design_id
    if test_point.design_id != design or not offered.offers_test_point(test_point.slug):
        raise Refused("Choose one of this task's test points.", field="test_point")
    if condition.design_id != design or not offered.offers_condition(condition.slug):
        raise Refused("Choose one of this task's conditions.", field="condition")


def _instrument_for(attempt: Attempt, step: Step, test_point: TestPoint) -> AttemptInstrument:
    kind = free_measuring(step).instruments.get(test_point.quantity)
    taken = next((each for each in attempt.instruments.all() if each.kind == kind), None)
    if taken is None:
        raise Refused(
            f"You have no instrument with you that reads {Quantity(test_point.quantity).words}.",
            field="test_point",
        )
    return taken


def _standing_one(corrects: Reading | None, attempt: Attempt, sent: Sent) -> Reading | None:
    """The reading that is struck out, if it still stands. It needs a reason."""
    if corrects is None:
        return None
    if not sent.reason.strip():
        raise Refused("Say why it is struck out.", field="reason")
    found = attempt.readings.standing().filter(pk=corrects.pk).first()
    if found is None:
        raise Refused(STRUCK_OUT)
    return found


@transaction.atomic
def log_step(
    *,
    attempt: Attempt,
    step: Step,
    sent: Sent,
    candidate: Person,
    at: datetime,
    answer: str = "",
    note: str = "",
    done: bool = True,
) -> StepRecord:
    """Log a step as done, an observation, a diagnosis or conclusion; not ``done`` takes it back.

    A diagnosis and a conclusion come with their reason, and a diagnosis after something was measured.
    """
    held = _open_for(attempt, step, *RECORDED, candidate=candidate, at=at)
    record = record_entry(held, step, sent=sent, at=at, answer=answer, note=note, done=done)
    if step.kind == StepKind.DIAGNOSIS and done and not has_measured(held):
        raise Refused(NOTHING_MEASURED)
    return _keep(record, sent, verb="step")


@transaction.atomic
def log_photo(
    *, attempt: Attempt, step: Step, photo: CleanPhoto, sent: Sent, candidate: Person, at: datetime
) -> Photo:
    """Keep a photo for a step; another one replaces it and says why."""
    held = _open_for(attempt, step, StepKind.PHOTO, candidate=candidate, at=at)
    kept = Photo(
        **_stamp(held, step, sent, at=at),
        file=ContentFile(photo.content, name="photo.jpg"),
        sha256=photo.sha256,
        received_sha256=photo.received_sha256,
        pixels_sha256=photo.pixels_sha256,
        taken_at=_by_the_centres_clock(photo.taken_at, attempt=held),
        width=photo.width,
        height=photo.height,
    )
    return _keep(kept, sent, verb="photo")


@transaction.atomic
def log_again(
    *,
    entry: Reading | StepRecord | Photo,
    instead_of: Reading | StepRecord | Photo,
    sent: Sent,
    candidate: Person,
    at: datetime,
) -> Reading | StepRecord | Photo:
    """Write once more what an entry said that was struck out, in place of the one that stands.

    Refused without a reason, and where that one stands no more.
    """
    held = _open_for(entry.attempt, entry.step, StepKind(entry.step.kind), candidate=candidate, at=at)
    again: Any = copy(entry)
    again._state = ModelState()
    for name, value in _stamp(held, entry.step, sent, at=at).items():
        setattr(again, name, value)
    known: Reading | StepRecord | Photo | None = _known(again)
    if known is not None:
        return known
    if not sent.reason.strip():
        raise Refused("Say why it is struck out.", field="reason")
    if not type(entry)._default_manager.current().filter(pk=instead_of.pk).exists():
        raise Refused(STRUCK_OUT)
    stored: Reading | StepRecord | Photo = _store(again, sent, verb=VERBS[type(entry)], before=instead_of)
    return stored


def _by_the_centres_clock(taken_at: datetime | None, *, attempt: Attempt) -> datetime | None:
    """A camera that names no offset is taken to be set to the time at the centre."""
    if taken_at is None or taken_at.tzinfo is not None:
        return taken_at
    return taken_at.replace(tzinfo=attempt.rig.centre.zone)


def standing(attempt: Attempt) -> dict[int, Reading | StepRecord | Photo]:
    """What stands on each step, by the step's id: the latest of each, what was taken back left out."""
    entries: list[Reading | StepRecord | Photo] = [
        *attempt.readings.standing().select_related("instrument__instrument"),
        *attempt.records.current().filter(done=True),
        *attempt.photos.current(),
    ]
    return {entry.step_id: entry for entry in entries}


def has_measured(attempt: Attempt) -> bool:
    """Whether a reading of the candidate's own choice stands."""
    return attempt.readings.standing().filter(test_point__isnull=False).exists()


def reading_entry(attempt: Attempt, step: Step, *, typed: TypedReading, sent: Sent, at: datetime) -> Reading:
    """A reading on a step, not stored yet."""
    taken = (each for each in attempt.instruments.all() if each.kind == step.instrument_kind)
    return Reading(**_stamp(attempt, step, sent, at=at), **_figures(typed), instrument=next(taken))


def measurement_entry(
    attempt: Attempt,
    step: Step,
    *,
    test_point: TestPoint,
    condition: Condition,
    typed: TypedReading,
    sent: Sent,
    at: datetime,
    why: str = "",
) -> Reading:
    """A reading of the candidate's own choice, not stored yet. Refused for what can't be measured."""
    _require_offered(step, test_point, condition)
    if typed.quantity != test_point.quantity:
        raise Refused(f"{test_point.label} isn't {typed.quantity.words}. Look at the unit.", field="text")
    return Reading(
        **_stamp(attempt, step, sent, at=at),
        **_figures(typed),
        instrument=_instrument_for(attempt, step, test_point),
        test_point=test_point,
        condition=condition,
        why=why.strip(),
    )


def record_entry(
    attempt: Attempt,
    step: Step,
    *,
    sent: Sent,
    at: datetime,
    answer: str = "",
    note: str = "",
    done: bool = True,
) -> StepRecord:
    """A step done, an observation, a diagnosis or conclusion, not stored yet. Refused without its answer."""
    if step.choices and done and answer not in {choice["value"] for choice in step.choices}:
        raise Refused("Choose one of the answers.", field="answer")
    if step.kind in REASONED and done and not note.strip():
        raise Refused("Give the reason, in a sentence from your own readings.", field="note")
    return StepRecord(**_stamp(attempt, step, sent, at=at), done=done, answer=answer, note=note.strip())


def _figures(typed: TypedReading) -> dict[str, Any]:
    return {
        "text": typed.text,
        "unit": typed.unit or "",
        "qualifier": typed.qualifier,
        "value": typed.value,
        "si_value": typed.si_value,
        "si_resolution": typed.si_resolution,
    }


def _open_for(attempt: Attempt, step: Step, *kinds: StepKind, candidate: Person, at: datetime) -> Attempt:
    held = own_locked(attempt=attempt, candidate=candidate)
    if held.status not in AT_WORK:
        raise Refused(VOID if held.status == AttemptStatus.VOID else CLOSED)
    if step.version_id != held.version_id or step.kind not in kinds:
        raise Refused("That step isn't part of this task.")
    if held.status == AttemptStatus.RETURNED:
        returns.require_named(held, step, at=at)
    return held


def _known(entry: Entry) -> Entry | None:
    """What was stored under this id before, if the same was sent twice.

    Refused where the id is another attempt's, or where it came back with something else written: that is a
    correction, and wants a reason.
    """
    known = type(entry).objects.filter(pk=entry.pk).first()
    if known is None:
        return None
    if known.attempt_id != entry.attempt_id:
        raise Refused("This was logged elsewhere under the same number. Load the page again.")
    if known.says != entry.says:
        raise Refused(CORRECTION, field="reason")
    return known


def _stamp(attempt: Attempt, step: Step, sent: Sent, *, at: datetime) -> dict[str, Any]:
    """The fields that every entry begins with."""
    return {
        "pk": sent.id,
        "attempt": attempt,
        "step": step,
        "device_at": sent.device_at,
        "received_at": at,
        "on_paper": sent.on_paper,
        "written_at": sent.written_at,
    }


def _keep(entry: Entry, sent: Sent, *, verb: str) -> Entry:
    """Store an entry, once. What stands on its step is superseded, which needs a reason."""
    known = _known(entry)
    if known is not None:
        return known
    before = type(entry).objects.filter(attempt=entry.attempt, step=entry.step).current().first()
    if before is not None and not sent.reason.strip() and returns.asks_again(entry.attempt, before):
        sent = replace(sent, reason=returns.WHY)
    if before is not None and not sent.reason.strip():
        raise Refused(CORRECTION, field="reason")
    return _store(entry, sent, verb=verb, before=before)


def _store(entry: Entry, sent: Sent, *, verb: str, before: Entry | None) -> Entry:
    """Store an entry under the next number of its attempt, in the place of the one before it if any."""
    attempt = entry.attempt
    entry.supersedes, entry.reason = before, sent.reason.strip() if before else ""
    entry.sequence = sent.sequence if sent.sequence is not None else next_sequence(attempt)
    if before is not None:  # another device may have counted further: what strikes out comes after
        entry.sequence = max(entry.sequence, before.sequence + 1)
    entry.save(force_insert=True)
    ledger.append(
        centre=attempt.rig.centre,
        actor=attempt.candidate,
        verb=f"{verb}.correct" if before else f"{verb}.log",
        subject=entry.pk,
        at=entry.received_at,
        facts={
            "attempt": str(attempt.pk),
            "step": entry.step.slug,
            "digest": entry.digest(salt=attempt.salt),
        },
    )
    return entry


def next_sequence(attempt: Attempt) -> int:
    last = (model.objects.filter(attempt=attempt).aggregate(last=Max("sequence"))["last"] for model in MODELS)
    return max(each or 0 for each in last) + 1
