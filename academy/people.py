"""People and their roles: each verb is one transaction and one ledger entry."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from zoneinfo import available_timezones

from axes.models import AccessAttempt
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q

from academy import ledger, personal
from academy.models import Centre, Cohort, Membership, Person, Role, normal_email
from academy.refusals import Refused, check_fields

ERASED_NAME = "Erased person"


def open_centre(
    *, name: str, time_zone: str, manager_name: str, manager_email: str, password: str | None, at: datetime
) -> Person:
    """Set up a centre with its first manager, who is returned: the centre is `manager.centre`.

    Nobody is signed in yet, so the entry in the ledger has no actor. Without a password the manager can't
    sign in until one is set.
    """
    name = _required(name, "The centre needs a name.", field="name")
    if time_zone not in available_timezones():
        raise Refused(f"“{time_zone}” is not a time zone: give one such as Europe/London.", field="time_zone")
    centre = Centre(name=name, time_zone=time_zone)
    check_fields(centre)
    with transaction.atomic():
        centre.save(force_insert=True)
        manager = _new_person(centre, manager_name, manager_email, password)
        Role.objects.create(person=manager, kind=Role.Kind.MANAGER, starts_on=centre.date_at(at))
        facts = _sealed_person(manager) | {"manager": str(manager.pk), "time_zone": time_zone}
        ledger.append(centre=centre, actor=None, verb="centre.open", subject=centre.pk, at=at, facts=facts)
    return manager


def add_person(
    *,
    centre: Centre,
    name: str,
    email: str,
    kinds: Collection[Role.Kind | str],
    cohort: Cohort | None = None,
    password: str | None,
    by: Person,
    at: datetime,
    on: date,
    until: date | None = None,
) -> Person:
    """Add a person with roles from `on` to `until`, and a place in a cohort if one is given."""
    check_own_centre(centre=centre, by=by)
    if cohort and cohort.centre_id != centre.pk:
        raise Refused("That cohort belongs to another centre.", field="cohort")
    chosen = sorted({_kind(kind) for kind in kinds})
    for kind in chosen:
        _check_dates(kind, starts_on=on, ends_on=until)
    with transaction.atomic():
        person = _new_person(centre, name, email, password)
        Role.objects.bulk_create(
            Role(person=person, kind=kind, starts_on=on, ends_on=until) for kind in chosen
        )
        if cohort:
            Membership.objects.create(cohort=cohort, person=person, joined_on=on)
        facts = _sealed_person(person) | {
            "kinds": list(chosen),
            "cohort": str(cohort.pk) if cohort else None,
            "starts_on": on.isoformat(),
            "ends_on": until.isoformat() if until else None,
        }
        ledger.append(centre=centre, actor=by, verb="person.add", subject=person.pk, at=at, facts=facts)
    return person


def grant_role(
    *,
    person: Person,
    kind: Role.Kind | str,
    starts_on: date,
    ends_on: date | None = None,
    by: Person,
    at: datetime,
) -> Role:
    """Give a person a role for those days, both included."""
    centre = _centre_of(person, by)
    kind = _kind(kind)
    _check_dates(kind, starts_on=starts_on, ends_on=ends_on)
    with transaction.atomic():
        ledger.lock(centre=centre)
        later = Role.objects.filter(person=person, kind=kind).filter(
            Q(ends_on__isnull=True) | Q(ends_on__gte=starts_on)
        )
        if (later.filter(starts_on__lte=ends_on) if ends_on else later).exists():
            raise Refused(f"{person.name} already holds that role on some of those days.", field="kind")
        role = Role.objects.create(person=person, kind=kind, starts_on=starts_on, ends_on=ends_on)
        facts = {
            "person": str(person.pk),
            "kind": kind,
            "starts_on": starts_on.isoformat(),
            "ends_on": ends_on.isoformat() if ends_on else None,
        }
        ledger.append(centre=centre, actor=by, verb="role.grant", subject=role.pk, at=at, facts=facts)
    return role


def end_role(*, role: Role, on: date, by: Person, at: datetime) -> Role:
    """End a role: `on` is its last day. Days already worked in a role stay on record."""
    centre = _centre_of(role.person, by)
    with transaction.atomic():
        ledger.lock(centre=centre)
        role = Role.objects.select_related("person").get(pk=role.pk)
        _check_last_day(role, on, today=centre.date_at(at))
        if role.kind == Role.Kind.MANAGER:
            _check_another_manager(centre, role.person, on=on + timedelta(days=1))
        role.ends_on = on
        role.save(update_fields=["ends_on"])
        facts = {"person": str(role.person_id), "kind": role.kind, "ends_on": on.isoformat()}
        ledger.append(centre=centre, actor=by, verb="role.end", subject=role.pk, at=at, facts=facts)
    return role


def set_password(*, person: Person, password: str, by: Person, at: datetime) -> Person:
    """Replace a person's password, by themselves or for them. Signs them out everywhere else."""
    centre = _centre_of(person, by)
    _check_password(password, person)
    with transaction.atomic():
        person.set_password(password)
        person.save(update_fields=["password"])
        ledger.append(centre=centre, actor=by, verb="person.set-password", subject=person.pk, at=at)
    return person


def rename(*, person: Person, name: str, by: Person, at: datetime) -> Person:
    """Give a person another name. What was written under the one before stays as it was."""
    centre = _centre_of(person, by)
    person.name = _required(name, "Say your name.", field="name")
    check_fields(person, exclude={"password"})
    with transaction.atomic():
        person.save(update_fields=["name"])
        facts = {"name": ledger.sealed(person.name, person.salt)}
        ledger.append(centre=centre, actor=by, verb="person.rename", subject=person.pk, at=at, facts=facts)
    return person


def erase(*, person: Person, by: Person, at: datetime) -> Person:
    """Wipe who a person was, in every record, and end their access. Refused while anything is on hold.

    Records keep the opaque id, and the ledger verifies: neither name nor words were ever in it.
    """
    centre = _centre_of(person, by)
    if person.pk == by.pk:
        raise Refused("You can't erase yourself: another manager must do that.")
    today = centre.date_at(at)
    with transaction.atomic():
        ledger.lock(centre=centre)
        person = Person.objects.get(pk=person.pk)
        if person.erased_at:
            raise Refused("This person has been erased already.")
        _check_another_manager(centre, person, on=today)
        if reasons := personal.held([person.pk]).get(person.pk):
            raise Refused(f"Nothing about this person may go yet: {'; '.join(reasons)}.")
        personal.wipe(person=person)
        AccessAttempt.objects.filter(username=person.email).delete()
        _wipe(person, at)
        _end_all(person, today)
        ledger.append(centre=centre, actor=by, verb="person.erase", subject=person.pk, at=at)
    return person


def nobody(*, centre: Centre, at: datetime) -> Person:
    """A person who never was, in whose place a record stands that is cut loose from somebody."""
    person = Person(centre=centre, name="", email="")
    _wipe(person, at)
    return person


def check_own_centre(*, centre: Centre, by: Person) -> None:
    """Refuse what is done at another centre than the doer's own."""
    if by.centre_id != centre.pk:
        raise Refused("You can only do that at your own centre.")


def _new_person(centre: Centre, name: str, email: str, password: str | None) -> Person:
    person = Person(
        centre=centre,
        name=_required(name, "The person needs a name.", field="name"),
        email=normal_email(email),
    )
    check_fields(person, exclude={"password"})
    if password is not None:
        _check_password(password, person)
    person.set_password(password)
    try:
        with transaction.atomic():
            person.save(force_insert=True)
    except IntegrityError as error:
        raise Refused("Somebody with that email address is here already.", field="email") from error
    return person


def _sealed_person(person: Person) -> dict[str, ledger.Fact]:
    return {
        "name": ledger.sealed(person.name, person.salt),
        "email": ledger.sealed(person.email, person.salt),
    }


def _wipe(person: Person, at: datetime) -> None:
    person.name = ERASED_NAME
    person.email = f"{person.pk}@erased.invalid"  # a domain that never exists (RFC 2606)
    person.salt = ""
    person.is_active = False
    person.last_login = None
    person.erased_at = at
    person.set_unusable_password()
    person.save()


def _end_all(person: Person, today: date) -> None:
    # What was to begin later ends on the day it would have begun: the person's access is gone all the same.
    Role.objects.filter(person=person).exclude(ends_on__lte=today).filter(starts_on__lte=today).update(
        ends_on=today
    )
    for role in Role.objects.filter(person=person, starts_on__gt=today):
        role.ends_on = role.starts_on
        role.save(update_fields=["ends_on"])
    for membership in Membership.objects.filter(person=person).exclude(left_on__lte=today):
        membership.left_on = max(membership.joined_on, today)
        membership.save(update_fields=["left_on"])


def _centre_of(person: Person, by: Person) -> Centre:
    if person.erased_at:
        raise Refused("This person has been erased.")
    if person.centre is None:
        raise Refused("This person belongs to no centre yet.")
    check_own_centre(centre=person.centre, by=by)
    return person.centre


def _check_dates(kind: Role.Kind, *, starts_on: date, ends_on: date | None) -> None:
    if ends_on and ends_on < starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    if kind == Role.Kind.EXTERNAL_VERIFIER and ends_on is None:
        raise Refused("An external verifier’s access needs a last day.", field="ends_on")


def _check_last_day(role: Role, on: date, *, today: date) -> None:
    if role.ends_on and role.ends_on < today:
        raise Refused("That role has ended already.", field="ends_on")
    if on < role.starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    if on < today - timedelta(days=1):
        raise Refused(
            "The last day can't be before yesterday: a role that was held stays on record.", field="ends_on"
        )


def _check_another_manager(centre: Centre, person: Person, *, on: date) -> None:
    managers = Person.objects.holding(Role.Kind.MANAGER, on=on).filter(centre=centre)
    if managers.filter(pk=person.pk).exists() and not managers.exclude(pk=person.pk).exists():
        raise Refused(f"{centre.name} would be left without a manager: make somebody else one first.")


def _check_password(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Refused(" ".join(error.messages), field="password") from error


def _kind(kind: Role.Kind | str) -> Role.Kind:
    try:
        return Role.Kind(kind)
    except ValueError as error:
        raise Refused(f"There is no role “{kind}”.", field="kinds") from error


def _required(text: str, message: str, *, field: str) -> str:
    text = text.strip()
    if not text:
        raise Refused(message, field=field)
    return text
