"""The portfolio of evidence: what a candidate's signed-off attempts show, issued as a signed document."""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Q, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import disclosure
from assessments.models import Attempt, PortfolioDocument, PortfolioEntry
from assessments.models.attempts import AttemptStatus
from assessments.pdf.document import Document, pdf_of
from assessments.pdf.signature import Certificate, KeyUnusable, SigningKey, sign
from assessments.pdf.square_codes import square_code
from assessments.portfolio_contents import Entry, KeptPhoto, Portfolio, contents
from assessments.portfolio_record import record
from assessments.signing import signing_key

STYLESHEETS = ("academy/tokens.css", "academy/document.css", "assessments/portfolio.css")
SQUARE_CODE = "address.png"
STAFF = frozenset({Permission.PORTFOLIO_READ, Permission.ATTEMPT_READ})
"""What tells those who read other people's portfolios from candidates, who read their own."""
STAGES = 4
"""Looked up, typeset, signed, kept."""

Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Particulars:
    """What one issue adds to the portfolio. ``address`` is where anybody can check a copy of it."""

    id: UUID
    by: Person
    at: datetime
    head: ledger.Head
    address: str
    signer: Certificate


def issue(
    *, candidate: Person, by: Person, at: datetime, tell: Tell = lambda _done, _total: None
) -> PortfolioDocument:
    """Make a candidate's portfolio as a signed PDF and keep it. Their own copy keeps to what they may see.

    Not to be called inside a transaction: typesetting takes a while, and ``tell`` hears how far it is.
    Refused for somebody else's portfolio without the right to read it, and while there is nothing to put in.
    Raises PdfUnavailable without Pango.
    """
    on = _centre(candidate).date_at(at)
    _require_right(candidate, by, on=on)
    found = contents(candidate=candidate, with_ranges=candidate.pk != by.pk, on=on)
    if not found.entries and not found.priors:
        raise Refused("Nothing is signed off yet, so there is nothing to put into a document.")
    key, particulars = _begun(candidate, by=by, at=at)
    source = document_of(found, particulars)
    tell(1, STAGES)
    unsigned = pdf_of(source)
    tell(2, STAGES)
    signed = sign(content=unsigned, key=key, reason=f"Issued by {_centre(candidate).name}", at=at)
    tell(3, STAGES)
    document = _row(found, particulars, unsigned=unsigned, signed=signed)
    document.file.save(f"{document.pk}.pdf", ContentFile(signed), save=False)
    try:
        _keep(document, found, head=particulars.head)
    except BaseException:
        document.file.delete(save=False)
        raise
    tell(STAGES, STAGES)
    return document


def document_of(found: Portfolio, particulars: Particulars) -> Document:
    """The document with all that it carries. The same portfolio and particulars give the same document."""
    centre = _centre(found.candidate)
    context = {"portfolio": found, "centre": centre, "issue": particulars, "code": SQUARE_CODE}
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string("assessments/portfolio-document.html", context)
    kept = [photo for entry in found.entries for photo in entry.photos if photo.path]
    pictures = {photo.name: _content(photo) for photo in kept}
    return Document(
        html=html,
        title=f"Portfolio of evidence: {found.candidate.name}",
        author=centre.name,
        language="en-GB",
        issued_at=particulars.at,
        ledger_head=str(particulars.head),
        stylesheets=tuple(_stylesheet(name) for name in STYLESHEETS),
        images={SQUARE_CODE: square_code(particulars.address)} | pictures,
        attachments=_attachments(found, particulars),
    )


def check_address(document: UUID) -> str:
    """Where anybody can check a copy, under the site's own address: a document is kept for years."""
    return settings.SITE_ADDRESS.rstrip("/") + reverse("document-check", args=[document])


def documents_visible_to(person: Person, *, on: date) -> QuerySet[PortfolioDocument]:
    """A person's own copies; for those who read portfolios also everybody else's of their centre."""
    visible = Q(candidate=person, with_ranges=False)
    if permissions_of(person, on=on) >= STAFF:
        visible |= Q(candidate__centre=person.centre_id) & ~Q(candidate=person)
    return PortfolioDocument.objects.filter(visible).select_related("candidate", "issued_by")


def candidates_visible_to(person: Person, *, on: date) -> QuerySet[Person]:
    """Whose portfolio a person may read: their own, and with the right to it their whole centre's."""
    everybody: QuerySet[Person] = Person.objects.visible_to(person)
    return everybody if permissions_of(person, on=on) >= STAFF else everybody.filter(pk=person.pk)


def note_opened(*, document: PortfolioDocument, by: Person, at: datetime) -> None:
    """Remember whose ranges somebody sees who opens a copy for staff."""
    if not document.with_ranges:
        return
    inside = Attempt.objects.of(document.candidate).filter(
        status=AttemptStatus.SIGNED_OFF, sheet__isnull=False, sign_offs__at__lte=document.issued_at
    )
    for attempt in {each.rig_id: each for each in inside.select_related("rig")}.values():
        disclosure.note_seen(person=by, rig=attempt.rig, at=at)


def _begun(candidate: Person, *, by: Person, at: datetime) -> tuple[SigningKey, Particulars]:
    try:
        key = signing_key(at=at)
    except KeyUnusable as fault:
        raise Refused(f"Documents can’t be signed: {fault}. Tell whoever looks after this site.") from fault
    document = uuid4()
    return key, Particulars(
        id=document,
        by=by,
        at=at,
        head=ledger.head(centre=_centre(candidate)),
        address=check_address(document),
        signer=key.certificate,
    )


def _row(found: Portfolio, particulars: Particulars, *, unsigned: bytes, signed: bytes) -> PortfolioDocument:
    return PortfolioDocument(
        id=particulars.id,
        candidate=found.candidate,
        issued_by=particulars.by,
        issued_at=particulars.at,
        with_ranges=found.with_ranges,
        ledger_head=particulars.head.hash,
        sha256=hashlib.sha256(signed).hexdigest(),
        size=len(signed),
        unsigned_sha256=hashlib.sha256(unsigned).hexdigest(),
        unsigned_size=len(unsigned),
        certificate_sha256=particulars.signer.sha256,
        is_self_signed=particulars.signer.is_self_signed,
    )


@transaction.atomic(durable=True)
def _keep(document: PortfolioDocument, found: Portfolio, *, head: ledger.Head) -> None:
    """Store it with its ledger entry. Refused if what it shows a candidate was planned for them meanwhile."""
    by, at, centre = document.issued_by, document.issued_at, _centre(document.candidate)
    rigs = [attempt.rig for attempt in found.rigs_with_numbers.values()]
    if not found.with_ranges and disclosure.withheld(person=by, rigs=rigs, on=centre.date_at(at)):
        raise Refused("An assessment was planned while the document was being made. Make it again.")
    for rig in rigs:
        disclosure.note_seen(person=by, rig=rig, at=at)
    document.save(force_insert=True)
    PortfolioEntry.objects.bulk_create(
        PortfolioEntry(document=document, number=entry.number, sign_off=entry.signed)
        for entry in found.entries
    )
    facts: dict[str, ledger.Fact] = {
        "candidate": str(document.candidate_id),
        "with_ranges": document.with_ranges,
        "sha256": document.sha256,
        "unsigned_sha256": document.unsigned_sha256,
        "certificate_sha256": document.certificate_sha256,
        "head": str(head),
    }
    ledger.append(centre=centre, actor=by, verb="portfolio.issue", subject=document.pk, at=at, facts=facts)


def _require_right(candidate: Person, by: Person, *, on: date) -> None:
    if Permission.PORTFOLIO_READ not in permissions_of(by, on=on):
        raise Refused("You have no access to portfolios today.")
    if not candidates_visible_to(by, on=on).filter(pk=candidate.pk).exists():
        raise Refused("That portfolio isn’t yours to read.")


def _centre(candidate: Person) -> Centre:
    if candidate.centre is None:
        raise Refused("Somebody without a centre has no portfolio.")
    return candidate.centre


def _stylesheet(name: str) -> str:
    found = finders.find(name)
    assert isinstance(found, str)  # they come with the package
    return Path(found).read_text(encoding="utf-8")


def _content(photo: KeptPhoto) -> bytes:
    """The photo as it was kept. Refused where the store has lost or changed it."""
    try:
        with default_storage.open(photo.path) as file:
            content = bytes(file.read())
    except FileNotFoundError:
        content = b""
    if hashlib.sha256(content).hexdigest() != photo.sha256:
        raise Refused(
            f"The photo “{photo.title}” is no longer in the store as it was kept, so no document "
            "can be made. Tell whoever looks after this site."
        )
    return content


def _attachments(found: Portfolio, particulars: Particulars) -> dict[str, bytes]:
    carried = record(
        found,
        document=particulars.id,
        centre=_centre(found.candidate),
        head=particulars.head,
        issued_by=particulars.by.name,
        at=particulars.at,
    )
    return carried | _inputs(found.entries)


def _inputs(entries: Iterable[Entry]) -> dict[str, bytes]:
    """What each attempt was marked from, byte for byte as the digest in the document covers it."""
    return {
        f"attempt-{entry.number:03d}-inputs.json": entry.signed.outcome.inputs.encode()
        for entry in entries
        if entry.with_numbers
    }
