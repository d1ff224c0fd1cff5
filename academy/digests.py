"""The daily digest: what waits for a person, as an email, once a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.template.loader import render_to_string

from academy import ledger
from academy.models import Centre, Digest, Person
from academy.notices import Notice, notices_for


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A digest that is due: to whom, and what it tells."""

    person: Person
    notices: tuple[Notice, ...]


def due(*, centre: Centre, at: datetime) -> Iterable[Letter]:
    """A letter for everybody who wants one, has something waiting and hasn't been written to that day."""
    on = centre.date_at(at)
    people = Person.objects.filter(centre=centre, is_active=True, wants_digest=True).select_related("centre")
    for person in people.exclude(digests__on=on):
        notices = tuple(notices_for(person=person, at=at))
        if notices:
            yield Letter(person=person, notices=notices)


def send(*, letter: Letter, at: datetime) -> bool:
    """Send a letter, once a day however often this runs. Returns whether it went out now.

    It is noted first and sent outside any transaction, for a mail server may take its time; the note is taken
    back when it can't be sent, so that it is due again next time.
    """
    person = letter.person
    assert person.centre is not None  # due() finds people of a centre
    note, is_new = Digest.objects.get_or_create(
        person=person, on=person.centre.date_at(at), defaults={"sent_at": at}
    )
    if not is_new:
        return False
    try:
        _message(letter).send()
    except BaseException:
        note.delete()
        raise
    return True


@transaction.atomic
def choose(*, person: Person, wanted: bool, at: datetime) -> Person:
    """Have the digest sent, or not, as the person says."""
    assert person.centre is not None  # nobody else gets to the page
    person.wants_digest = wanted
    person.save(update_fields=["wants_digest"])
    ledger.append(
        centre=person.centre,
        actor=person,
        verb="digest.choose",
        subject=person.pk,
        at=at,
        facts={"wanted": wanted},
    )
    return person


def _message(letter: Letter) -> EmailMessage:
    address = settings.SITE_ADDRESS.rstrip("/")
    body = render_to_string(
        "academy/digest.txt", {"person": letter.person, "notices": letter.notices, "address": address}
    )
    count = len(letter.notices)
    return EmailMessage(
        subject=f"Makepoint: {count} thing{'' if count == 1 else 's'} waiting",
        body=body,
        to=[letter.person.email],
    )
