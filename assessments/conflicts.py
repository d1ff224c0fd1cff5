"""Conflicts of interest: a pairing that is declared is kept from deciding. The words stay with staff."""

from datetime import date, datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import terms
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
    terms.require_order(starts_on=starts_on, ends_on=ends_on)
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
        **terms.facts(starts_on=starts_on, ends_on=ends_on),
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
    terms.require_last_day(held, on=on, today=centre.date_at(at))
    terms.end(held, on=on, centre=centre, verb="conflict.end", by=by, at=at)
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
