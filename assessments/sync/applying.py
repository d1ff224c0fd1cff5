"""A batch is taken in: each entry by the verb for it, in a transaction of its own, in the device's order."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, NoReturn
from uuid import UUID

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import QuerySet
from django.forms import Form

from academy.models import Centre, Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import attempts, evidence, tickets, typed_in
from assessments.evidence import Sent
from assessments.models import Arrival, Attempt, Photo, Reading, Step, StepRecord, TaskVersion, Ticket
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.tasks import StepKind
from assessments.stops import Stopped
from assessments.sync.answers import Answer, Result, Standing
from assessments.sync.entries import Batch, Decided, Entry, HandIn, Logged, Start, TakeBack
from assessments.sync.judging import Fit, fit
from assessments.typed_in import MODEL_OF
from rigs import instruments
from rigs.models import Rig

MODELS: tuple[type[Reading] | type[StepRecord] | type[Photo], ...] = (Reading, StepRecord, Photo)
SAME_ELSEWHERE = "Another device logged the same"
NOT_THE_SAME = (
    "Something else came under the same number before. What is on this device is kept; tell your assessor."
)
NOT_THERE = "What this belongs to isn’t on the site."
KINDS = {
    "reading": (StepKind.READING, StepKind.MEASUREMENTS),
    "photo": (StepKind.PHOTO,),
    "step": (StepKind.ACTION, StepKind.OBSERVATION, StepKind.DIAGNOSIS, StepKind.CONCLUSION),
}


class ConflictFound(Exception):
    """Something stands where the device has something else, and nobody has decided."""

    def __init__(self, standing: Standing) -> None:
        super().__init__(standing.says)
        self.standing = standing


class TooEarly(Exception):
    """Something before it isn't in yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """Whose device it is, how far behind its clock is, and the photos that came along, by their entries."""

    person: Person
    device: UUID
    skew: timedelta
    photos: Mapping[UUID, "UploadedFile[Any]"]
    at: datetime

    @property
    def centre(self) -> Centre:
        assert self.person.centre is not None  # whoever works at a bench belongs to one
        return self.person.centre


def take_in(
    *, batch: Batch, photos: Mapping[UUID, "UploadedFile[Any]"], person: Person, at: datetime
) -> Iterator[Answer]:
    """Take a batch in, which is the person's own: an answer for each entry, in the order they were applied.

    An entry that is refused leaves the others as they are, but handing in waits until all before it is in.
    """
    intake = Intake(person=person, device=batch.device, skew=at - batch.device_now, photos=photos, at=at)
    for entry in batch.in_order():
        yield _answer(entry, intake)


def _answer(entry: Entry, intake: Intake) -> Answer:
    answer = Answer(id=entry.id, result=Result.LATER)
    try:
        with transaction.atomic():
            return replace(answer, result=_taken(entry, intake))
    except TooEarly:
        return answer
    except Stopped as stopped:
        return replace(answer, words=stopped.message)
    except ConflictFound as conflict:
        return replace(answer, result=Result.CONFLICT, standing=conflict.standing)
    except Refused as refusal:
        other = _open_instead(entry.does, intake) if isinstance(entry.does, Start) else None
        return replace(
            answer, result=Result.REFUSED, words=refusal.message, field=refusal.field, attempt=other
        )


def _taken(entry: Entry, intake: Intake) -> Result:
    try:
        held = Attempt.objects.get_locked(pk=entry.attempt)
    except Attempt.DoesNotExist:
        if not isinstance(entry.does, Start):
            raise TooEarly from None
        _note(entry, _begin(entry, entry.does, intake), intake)
        return Result.STORED
    if held.candidate_id != intake.person.pk:
        raise Refused(NOT_THERE)
    if _is_in(entry, held):
        return Result.ALREADY
    match entry.does:
        case Start():
            raise Refused(NOT_THE_SAME)  # an attempt that was begun on the site has no start to send
        case Logged():
            _log(entry, entry.does, held, intake)
        case TakeBack():
            _take_back(entry, entry.does, held, intake)
        case HandIn():
            if not entry.does.needs <= _all_in(held):
                raise TooEarly
            attempts.hand_in(attempt=held, candidate=intake.person, at=intake.at)
    _note(entry, held, intake)
    return Result.STORED


def _is_in(entry: Entry, attempt: Attempt) -> bool:
    """Whether an entry came before. Refused for something else under its id.

    One that was sent from a page has no note of its arrival: it is known by its step.
    """
    arrival = Arrival.objects.filter(pk=entry.id).first()
    if arrival is not None:
        if arrival.attempt_id != attempt.pk or arrival.digest != sealed(entry.payload, attempt.salt):
            raise Refused(NOT_THE_SAME)
        return True
    first, *others = _rows(pk=entry.id, columns=("attempt", "step__position"))
    for row_attempt, row_position in first.union(*others):
        position = entry.does.position if isinstance(entry.does, Logged | TakeBack) else None
        if (row_attempt, row_position) != (attempt.pk, position):
            raise Refused(NOT_THE_SAME)
        return True
    return False


def _note(entry: Entry, attempt: Attempt, intake: Intake) -> None:
    Arrival.objects.create(
        pk=entry.id,
        attempt=attempt,
        device=intake.device,
        kind=entry.kind,
        sequence=entry.sequence,
        device_at=entry.device_at,
        skew=intake.skew.total_seconds(),
        received_at=intake.at,
        digest=sealed(entry.payload, attempt.salt),
    )


def _all_in(attempt: Attempt) -> set[UUID]:
    """The ids of all that was ever logged for an attempt, whichever way it came."""
    arrived = attempt.arrivals.order_by().values_list("pk")
    return {pk for (pk,) in arrived.union(*_rows(attempt=attempt, columns=("pk",)))}


def _rows(*, columns: tuple[str, ...], **which: object) -> list[QuerySet[Any, Any]]:
    """What was logged, of every kind."""
    return [model._default_manager.filter(**which).order_by().values_list(*columns) for model in MODELS]


# --- Starting ----------------------------------------------------------------------------------------


def _begin(entry: Entry, start: Start, intake: Intake) -> Attempt:
    if start.ticket is not None:
        ticket = (
            Ticket.objects.of(intake.person).filter(pk=start.ticket).select_related("rig__centre").first()
        )
        if ticket is None:
            raise Refused(NOT_THERE)
        return tickets.use(
            ticket=ticket,
            id=entry.id,
            candidate=intake.person,
            cautions_read=start.cautions_read,
            begun_at=entry.device_at + intake.skew,
            at=intake.at,
        )
    rig, version = _rig_and_version(start, intake)
    known = instruments.choices(centre=intake.centre, kinds=list(start.instruments))
    by_id = {each.pk: each for each in known}
    return attempts.start(
        id=entry.id,
        candidate=intake.person,
        version=version,
        rig=rig,
        purpose=Purpose.PRACTICE,
        chosen={kind: by_id[pk] for kind, pk in start.instruments.items() if pk in by_id},
        cautions_read=start.cautions_read,
        at=intake.at,
    )


def _rig_and_version(start: Start, intake: Intake) -> tuple[Rig, TaskVersion]:
    rig = Rig.objects.visible_to(intake.person).select_related("centre").filter(pk=start.rig).first()
    versions = TaskVersion.objects.visible_to(intake.person).select_related("task__centre", "design")
    version = versions.filter(pk=start.version).first()
    if rig is None or version is None:
        raise Refused(NOT_THERE)
    return rig, version


def _open_instead(start: Start, intake: Intake) -> UUID | None:
    """The attempt that an attempt begun on the device would stand beside, if that is why it was refused."""
    try:
        rig, version = _rig_and_version(start, intake)
    except Refused:
        return None
    other = tickets.open_attempt(candidate=intake.person, version=version, rig=rig)
    return None if other is None else other.pk


# --- Logging -------------------------------------------------------------------------------------------


def _log(entry: Entry, logged: Logged, attempt: Attempt, intake: Intake) -> None:
    step = _step_at(attempt, logged.position, entry.kind)
    form = _clean(entry, logged, step, intake, attempt=attempt)
    before = _before(step, logged, attempt)
    found = fit(
        logged,
        standing=None if before is None else before.pk,
        same=before is not None and before.says == typed_in.says(form, step=step),
        known=_all_in(attempt) if logged.corrects is not None else (),
    )
    match found:
        case Fit.EARLY:
            raise TooEarly
        case Fit.CONFLICT:
            _conflict(before, step)
    reason = _reason(logged, found)
    sent = Sent(id=entry.id, sequence=entry.sequence, device_at=entry.device_at, reason=reason)
    now: dict[str, Any] = {"candidate": intake.person, "at": intake.at}
    kept = typed_in.log(form, attempt=attempt, step=step, sent=sent, corrects=_reading(before, step), **now)
    if found is Fit.SETTLED and logged.decided is not None and logged.decided.stands == "that":
        assert before is not None
        evidence.log_again(entry=before, instead_of=kept, sent=_again(entry, logged.decided, reason), **now)


def _step_at(attempt: Attempt, position: int, kind: str) -> Step:
    steps = attempt.version.steps.select_related("version", "condition", "measurand")
    step = steps.filter(position=position).first()
    if step is None or step.kind not in KINDS[kind]:
        raise Refused("That step isn’t part of this task.")
    return step


def _clean(entry: Entry, logged: Logged, step: Step, intake: Intake, *, attempt: Attempt) -> Form:
    """What was typed, through the step's own form. Refused with the first thing that is wrong with it."""
    photo = intake.photos.get(entry.id)
    fields = {**logged.fields, "id": str(entry.id)}
    # What was asked for once more has its reason already.
    is_asked_for = attempt.status == AttemptStatus.RETURNED and "reason" not in logged.fields
    correcting = logged.corrects is not None and logged.decided is None and not is_asked_for
    form = typed_in.form_of(
        step, correcting=correcting, data=fields, files={} if photo is None else {"photo": photo}
    )
    if not form.is_valid():
        field, errors = next(iter(form.errors.items()))
        raise Refused(str(errors[0]), field=None if field == "__all__" else field)
    return form


def _before(step: Step, logged: Logged, attempt: Attempt) -> Reading | StepRecord | Photo | None:
    """What an entry would strike out: what stands on its step, or the reading of one's own that it names."""
    if step.kind != StepKind.MEASUREMENTS:
        model = MODEL_OF.get(step.kind, StepRecord)
        found = model._default_manager.filter(attempt=attempt, step=step).current()
        return found.select_related("step").first()
    if logged.corrects is None:
        return None
    reading = attempt.readings.filter(pk=logged.corrects, step=step).first()
    while reading is not None and (later := attempt.readings.filter(supersedes=reading).first()) is not None:
        reading = later
    return reading


def _reading(before: object, step: Step) -> Reading | None:
    return before if isinstance(before, Reading) and step.kind == StepKind.MEASUREMENTS else None


def _reason(logged: Logged, found: Fit) -> str:
    match found:
        case Fit.SETTLED:
            assert logged.decided is not None
            if not logged.decided.reason.strip():
                raise Refused("Say why that one stands.", field="reason")
            return logged.decided.reason
        case Fit.SAME:
            return SAME_ELSEWHERE
    return logged.fields.get("reason", "")


def _again(entry: Entry, decided: Decided, reason: str) -> Sent:
    return Sent(id=decided.again, sequence=entry.sequence, device_at=entry.device_at, reason=reason)


def _conflict(before: Reading | StepRecord | Photo | None, step: Step) -> NoReturn:
    if before is None:  # a reading that belongs to another step
        raise Refused(NOT_THE_SAME)
    raise ConflictFound(Standing(id=before.pk, says=in_words(before, step=step), at=before.received_at))


def in_words(entry: Reading | StepRecord | Photo, *, step: Step) -> str:
    """What an entry says, in a line for its candidate."""
    match entry:
        case Reading(taken_back=True) | StepRecord(done=False):
            return "Taken back"
        case Reading():
            return f"{entry.text} {entry.unit}".strip() if entry.value is not None else entry.text
        case Photo():
            return "A photo"
    label = step.label_of(entry.answer) if entry.answer else "Done"
    return f"{label}: {entry.note}" if entry.note else label


# --- Taking back ---------------------------------------------------------------------------------------


def _take_back(entry: Entry, taking: TakeBack, attempt: Attempt, intake: Intake) -> None:
    if taking.corrects not in _all_in(attempt):
        raise TooEarly
    if not taking.reason.strip():
        raise Refused("Say why it is taken back.", field="reason")
    step = attempt.version.steps.select_related("version").filter(position=taking.position).first()
    sent = Sent(id=entry.id, sequence=entry.sequence, device_at=entry.device_at, reason=taking.reason[:200])
    now: dict[str, Any] = {"candidate": intake.person, "at": intake.at}
    if step is not None and step.kind == StepKind.MEASUREMENTS:
        reading = attempt.readings.select_related("step__version").filter(pk=taking.corrects).first()
        if reading is None:
            raise Refused(evidence.STRUCK_OUT)
        evidence.take_back_reading(attempt=attempt, reading=reading, sent=sent, **now)
        return
    if step is None or step.kind != StepKind.ACTION:
        raise Refused("That step isn’t part of this task.")
    if not attempt.records.current().filter(pk=taking.corrects, done=True).exists():
        raise Refused(evidence.STRUCK_OUT)
    evidence.log_step(attempt=attempt, step=step, done=False, sent=sent, **now)
