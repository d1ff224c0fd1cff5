"""What anybody who holds a copy of a document may ask: whether it is the one, and what of it still stands.

Nothing personal is told: who has a copy can read that in it. What is sent isn't kept.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.db.models import DateTimeField, OuterRef, QuerySet, Subquery

from assessments.models import AttemptVoid, PortfolioDocument, PortfolioEntry, SignOff, Suspension
from assessments.pdf.signature import Signature, verify

MOST_BYTES = 40 * 1024 * 1024
SIGNATURE = b"%PDF-"
HEAD = 1024
"""How far into a file its first line may begin (ISO 32000-1, Annex H.3, implementation note 13)."""


class Standing(StrEnum):
    VOID = "void"
    SUPERSEDED = "superseded"
    SUSPENDED = "suspended"


ENDS = (Standing.VOID, Standing.SUPERSEDED, Standing.SUPERSEDED, Standing.SUSPENDED)
"""The gravest first: a void attempt stays void whatever was decided on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallen:
    """An attempt whose decision, as the document shows it, doesn't stand any more, and since when."""

    number: int
    standing: Standing
    since: datetime
    is_shown: bool
    """It was so already when the document was made, which says so itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """How many decisions a document shows, and those of them that have fallen, by their number."""

    document: PortfolioDocument
    decisions: int
    fallen: tuple[Fallen, ...]


class Sameness(StrEnum):
    SIGNED = "signed"
    UNSIGNED = "unsigned"
    ADDED_TO = "added-to"
    ANOTHER = "another"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A copy beside what was issued. ``signature`` is the copy's own, None where it has none."""

    sameness: Sameness
    sha256: str
    signature: Signature | None
    is_ours: bool
    """The signature was made with the key that the document was issued with."""


class CopyRefused(ValueError):
    """What was sent can't be compared. The message says why, to whoever sent it."""


def status(*, document: PortfolioDocument) -> Status:
    """What has become of the decisions that a document shows. A constant number of queries."""
    found = [_fallen(number, ends, document) for number, *ends in _ends(document)]
    return Status(
        document=document, decisions=len(found), fallen=tuple(each for each in found if each is not None)
    )


def compare(*, document: PortfolioDocument, content: bytes) -> Comparison:
    """Compare a copy with what was issued, by its digests, and look at the signature in it.

    Raises CopyRefused for what is too big or no PDF. Where the two differ isn't told: somebody without the
    document could find out what is in it byte by byte.
    """
    if len(content) > MOST_BYTES:
        raise CopyRefused(too_big())
    if SIGNATURE not in content[:HEAD]:
        raise CopyRefused("That file isn’t a PDF.")
    signature = verify(content=content)
    return Comparison(
        sameness=_sameness(document, content),
        sha256=hashlib.sha256(content).hexdigest(),
        signature=signature,
        is_ours=signature is not None and signature.by.sha256 == document.certificate_sha256,
    )


def too_big() -> str:
    return f"That file is too big: {MOST_BYTES // 1024**2} MB is the most that can be compared here."


def _sameness(document: PortfolioDocument, content: bytes) -> Sameness:
    digest = hashlib.sha256(content).hexdigest()
    if digest == document.sha256:
        return Sameness.SIGNED
    if digest == document.unsigned_sha256:
        return Sameness.UNSIGNED
    whole, unsigned = content[: document.size], content[: document.unsigned_size]
    begins_so = (hashlib.sha256(whole).hexdigest(), hashlib.sha256(unsigned).hexdigest())
    if document.sha256 == begins_so[0] or document.unsigned_sha256 == begins_so[1]:
        return Sameness.ADDED_TO
    return Sameness.ANOTHER


def _ends(document: PortfolioDocument) -> Iterable[tuple[Any, ...]]:
    """The number of each decision, and when it came to each of the ends in `ENDS`: None where it didn't."""
    here = OuterRef("sign_off")
    suspensions = Suspension.objects.open().filter(sign_off=here).order_by("since")
    replaced = suspensions.filter(superseded_by__isnull=False)
    return PortfolioEntry.objects.filter(document=document).values_list(
        "number",
        _first(AttemptVoid.objects.filter(attempt__sign_offs=here), "at"),
        _first(SignOff.objects.filter(supersedes=here), "at"),
        _first(replaced, "superseded_by__at"),
        _first(suspensions, "since"),
    )


def _first(found: QuerySet[Any], name: str) -> Subquery:
    return Subquery(found.values(name)[:1], output_field=DateTimeField())


def _fallen(number: int, ends: Iterable[datetime | None], document: PortfolioDocument) -> Fallen | None:
    for standing, since in zip(ENDS, ends, strict=True):
        if since is not None:
            return Fallen(number=number, standing=standing, since=since, is_shown=since <= document.issued_at)
    return None
