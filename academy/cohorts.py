"""Cohorts and who is in them: each verb is one transaction and one ledger entry."""

from datetime import date, datetime

from django.db import IntegrityError, transaction

from academy import ledger
from academy.models import Centre, Cohort, Membership, Person
from academy.people import check_own_centre
from academy.refusals import Refused, check_fields


def open_cohort(
    *, centre: Centre, name: str, starts_on: date, ends_on: date, by: Person, at: datetime
) -> Cohort:
    """Open a cohort for those days, both included."""
    check_own_centre(centre=centre, by=by)
    name = name.strip()
    if not name:
        raise Refused("The cohort needs a name.", field="name")
    if ends_on < starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    cohort = Cohort(centre=centre, name=name, starts_on=starts_on, ends_on=ends_on)
    check_fields(cohort)
    with transaction.atomic():
        try:
            with transaction.atomic():
                cohort.save(force_insert=True)
        except IntegrityError as error:
            raise Refused(f"There is a cohort “{name}” already.", field="name") from error
        facts = {"starts_on": starts_on.isoformat(), "ends_on": ends_on.isoformat()}
        ledger.append(centre=centre, actor=by, verb="cohort.open", subject=cohort.pk, at=at, facts=facts)
    return cohort


def add_member(*, cohort: Cohort, person: Person, on: date, by: Person, at: datetime) -> Membership:
    """Put a person in a cohort from that day. One who has left comes back to the place they had."""
    check_own_centre(centre=cohort.centre, by=by)
    if person.centre_id != cohort.centre_id:
        raise Refused(f"{person.name} belongs to another centre.", field="person")
    if not person.is_active:
        raise Refused(f"{person.name} no longer has access.", field="person")
    with transaction.atomic():
        ledger.lock(centre=cohort.centre)
        membership = Membership.objects.filter(cohort=cohort, person=person).first()
        if membership and membership.left_on is None:
            raise Refused(f"{person.name} is in {cohort.name} already.", field="cohort")
        if membership:
            membership.left_on = None
            membership.save(update_fields=["left_on"])
        else:
            membership = Membership.objects.create(cohort=cohort, person=person, joined_on=on)
        _record(membership, verb="membership.add", on=on, by=by, at=at)
    return membership


def remove_member(*, membership: Membership, on: date, by: Person, at: datetime) -> Membership:
    """End a membership: `on` is its last day. What the person did in the cohort stays."""
    check_own_centre(centre=membership.cohort.centre, by=by)
    with transaction.atomic():
        ledger.lock(centre=membership.cohort.centre)
        membership = Membership.objects.select_related("cohort__centre", "person").get(pk=membership.pk)
        if membership.left_on is not None:
            raise Refused(f"{membership.person.name} has left {membership.cohort.name} already.")
        if on < membership.joined_on:
            raise Refused("The last day can't be before the first.", field="left_on")
        membership.left_on = on
        membership.save(update_fields=["left_on"])
        _record(membership, verb="membership.end", on=on, by=by, at=at)
    return membership


def _record(membership: Membership, *, verb: str, on: date, by: Person, at: datetime) -> None:
    facts = {"person": str(membership.person_id), "cohort": str(membership.cohort_id), "on": on.isoformat()}
    ledger.append(
        centre=membership.cohort.centre, actor=by, verb=verb, subject=membership.pk, at=at, facts=facts
    )
