"""Asking people in: a link by email, or to hand over, with which somebody sets their own password."""

import logging
from collections.abc import Collection
from datetime import date, datetime, timedelta
from smtplib import SMTPException

from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse

from academy import ledger, links, people
from academy.links import Issued
from academy.models import AccessLink, Centre, Cohort, Person, Role, normal_email
from academy.refusals import Refused

log = logging.getLogger(__name__)

MOST_ASKED = 3
"""Links for a new password that one person gets in a day by asking themselves."""
MOST_AT_ONCE = 50
"""Invitations sent in one go, while whoever sends them waits."""
OVER = "This link is used up or too old. Ask for a new one."


def invite(
    *,
    centre: Centre,
    name: str = "",
    email: str,
    kinds: Collection[Role.Kind | str],
    cohort: Cohort | None = None,
    by: Person,
    at: datetime,
    on: date,
    until: date | None = None,
) -> Issued:
    """Add a person who sets a password themselves. Without a name they go by their address until they do."""
    with transaction.atomic():
        person = people.add_person(
            centre=centre,
            name=name.strip() or normal_email(email),
            email=email,
            kinds=kinds,
            cohort=cohort,
            password=None,
            by=by,
            at=at,
            on=on,
            until=until,
        )
        return give_link(person=person, by=by, at=at)


def give_link(*, person: Person, by: Person, at: datetime) -> Issued:
    """A fresh link, whatever became of the last one: to come in, or for a new password."""
    if person.centre is None or not person.is_active:
        raise Refused(f"{person.name} no longer has access.")
    people.check_own_centre(centre=person.centre, by=by)
    return _issued(person, by=by, at=at)


def invite_waiting(*, centre: Centre, by: Person, at: datetime) -> list[Issued]:
    """A link for everybody who can't sign in yet and has none, as many as go in one go."""
    people.check_own_centre(centre=centre, by=by)
    with transaction.atomic():
        waiting = not_invited(centre=centre, at=at)[:MOST_AT_ONCE]
        return [_issued(person, by=by, at=at) for person in waiting]


def withdraw(*, link: AccessLink, by: Person, at: datetime) -> None:
    """End a link before it is used. The person and their roles stay."""
    assert link.person.centre is not None  # only people of a centre are given one
    people.check_own_centre(centre=link.person.centre, by=by)
    with transaction.atomic():
        if not links.end(person=link.person, at=at):
            raise Refused("That link was used or withdrawn already.")
        _record(link, verb="link.withdraw", by=by, at=at)


def ask_for_password(*, email: str, at: datetime) -> Issued | None:
    """A link for whoever forgot their password; None where nobody may have one, which nobody is told."""
    person = Person.objects.select_related("centre").filter(email=normal_email(email), is_active=True).first()
    if person is None or person.centre is None or not person.has_usable_password():
        return None
    asked = AccessLink.objects.filter(person=person, made_by=None, made_at__gt=at - timedelta(days=1))
    if asked.count() >= MOST_ASKED:
        return None
    return _issued(person, by=None, at=at)


def answer(*, email: str, at: datetime) -> None:
    """Send a link for a new password to whoever may have one. Whoever asked learns nothing of it."""
    issued = ask_for_password(email=email, at=at)
    if issued is None:
        return
    try:
        send(issued)
    except (OSError, SMTPException):
        log.exception("A link for a new password couldn’t be sent")


def accept(*, token: str, name: str = "", password: str, at: datetime) -> Person:
    """Set the password by a link, and the name where there is none. The link is used up, once."""
    with transaction.atomic():
        link = links.found(token=token, at=at)
        if link is None:
            raise Refused(OVER)
        # Of two at once, one finds it used.
        if not AccessLink.objects.filter(pk=link.pk, used_at=None, withdrawn_at=None).update(used_at=at):
            raise Refused(OVER)
        person = link.person
        if is_nameless(person):
            people.rename(person=person, name=name, by=person, at=at)
        people.set_password(person=person, password=password, by=person, at=at)
        _record(link, verb="link.use", by=person, at=at)
        # Whoever was locked out for guessing a password has a new one now.
        AccessAttempt.objects.filter(username=person.email).delete()
    return person


def is_nameless(person: Person) -> bool:
    """Whether somebody still goes by their address."""
    return person.name == person.email


def not_invited(*, centre: Centre, at: datetime) -> QuerySet[Person]:
    """Those with a role to come or in force who can't sign in yet, and hold no link that works."""
    waiting = AccessLink.objects.open(at=at).filter(person=OuterRef("pk"))
    today = centre.date_at(at)
    held = Role.objects.filter(person=OuterRef("pk")).exclude(ends_on__lt=today)
    found: QuerySet[Person] = (
        Person.objects.filter(Exists(held), ~Exists(waiting), centre=centre, is_active=True)
        .filter(password__startswith=UNUSABLE_PASSWORD_PREFIX)
        .select_related("centre")
    )
    return found


def address_of(issued: Issued) -> str:
    return settings.SITE_ADDRESS.rstrip("/") + reverse("link-use", args=[issued.token])


def send(issued: Issued) -> None:
    """Send a link by email: after the transaction that made it, so that no lock waits for a mail server."""
    link, person = issued.link, issued.link.person
    context = {
        "link": link,
        "person": person,
        "centre": person.centre,
        "address": address_of(issued),
        "is_nameless": is_nameless(person),
        "is_invitation": link.purpose == AccessLink.Purpose.INVITATION,
    }
    subject = "You are invited to Makepoint" if context["is_invitation"] else "A new password for Makepoint"
    body = render_to_string("academy/link.txt", context)
    EmailMessage(subject=subject, body=body, to=[person.email]).send()


def _issued(person: Person, *, by: Person | None, at: datetime) -> Issued:
    known = person.has_usable_password()
    purpose = AccessLink.Purpose.PASSWORD if known else AccessLink.Purpose.INVITATION
    with transaction.atomic():
        assert person.centre is not None  # asked by each caller
        ledger.lock(centre=person.centre)
        issued = links.issue(person=person, purpose=purpose, by=by, at=at)
        _record(issued.link, verb="link.make", by=by, at=at)
    return issued


def _record(link: AccessLink, *, verb: str, by: Person | None, at: datetime) -> None:
    assert link.person.centre is not None  # only people of a centre are given one
    facts = {"person": str(link.person_id), "purpose": str(link.purpose)}
    ledger.append(centre=link.person.centre, actor=by, verb=verb, subject=link.pk, at=at, facts=facts)
