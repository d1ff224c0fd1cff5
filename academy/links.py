"""Links that let a person in once: how they are made, found, used and ended.

A token has 256 bits of chance, so its plain SHA-256 is enough: nobody can try them all.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from academy.models import AccessLink, Person

GOOD_FOR = {
    AccessLink.Purpose.INVITATION: timedelta(days=7),
    AccessLink.Purpose.PASSWORD: timedelta(hours=24),
}
TOKEN_BYTES = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """A link with its token, which can't be had again afterwards."""

    link: AccessLink
    token: str


def issue(*, person: Person, purpose: AccessLink.Purpose, by: Person | None, at: datetime) -> Issued:
    """Make a link. Those made for the person before let nobody in any more."""
    end(person=person, at=at)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    link = AccessLink.objects.create(
        person=person,
        purpose=purpose,
        token_sha256=digest(token),
        made_by=by,
        made_at=at,
        expires_at=at + GOOD_FOR[purpose],
    )
    return Issued(link=link, token=token)


def end(*, person: Person, at: datetime) -> int:
    """Withdraw a person's links. Returns how many there were."""
    return AccessLink.objects.filter(person=person, used_at=None, withdrawn_at=None).update(withdrawn_at=at)


def found(*, token: str, at: datetime) -> AccessLink | None:
    """The link of a token, if it still lets somebody in."""
    open_ones = AccessLink.objects.open(at=at).select_related("person__centre")
    return open_ones.filter(token_sha256=digest(token)).first()


def digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
