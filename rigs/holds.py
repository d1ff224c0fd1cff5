"""Taking a rig or an instrument out of use, and giving it back with evidence."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from rigs.models import Hold, Instrument, Rig


@transaction.atomic
def place(*, on: Rig | Instrument, reason: str, by: Person, at: datetime) -> Hold:
    """Take it out of use now. Refused without a reason, or when it is on hold already."""
    reason = reason.strip()
    if not reason:
        raise Refused("Say why it is taken out of use.", field="reason")
    if on.holds.open().exists():
        raise Refused(f"{on.tag} is on hold already.")
    hold = Hold.objects.create(
        rig=on if isinstance(on, Rig) else None,
        instrument=on if isinstance(on, Instrument) else None,
        reason=reason,
        placed_by=by,
        placed_at=at,
    )
    _log("hold.place", hold, centre=on.centre, by=by, at=at)
    return hold


@transaction.atomic
def release(*, hold: Hold, evidence: str, by: Person, at: datetime) -> Hold:
    """Give it back. Refused without evidence: what was done, and what shows that it is right again."""
    evidence = evidence.strip()
    if not evidence:
        raise Refused("Say what was done, and what shows that it is right again.", field="evidence")
    held = Hold.objects.select_for_update(of=("self",)).select_related("released_by").get(pk=hold.pk)
    thing = held.rig or held.instrument
    assert thing is not None  # the database sees to it
    if held.released_by is not None and held.released_at is not None:
        when = f"{held.released_at.astimezone(thing.centre.zone):%d %B %Y at %H:%M}"
        raise Refused(
            f"{held.released_by.name} released this hold already, on {when}, with: {held.release_evidence}"
        )
    held.released_by, held.released_at, held.release_evidence = by, at, evidence
    held.save(update_fields=["released_by", "released_at", "release_evidence"])
    _log("hold.release", held, centre=thing.centre, by=by, at=at)
    return held


def _log(verb: str, hold: Hold, *, centre: Centre, by: Person, at: datetime) -> None:
    facts = {"thing": str(hold.rig_id or hold.instrument_id)}
    ledger.append(centre=centre, actor=by, verb=verb, subject=hold.pk, at=at, facts=facts)
