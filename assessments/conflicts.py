"""Conflicts of interest: a pairing that is declared is kept from deciding. The words stay with staff."""

from datetime import date, datetime, timedelta

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.models import ConflictOfInterest
from assessments.models.rights import ConflictKind


@transaction.atomic
def declare(
    *,
    person: Person,
    candidate: Person,
    kind: ConflictKind,
    words: str,
    starts_on: date,
    ends_on: date | None,
    by: Person,
    at: datetime,
) -> ConflictOfInterest:
    """Declare a conflict of interest: one's own, or as a manager anybody's."""
    centre = _centre_of(candidate, by)
    if person.centre_id != centre.pk:
        raise Refused("Choose somebody of this centre.", field="person")
    if person.pk == candidate.pk:
        raise Refused("Choose two people: nobody decides about themselves anyway.", field="candidate")
    _require_own_or_manager(person, by, centre, at=at)
    if ends_on is not None and ends_on < starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    words = words.strip()
    if kind == ConflictKind.OTHER and not words:
        raise Refused("Say in a few words what it is.", field="words")
    conflict = ConflictOfInterest.objects.create(
        person=person,
        candidate=candidate,
        kind=kind,
        words=words,
        starts_on=starts_on,
        ends_on=ends_on,
        declared_by=by,
        declared_at=at,
    )
    facts = {
        "person": str(person.pk),
        "candidate": str(candidate.pk),
        "kind": sealed(f"{kind}\n{words}", conflict.salt),
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat() if ends_on else None,
    }
    ledger.append(centre=centre, actor=by, verb="conflict.declare", subject=conflict.pk, at=at, facts=facts)
    return conflict


@transaction.atomic
def end(*, conflict: ConflictOfInterest, on: date, by: Person, at: datetime) -> ConflictOfInterest:
    """Give a conflict its last day, yesterday at the earliest. It stays on record."""
    held = (
        ConflictOfInterest.objects.select_for_update(of=("self",))
        .select_related("person", "candidate")
        .get(pk=conflict.pk)
    )
    centre = _centre_of(held.candidate, by)
    _require_own_or_manager(held.person, by, centre, at=at)
    today = centre.date_at(at)
    if held.ends_on is not None and held.ends_on < today:
        raise Refused("That has ended already.", field="ends_on")
    if on < max(held.starts_on, today - timedelta(days=1)):
        raise Refused("The last day can't be before the first, nor before yesterday.", field="ends_on")
    held.ends_on = on
    held.save(update_fields=["ends_on"])
    facts = {"ends_on": on.isoformat()}
    ledger.append(centre=centre, actor=by, verb="conflict.end", subject=held.pk, at=at, facts=facts)
    return held


def _centre_of(candidate: Person, by: Person) -> Centre:
    centre = candidate.centre
    if centre is None or centre.pk != by.centre_id:
        raise Refused("That candidate belongs to another centre.")
    return centre


def _require_own_or_manager(person: Person, by: Person, centre: Centre, *, at: datetime) -> None:
    may = permissions_of(by, on=centre.date_at(at))
    if Permission.CONFLICT_DECLARE not in may:
        raise Refused("Only somebody who assesses, verifies or manages here today can do that.")
    if person.pk != by.pk and Permission.SCOPE_MANAGE not in may:
        raise Refused("You declare your own; a manager may declare anybody's.", field="person")
