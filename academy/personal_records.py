"""What the site itself keeps about people, and for how long."""

import json
from collections.abc import Collection, Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.db.models import Max, Q

from academy import people
from academy.models import (
    AccessLink,
    Centre,
    Digest,
    Job,
    LedgerEntry,
    Membership,
    Person,
    RecordHold,
    Role,
)
from academy.personal import Batch, Due, Keeper, Part, Reasons, RecordKind, Texts

AXES = (AccessAttempt, AccessFailureLog, AccessLog)
PRACTICE = "common practice, no source; check your scheme’s rules"
TYPICAL = "typical, awarding bodies’ rules; check your scheme’s rules"


def holds(of: Collection[UUID]) -> Reasons:
    found: dict[UUID, list[str]] = {}
    for hold in RecordHold.objects.open().filter(person__in=list(of)):
        cause = hold.get_cause_display().lower()
        found.setdefault(hold.person_id, []).append(f"on hold since {hold.placed_at:%-d %B %Y}, {cause}")
    return found


def wipe(person: Person) -> None:
    """Everything kept for signing in and for writing to them, which nobody's evidence rests on."""
    for log in AXES:
        log.objects.filter(username=person.email).delete()
    AccessLink.objects.filter(person=person).delete()
    Digest.objects.filter(person=person).delete()
    Job.objects.filter(asked_by=person).update(failure="", key="", given={})


def parts(person: Person) -> Iterator[Part]:
    yield Part(path="person.json", pieces=[pretty(_details(person))])
    yield Part(path="what-you-did.json", pieces=_acts(person))


def pretty(value: Any) -> bytes:
    return json.dumps(value, indent=1, ensure_ascii=False, default=str).encode()


def _details(person: Person) -> dict[str, Any]:
    memberships = person.memberships.select_related("cohort")
    return {
        "name": person.name,
        "email": person.email,
        "centre": str(person.centre),
        "wants a daily email": person.wants_digest,
        "last signed in": person.last_login,
        "roles": [
            {"role": role.get_kind_display(), "first day": role.starts_on, "last day": role.ends_on}
            for role in person.roles.all()
        ],
        "cohorts": [
            {"cohort": each.cohort.name, "first day": each.joined_on, "last day": each.left_on}
            for each in memberships
        ],
        "daily emails sent": list(person.digests.values_list("sent_at", flat=True)),
        "links to sign in": list(person.access_links.values("purpose", "made_at", "used_at", "withdrawn_at")),
        "sign-ins": list(
            AccessLog.objects.filter(username=person.email).values(
                "attempt_time", "logout_time", "ip_address", "user_agent"
            )
        ),
    }


def _acts(person: Person) -> Iterator[bytes]:
    """Every entry of the ledger that names the person as who did it: a JSON list, an entry a line.

    Without their numbers: gaps between them would tell what others did meanwhile, setting a fault for one.
    """
    entries = LedgerEntry.objects.filter(centre=person.centre_id, actor=person.pk).order_by("number")
    before = b"[\n"
    for at, verb in entries.values_list("at", "verb").iterator():
        yield before + json.dumps({"at": at.isoformat(), "what": verb}).encode()
        before = b",\n"
    yield b"\n]\n" if before != b"[\n" else b"[]\n"


def left_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    """People whose last role and last place in a cohort ended before that day."""
    day = centre.date_at(moment)
    goes_on = Q(ends_on=None) | Q(ends_on__gte=day)
    stays = Q(left_on=None, cohort__ends_on__gte=day) | Q(left_on__gte=day)
    found = (
        Person.objects.filter(centre=centre, erased_at=None)
        .exclude(pk__in=Role.objects.filter(goes_on).values("person_id"))
        .exclude(pk__in=Membership.objects.filter(stays).values("person_id"))
        .annotate(last=Max("roles__ends_on"))
        .exclude(last=None)
    )
    for person in found:
        yield Due(id=str(person.pk), person=person.pk, words=person.name, since=person.last)


def erase_people(batch: Batch) -> None:
    for person in Person.objects.filter(pk__in=batch.ids, centre=batch.centre):
        people.erase(person=person, by=batch.by, at=batch.at)


def links_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    for link in AccessLink.objects.filter(person__centre=centre, expires_at__lt=moment).select_related(
        "person"
    ):
        yield Due(
            id=str(link.pk),
            person=link.person_id,
            words=f"{link.get_purpose_display()}, {link.person.name}",
            since=centre.date_at(link.expires_at),
        )


def drop_links(batch: Batch) -> None:
    AccessLink.objects.filter(pk__in=batch.ids, person__centre=batch.centre).delete()


def digests_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    for digest in Digest.objects.filter(person__centre=centre, sent_at__lt=moment).select_related("person"):
        yield Due(
            id=str(digest.pk),
            person=digest.person_id,
            words=f"Daily email to {digest.person.name}",
            since=digest.on,
        )


def drop_digests(batch: Batch) -> None:
    Digest.objects.filter(pk__in=batch.ids, person__centre=batch.centre).delete()


def sign_ins_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    """What is noted of signing in and of failing to, by people of the centre."""
    known = dict(Person.objects.filter(centre=centre).values_list("email", "pk"))
    for number, log in enumerate(AXES):
        for pk, email, tried in log.objects.filter(
            username__in=list(known), attempt_time__lt=moment
        ).values_list("pk", "username", "attempt_time"):
            yield Due(
                id=f"{number}:{pk}",
                person=known[email],
                words=f"Sign-in by {email}",
                since=centre.date_at(tried),
            )


def drop_sign_ins(batch: Batch) -> None:
    for number, log in enumerate(AXES):
        mine = [pk for place, _, pk in (one.partition(":") for one in batch.ids) if place == str(number)]
        log.objects.filter(pk__in=mine).delete()


KINDS = (
    RecordKind(
        slug="people",
        title="Personal details",
        months=36,
        source=TYPICAL,
        counted_from="the last day of their last role",
        disposal="The person is erased: name, address, and whatever was written about them.",
        due=left_before,
        dispose=erase_people,
    ),
    RecordKind(
        slug="links",
        title="Invitations and links for a new password",
        months=6,
        source=PRACTICE,
        counted_from="the day until which the link was good",
        disposal="They are deleted.",
        due=links_before,
        dispose=drop_links,
    ),
    RecordKind(
        slug="sign-ins",
        title="Sign-ins, and failures to sign in",
        months=12,
        source=PRACTICE,
        counted_from="the day",
        disposal="They are deleted.",
        due=sign_ins_before,
        dispose=drop_sign_ins,
    ),
    RecordKind(
        slug="digests",
        title="Daily emails sent",
        months=12,
        source=PRACTICE,
        counted_from="the day",
        disposal="That they were sent is deleted; what they said was never kept.",
        due=digests_before,
        dispose=drop_digests,
    ),
)

TEXTS = (
    Texts(
        model="academy.RecordHold",
        fields=("reason", "lifted_why"),
        centre="person__centre",
        about=("person",),
        salt="salt",
    ),
)

KEPT = {
    "the person’s own row, wiped by its verb": (
        "Person.email",
        "Person.name",
        "Person.password",
    ),
    "digests, salts and tokens": (
        "AccessLink.token_sha256",
        "LedgerEntry.previous_hash",
        "LedgerEntry.hash",
    ),
    "the ledger, which holds opaque ids and sealed digests": (
        "LedgerEntry.verb",
        "LedgerEntry.subject",
        "LedgerEntry.body",
    ),
    "the centre’s own": ("Centre.name", "Centre.time_zone", "Cohort.name"),
    "the rule’s name and its source": (
        "RetentionPeriod.kind",
        "RetentionPeriod.source",
        "Disposal.kind",
    ),
    "ids, wiped with the person": ("Job.kind", "Job.key", "Job.given", "Job.made", "Job.failure"),
}

KEEPER = Keeper(texts=TEXTS, kept=KEPT, holds=holds, wipe=wipe, parts=parts, kinds=KINDS)
