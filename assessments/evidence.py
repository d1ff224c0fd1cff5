"""What a candidate logs: readings, steps, photos, and corrections that strike out without erasing.

Each carries an id made where it was written, so that sending one twice stores it once.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import Max

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from assessments.attempts import own_locked
from assessments.models import Attempt, Photo, Reading, Step, StepRecord
from assessments.models.attempts import AttemptStatus
from assessments.models.tasks import StepKind
from assessments.photos import CleanPhoto
from rigs.metrology.readings import TypedReading

Entry = TypeVar("Entry", Reading, StepRecord, Photo)
CLOSED = "This attempt was handed in: nothing can be added to it."
CORRECTION = "This step has an entry already: say why it is corrected."
MODELS: tuple[type[Reading] | type[StepRecord] | type[Photo], ...] = (Reading, StepRecord, Photo)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """How something was logged: the device's own id, count and clock, and for a correction the reason."""

    id: UUID
    sequence: int | None = None
    device_at: datetime | None = None
    reason: str = ""


@transaction.atomic
def log_reading(
    *, attempt: Attempt, step: Step, typed: TypedReading, sent: Sent, candidate: Person, at: datetime
) -> Reading:
    """Log a reading on a step. On a step that has one already it is a correction, and needs a reason."""
    held = _open_for(attempt, step, StepKind.READING, candidate=candidate)
    reading = Reading(
        **_stamp(held, step, sent, at=at),
        instrument=held.instruments.get(kind=step.instrument_kind),
        text=typed.text,
        unit=typed.unit or "",
        qualifier=typed.qualifier,
        value=typed.value,
        si_value=typed.si_value,
        si_resolution=typed.si_resolution,
    )
    return _keep(reading, sent, verb="reading")


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
    """Log a step as done, an observation, or a conclusion with its reason; not ``done`` takes it back."""
    held = _open_for(
        attempt, step, StepKind.ACTION, StepKind.OBSERVATION, StepKind.CONCLUSION, candidate=candidate
    )
    if step.choices and done and answer not in {choice["value"] for choice in step.choices}:
        raise Refused("Choose one of the answers.", field="answer")
    if step.kind == StepKind.CONCLUSION and done and not note.strip():
        raise Refused("Give the reason, in a sentence from your own readings.", field="note")
    record = StepRecord(**_stamp(held, step, sent, at=at), done=done, answer=answer, note=note.strip())
    return _keep(record, sent, verb="step")


@transaction.atomic
def log_photo(
    *, attempt: Attempt, step: Step, photo: CleanPhoto, sent: Sent, candidate: Person, at: datetime
) -> Photo:
    """Keep a photo for a step; another one replaces it and says why."""
    held = _open_for(attempt, step, StepKind.PHOTO, candidate=candidate)
    kept = Photo(
        **_stamp(held, step, sent, at=at),
        file=ContentFile(photo.content, name="photo.jpg"),
        sha256=photo.sha256,
        received_sha256=photo.received_sha256,
        width=photo.width,
        height=photo.height,
    )
    return _keep(kept, sent, verb="photo")


def standing(attempt: Attempt) -> dict[int, Reading | StepRecord | Photo]:
    """What stands on each step, by the step's id: the latest of each, what was taken back left out."""
    entries: list[Reading | StepRecord | Photo] = [
        *attempt.readings.current().select_related("instrument__instrument"),
        *attempt.records.current().filter(done=True),
        *attempt.photos.current(),
    ]
    return {entry.step_id: entry for entry in entries}


def _open_for(attempt: Attempt, step: Step, *kinds: StepKind, candidate: Person) -> Attempt:
    held = own_locked(attempt=attempt, candidate=candidate)
    if held.status != AttemptStatus.OPEN:
        raise Refused(CLOSED)
    if step.version_id != held.version_id or step.kind not in kinds:
        raise Refused("That step isn't part of this task.")
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
    return {"pk": sent.id, "attempt": attempt, "step": step, "device_at": sent.device_at, "received_at": at}


def _keep(entry: Entry, sent: Sent, *, verb: str) -> Entry:
    """Store an entry, once. What stands on its step is superseded, which needs a reason."""
    known = _known(entry)
    if known is not None:
        return known
    attempt, reason = entry.attempt, sent.reason.strip()
    before = type(entry).objects.filter(attempt=attempt, step=entry.step).current().first()
    if before is not None and not reason:
        raise Refused(CORRECTION, field="reason")
    entry.supersedes, entry.reason = before, reason if before else ""
    entry.sequence = sent.sequence if sent.sequence is not None else _next_sequence(attempt)
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


def _next_sequence(attempt: Attempt) -> int:
    last = (model.objects.filter(attempt=attempt).aggregate(last=Max("sequence"))["last"] for model in MODELS)
    return max(each or 0 for each in last) + 1
