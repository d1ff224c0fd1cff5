"""Starting an attempt, with everything that it will be marked against pinned, and handing it in."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Model, Q

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from assessments import disclosure, limits, outcomes, progress, resits, returns, stops
from assessments.marking.parameters import free_measuring
from assessments.models import Attempt, AttemptInstrument, TaskVersion, Ticket
from assessments.models.attempts import AT_WORK, AttemptStatus, Purpose, TakenInstrument
from assessments.models.tasks import StepKind
from rigs import baselines, faults, instruments, sessions, sheets, suitability
from rigs.models import Calibration, FaultSetting, Instrument, InstrumentModel, Rig, Session, ValueSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinned:
    """An instrument that is taken along, with the specification and certificate in force."""

    kind: str
    instrument: Instrument
    model: InstrumentModel
    calibration: Calibration | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pins:
    """What an attempt is marked against, whatever is done to the rig and the instruments later."""

    session: Session | None
    sheet: ValueSheet | None
    fault: FaultSetting | None
    instruments: tuple[Pinned, ...]

    def keep_instruments(self, rows: type[TakenInstrument], **of: Model) -> None:
        """Store the instruments as rows of a kind, each of the attempt or the ticket that is named."""
        rows._default_manager.bulk_create(
            rows(
                kind=each.kind,
                instrument=each.instrument,
                model=each.model,
                calibration=each.calibration,
                **of,
            )
            for each in self.instruments
        )


@transaction.atomic
def start(
    *,
    id: UUID,  # noqa: A002 - the device names it, so that sending it twice starts it once
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    purpose: Purpose,
    chosen: Mapping[str, Instrument],
    cautions_read: bool,
    at: datetime,
) -> Attempt:
    """Start an attempt and pin what it will be marked against.

    The same id again gives the same attempt. Refused, in words that give nothing of the rig away, when the
    task, the rig or an instrument can't be used, and for an assessment also when a prerequisite is missing,
    the rig wasn't checked this session, or the candidate has seen its ranges.
    """
    Rig.objects.lock(rig)  # one after the other: starts, and faults being set
    known = Attempt.objects.filter(pk=id, candidate=candidate).first()
    if known is not None:
        return known
    pins = pins_for(
        candidate=candidate,
        version=version,
        rig=rig,
        purpose=purpose,
        chosen=chosen,
        cautions_read=cautions_read,
        at=at,
    )
    return begin(id=id, candidate=candidate, version=version, rig=rig, purpose=purpose, pins=pins, at=at)


def pins_for(
    *,
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    purpose: Purpose,
    chosen: Mapping[str, Instrument],
    cautions_read: bool,
    at: datetime,
) -> Pins:
    """What an attempt started at that moment is marked against. Refused where none may start: see `start`.

    The rig must be locked, so that no fault is set meanwhile.
    """
    _require_usable(candidate, version, rig, cautions_read=cautions_read)
    session = sessions.current(centre=rig.centre, at=at)
    sheet = sheets.for_start(rig=rig, at=at) if needs_values(version) else None
    if purpose == Purpose.ASSESSMENT:
        _require_assessable(candidate, version, rig, session=session, sheet=sheet, on=rig.centre.date_at(at))
    kinds, on = kinds_needed(version), rig.centre.date_at(at)
    _require_instruments(kinds, chosen, sheet=sheet, on=on)
    taken = tuple(
        Pinned(
            kind=kind,
            instrument=chosen[kind],
            model=chosen[kind].model,
            calibration=instruments.calibration_in_force(instrument=chosen[kind], on=on),
        )
        for kind in kinds
    )
    return Pins(session=session, sheet=sheet, fault=faults.set_on(rig=rig), instruments=taken)


def begin(
    *,
    id: UUID,  # noqa: A002 - as for `start`
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    purpose: Purpose,
    pins: Pins,
    at: datetime,
    begun_at: datetime | None = None,
) -> Attempt:
    """Open an attempt on what is pinned. ``begun_at`` is when work began, if that was before now."""
    stops.require_running(centre=rig.centre)
    attempt = Attempt.objects.create(
        pk=id,
        candidate=candidate,
        rig=rig,
        version=version,
        purpose=purpose,
        session=pins.session,
        sheet=pins.sheet,
        fault=pins.fault,
        cautions_read_at=begun_at or at,
        started_at=begun_at or at,
    )
    pins.keep_instruments(AttemptInstrument, attempt=attempt)
    if purpose == Purpose.ASSESSMENT:
        resits.use_leave(attempt, on=rig.centre.date_at(attempt.started_at))
    _log("attempt.start", attempt, at=at, rig=str(rig.pk), version=str(version.pk), purpose=str(purpose))
    return attempt


@transaction.atomic
def hand_in(*, attempt: Attempt, candidate: Person, at: datetime) -> Attempt:
    """Hand an attempt in, and mark it. Handing in twice is the same as once. It needs a conclusion first.

    One that was returned needs what was asked for, and gets another outcome beside the first.
    """
    held = own_locked(attempt=attempt, candidate=candidate)
    if held.status not in AT_WORK:
        return held
    for kind in (StepKind.DIAGNOSIS, StepKind.CONCLUSION):
        logged = held.records.current().filter(step__kind=kind, done=True).exists()
        if not logged and held.version.steps.filter(kind=kind).exists():
            raise Refused(f"Log your {kind.label} first: it is part of the task.")
    returns.close(held, at=at)
    held.status, held.submitted_at = AttemptStatus.SUBMITTED, at
    held.save(update_fields=["status", "submitted_at"])
    outcome = outcomes.mark_attempt(attempt=held, at=at)
    _log("attempt.hand-in", held, at=at, inputs=outcome.inputs_sha256)
    return held


def own_locked(*, attempt: Attempt, candidate: Person) -> Attempt:
    """The attempt, locked for writing. Refused for anybody but its candidate, and while all is stopped."""
    held = Attempt.objects.get_locked(pk=attempt.pk)
    if held.candidate_id != candidate.pk:
        raise Refused("This attempt belongs to somebody else.")
    stops.require_running(centre=held.rig.centre)
    return held


def open_on(*, rig: Rig, at: datetime) -> bool:
    """Whether somebody is working on a rig, or may still be asked to read it once more this session."""
    if Attempt.objects.filter(rig=rig, status=AttemptStatus.OPEN).exists():
        return True
    returned = Attempt.objects.filter(rig=rig, status=AttemptStatus.RETURNED).select_related("rig__centre")
    return any(returns.session_goes_on(each, at=at) for each in returned)


def ticket_out_for(*, rig: Rig, at: datetime) -> bool:
    """Whether somebody may be working on a rig without a network."""
    return Ticket.objects.filter(rig=rig).outstanding(at=at).exists()


def needs_values(version: TaskVersion) -> bool:
    """Whether the task reads anything of the rig that a baseline stands behind."""
    return version.steps.filter(Q(measurand__isnull=False) | Q(kind=StepKind.MEASUREMENTS)).exists()


def kinds_needed(version: TaskVersion) -> list[str]:
    """The kinds of instrument that a task needs, in the order in which they are first used."""
    used: list[str] = []
    for step in version.steps.exclude(~Q(kind=StepKind.MEASUREMENTS), instrument_kind=""):
        free = step.kind == StepKind.MEASUREMENTS
        used += free_measuring(step).instruments.values() if free else (step.instrument_kind,)
    return list(dict.fromkeys(used))


def why_not_assessed(*, candidate: Person, version: TaskVersion, rig: Rig, at: datetime) -> list[str]:
    """Every reason why an attempt started now could only be practice, in words for the candidate."""
    session = sessions.current(centre=rig.centre, at=at)
    sheet = sheets.of_session(rig=rig, session=session)
    on = rig.centre.date_at(at)
    return list(_reasons(candidate, version, rig, session=session, sheet=sheet, on=on))


def _require_usable(candidate: Person, version: TaskVersion, rig: Rig, *, cautions_read: bool) -> None:
    if rig.centre_id != candidate.centre_id or version.task.centre_id != candidate.centre_id:
        raise Refused("That rig or task belongs to another centre.")
    stops.require_running(centre=rig.centre)
    if version.withdrawn_at is not None:
        raise Refused("This version of the task was withdrawn. Go back and pick the task again.")
    if version.design_id != rig.design_id:
        raise Refused(f"This task isn't done on {rig.tag}.")
    if rig.retired_at is not None:
        raise Refused(f"{rig.tag} is retired.")
    if rig.holds.open().exists():
        raise Refused(f"{rig.tag} is on hold and can't be used.")
    if not cautions_read:
        raise Refused("Read the cautions and confirm them first.", field="cautions_read")
    if Attempt.objects.filter(candidate=candidate, version=version, rig=rig, status__in=AT_WORK).exists():
        raise Refused(f"You have an attempt at this task on {rig.tag} already: carry on with that one.")


def _require_assessable(
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    *,
    session: Session | None,
    sheet: ValueSheet | None,
    on: date,
) -> None:
    for reason in _reasons(candidate, version, rig, session=session, sheet=sheet, on=on):
        raise Refused(f"{reason} Start it as practice, or ask your assessor.", field="purpose")


def _reasons(
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    *,
    session: Session | None,
    sheet: ValueSheet | None,
    on: date,
) -> list[str]:
    missing = progress.missing_prerequisites(candidate=candidate, version=version)
    reasons = [f"“{task}” comes first." for task in missing]
    reasons += resits.reasons(candidate=candidate, task=version.task, rig=rig, on=on)
    reasons += limits.why_not(version=version, on=on)
    if disclosure.has_seen(person=candidate, rig=rig):
        reasons.append(f"You have seen what {rig.tag} reads, so you can't be assessed on it.")
    if needs_values(version):
        fault = faults.set_on(rig=rig)
        # A fault for practice only is told in the words for a rig that wasn't checked.
        if sheet is None or sheet.rig_check_id is None or (fault is not None and fault.practice_only):
            reasons.append(f"{rig.tag} hasn't been checked this session.")
        elif _repeats(sheet) < baselines.LEAST_REPEATS_FOR_ASSESSMENT:
            reasons.append(f"{rig.tag}'s baseline is too short for assessment.")
    if session is None:
        reasons.append("No session is open on the bench.")
    return reasons


def _repeats(sheet: ValueSheet) -> int:
    return min((value.repeats for value in sheet.values.all()), default=0)


def _require_instruments(
    kinds: Iterable[str], chosen: Mapping[str, Instrument], *, sheet: ValueSheet | None, on: date
) -> None:
    levels = suitability.levels_of(sheet)
    for kind in kinds:
        if kind not in chosen:
            raise Refused("Pick the instrument that you will use.", field=kind)
        why = instruments.refusal(instrument=chosen[kind], kind=kind, on=on)
        if why is not None:
            raise Refused(why, field=kind)
        unsuitable = suitability.refusal(instrument=chosen[kind], levels=levels)
        if unsuitable is not None:
            raise Refused(unsuitable, field=kind)


def _log(verb: str, attempt: Attempt, *, at: datetime, **facts: str) -> None:
    ledger.append(
        centre=attempt.rig.centre, actor=attempt.candidate, verb=verb, subject=attempt.pk, at=at, facts=facts
    )
