"""Tickets: leave to work one attempt without a network, with everything pinned while there still was one."""

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import attempts, disclosure
from assessments.attempts import Pinned, Pins
from assessments.models import Attempt, TaskVersion, Ticket, TicketInstrument
from assessments.models.attempts import AttemptStatus, Purpose
from rigs import sessions
from rigs.models import Instrument, Rig


@transaction.atomic
def issue(
    *,
    id: UUID,  # noqa: A002 - the device names it, so that asking twice fetches one
    candidate: Person,
    version: TaskVersion,
    rig: Rig,
    purpose: Purpose,
    chosen: Mapping[str, Instrument],
    at: datetime,
) -> Ticket:
    """Issue a ticket, good until the half-day is over. Refused where no attempt could start: see `attempts`.

    The cautions are read when the attempt is begun, not when the ticket is fetched.
    """
    Rig.objects.lock(rig)
    known = Ticket.objects.filter(pk=id, candidate=candidate).first()
    if known is not None:
        return known
    pins = attempts.pins_for(
        candidate=candidate,
        version=version,
        rig=rig,
        purpose=purpose,
        chosen=chosen,
        cautions_read=True,
        at=at,
    )
    if Ticket.objects.of(candidate).filter(rig=rig, version=version).outstanding(at=at).exists():
        raise Refused(f"You have a ticket for this task on {rig.tag} already: use it, or give it back first.")
    ticket = Ticket.objects.create(
        pk=id,
        candidate=candidate,
        rig=rig,
        version=version,
        purpose=purpose,
        session=pins.session,
        sheet=pins.sheet,
        fault=pins.fault,
        issued_at=at,
        expires_at=sessions.ends_at(centre=rig.centre, at=at),
    )
    pins.keep_instruments(TicketInstrument, ticket=ticket)
    _log("ticket.issue", ticket, by=candidate, at=at)
    return ticket


@transaction.atomic
def use(
    *,
    ticket: Ticket,
    id: UUID,  # noqa: A002 - the attempt's, made on the device
    candidate: Person,
    cautions_read: bool,
    begun_at: datetime,
    at: datetime,
) -> Attempt:
    """Open the attempt that was begun under a ticket, on what the ticket pinned.

    ``begun_at`` is when, by the device's clock put right. It counts from the ticket's issue at the earliest
    and from now at the latest, wherever that clock stood. The task may have been withdrawn since, and the rig
    put on hold: the work was done, and is evidence. Refused for a ticket that was used or ended, had run out
    when the work began, and where the candidate has seen the rig's ranges by now.
    """
    Rig.objects.lock(ticket.rig)
    known = Attempt.objects.filter(pk=id, candidate=candidate).first()
    if known is not None:
        return known
    held = Ticket.objects.get_locked(pk=ticket.pk)
    begun_at = min(max(begun_at, held.issued_at), at)
    _require_good(held, candidate, begun_at=begun_at)
    if not cautions_read:
        raise Refused("Read the cautions and confirm them first.", field="cautions_read")
    attempt = attempts.begin(
        id=id,
        candidate=candidate,
        version=held.version,
        rig=held.rig,
        purpose=Purpose(held.purpose),
        pins=_pins(held),
        at=at,
        begun_at=begun_at,
    )
    held.attempt = attempt
    held.save(update_fields=["attempt"])
    return attempt


@transaction.atomic
def end(*, ticket: Ticket, by: Person, at: datetime) -> Ticket:
    """Give a ticket back, or as an assessor withdraw it. Ending it twice is the same as once."""
    held = Ticket.objects.get_locked(pk=ticket.pk)
    _require_right_to_end(held, by, at=at)
    if held.attempt_id is not None:
        raise Refused("This ticket was used already.")
    if held.ended_at is None:
        held.ended_at, held.ended_by = at, by
        held.save(update_fields=["ended_at", "ended_by"])
        _log("ticket.end", held, by=by, at=at)
    return held


def _require_good(ticket: Ticket, candidate: Person, *, begun_at: datetime) -> None:
    tag = ticket.rig.tag
    if ticket.candidate_id != candidate.pk:
        raise Refused("This ticket belongs to somebody else.")
    if ticket.attempt_id is not None:
        raise Refused("This ticket was used for another attempt already.")
    if ticket.ended_at is not None:
        raise Refused("This ticket was given back or withdrawn. The attempt can be kept as practice.")
    if begun_at >= ticket.expires_at:
        ended = ticket.expires_at.astimezone(ticket.rig.centre.zone)
        raise Refused(
            f"The ticket ran out at {ended:%H:%M}, before this attempt began. It can be kept as practice."
        )
    if ticket.purpose == Purpose.ASSESSMENT and disclosure.has_seen(person=candidate, rig=ticket.rig):
        raise Refused(
            f"You have seen what {tag} reads since, so you can’t be assessed on it. The attempt can be kept "
            "as practice."
        )
    if open_attempt(candidate=candidate, version=ticket.version, rig=ticket.rig) is not None:
        raise Refused(f"You have an attempt at this task on {tag} already: carry on with that one.")


def open_attempt(*, candidate: Person, version: TaskVersion, rig: Rig) -> Attempt | None:
    """The attempt at a task on a rig that a candidate is at work on."""
    mine = Attempt.objects.of(candidate).filter(version=version, rig=rig, status=AttemptStatus.OPEN)
    return mine.first()


def _require_right_to_end(ticket: Ticket, by: Person, *, at: datetime) -> None:
    if ticket.candidate_id == by.pk:
        return
    may = permissions_of(by, on=ticket.rig.centre.date_at(at))
    if by.centre_id != ticket.rig.centre_id or Permission.ATTEMPT_DECIDE not in may:
        raise Refused("Only its candidate or an assessor of this centre can end a ticket.")


def _pins(ticket: Ticket) -> Pins:
    rows = ticket.instruments.select_related("instrument", "model", "calibration")
    taken = tuple(
        Pinned(kind=row.kind, instrument=row.instrument, model=row.model, calibration=row.calibration)
        for row in rows
    )
    return Pins(session=ticket.session, sheet=ticket.sheet, fault=ticket.fault, instruments=taken)


def _log(verb: str, ticket: Ticket, *, by: Person, at: datetime) -> None:
    facts: dict[str, ledger.Fact] = {
        "rig": str(ticket.rig_id),
        "version": str(ticket.version_id),
        "purpose": str(ticket.purpose),
    }
    ledger.append(centre=ticket.rig.centre, actor=by, verb=verb, subject=ticket.pk, at=at, facts=facts)
