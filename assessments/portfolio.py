"""The portfolio of evidence: what a candidate's signed-off attempts show, as a document."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from uuid import UUID

from django.contrib.staticfiles import finders
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Prefetch, Q, QuerySet
from django.template.loader import render_to_string
from django.utils import timezone, translation

from academy import ledger
from academy.models import Centre, Membership, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import disclosure, outcomes
from assessments.coverage import Coverage, Decided, coverage, decided_attempts, prior_achievements
from assessments.models import (
    Attempt,
    AttemptInstrument,
    Photo,
    PortfolioDocument,
    PriorAchievement,
    Reading,
    SignOff,
    Step,
    StepRecord,
)
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.pdf.document import Document, pdf_of
from assessments.showing import Shown, ShownReading, laid_out
from assessments.working.lines import WorkingRow, side_by_side

READINGS_ABREAST = 4
"""Workings that fit beside one another on a page."""
STYLESHEETS = ("academy/tokens.css", "academy/document.css", "assessments/portfolio.css")
STAFF = frozenset({Permission.PORTFOLIO_READ, Permission.ATTEMPT_READ})
"""What tells those who read other people's portfolios from candidates, who read their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPhoto:
    """A photo as the document names it, and where it is stored. ``why`` says why it replaced another."""

    name: str
    path: str
    title: str
    at: datetime
    sha256: str
    received_sha256: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingTable:
    readings: tuple[ShownReading, ...]
    rows: tuple[WorkingRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One attempt with its decision. Without numbers there is nothing in it of what the rig reads."""

    number: int
    attempt: Attempt
    signed: SignOff
    with_numbers: bool
    instruments: tuple[AttemptInstrument, ...]
    sheet: Shown
    workings: tuple[WorkingTable, ...]
    photos: tuple[KeptPhoto, ...]

    @property
    def counts(self) -> bool:
        return Decided(number=self.number, attempt=self.attempt, signed=self.signed).counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Portfolio:
    """``with_ranges``: a copy for staff. A candidate's own has numbers only where they may see them."""

    candidate: Person
    cohorts: tuple[str, ...]
    with_ranges: bool
    coverage: Coverage
    priors: tuple[PriorAchievement, ...]
    entries: tuple[Entry, ...]

    @property
    def rigs_with_numbers(self) -> dict[UUID, Attempt]:
        """One attempt on each rig whose numbers are in it, by the rig's id."""
        numbered = [entry.attempt for entry in self.entries if entry.with_numbers and entry.attempt.sheet_id]
        return {attempt.rig_id: attempt for attempt in numbered}


def contents(*, candidate: Person, with_ranges: bool, on: date) -> Portfolio:
    """Everything in a candidate's portfolio, in a constant number of queries.

    Attempts that aren't signed off are no part of it. ``on`` is the day on which a candidate's own copy must
    not give away what is still to be assessed.
    """
    decided = decided_attempts(_with_everything(), candidate=candidate)
    priors = prior_achievements(candidate)
    seen = _with_numbers(decided, candidate=candidate, with_ranges=with_ranges, on=on)
    cohorts = (
        Membership.objects.filter(person=candidate)
        .order_by("joined_on")
        .values_list("cohort__name", flat=True)
    )
    return Portfolio(
        candidate=candidate,
        cohorts=tuple(cohorts),
        with_ranges=with_ranges,
        coverage=coverage(candidate=candidate, decided=decided, priors=priors),
        priors=priors,
        entries=tuple(_entry(each, with_numbers=each.attempt.pk in seen) for each in decided),
    )


def _with_everything() -> QuerySet[Attempt]:
    steps = Step.objects.select_related("condition", "measurand__condition").order_by("position")
    taken = AttemptInstrument.objects.select_related("instrument__model", "calibration")
    readings = Reading.objects.in_order().select_related(
        "step", "instrument__instrument", "test_point", "condition"
    )
    return Attempt.objects.select_related(
        "session", "sheet__baseline", "sheet__rig_check", "fault__fault", "transcribed_by"
    ).prefetch_related(
        Prefetch("version__steps", steps),
        Prefetch("instruments", taken),
        Prefetch("readings", readings),
        Prefetch("records", StepRecord.objects.in_order()),
        Prefetch("photos", Photo.objects.in_order().select_related("step")),
    )


def _with_numbers(decided: Sequence[Decided], *, candidate: Person, with_ranges: bool, on: date) -> set[UUID]:
    """The attempts, by id, whose numbers may be in this copy: as `disclosure.candidate_may_see`, for many."""
    if with_ranges:
        return {each.attempt.pk for each in decided}
    assessed = [each.attempt for each in decided if each.attempt.purpose == Purpose.ASSESSMENT]
    rigs = {attempt.rig_id: attempt.rig for attempt in assessed}
    withheld = disclosure.withheld(person=candidate, rigs=list(rigs.values()), on=on)
    return {
        attempt.pk
        for attempt in assessed
        if attempt.rig_id not in withheld and not disclosure.seeks_a_fault(attempt.version.steps.all())
    }


def _entry(decided: Decided, *, with_numbers: bool) -> Entry:
    attempt = decided.attempt
    photos = list(attempt.photos.all())
    standing = _standing(photos)
    sheet = laid_out(
        steps=list(attempt.version.steps.all()),
        readings=list(attempt.readings.all()),
        records=list(attempt.records.all()),
        photos=standing,
        marking=outcomes.marking_of(decided.signed.outcome),
        with_numbers=with_numbers,
    )
    return Entry(
        number=decided.number,
        attempt=attempt,
        signed=decided.signed,
        with_numbers=with_numbers,
        instruments=tuple(attempt.instruments.all()),
        sheet=sheet,
        workings=tuple(_workings(sheet.readings)),
        photos=tuple(_kept(each) for each in standing),
    )


def _standing(photos: Sequence[Photo]) -> list[Photo]:
    replaced = {photo.supersedes_id for photo in photos}
    return [photo for photo in photos if photo.pk not in replaced]


def _kept(photo: Photo) -> KeptPhoto:
    return KeptPhoto(
        name=f"{photo.pk}.jpg",
        path=str(photo.file.name),
        title=photo.step.title,
        at=photo.received_at,
        sha256=photo.sha256,
        received_sha256=photo.received_sha256,
        why=photo.reason,
    )


def _workings(readings: Iterable[ShownReading]) -> Iterable[WorkingTable]:
    """Those with the same numbers behind them beside one another: their lines are the same."""
    kinds: dict[type, list[ShownReading]] = defaultdict(list)
    for reading in readings:
        if reading.working:
            kinds[type(reading.mark.numbers)].append(reading)
    for worked in kinds.values():
        for first in range(0, len(worked), READINGS_ABREAST):
            abreast = tuple(worked[first : first + READINGS_ABREAST])
            yield WorkingTable(readings=abreast, rows=side_by_side([reading.working for reading in abreast]))


def issue(*, candidate: Person, by: Person, at: datetime) -> PortfolioDocument:
    """Make a candidate's portfolio as a PDF and keep it. A candidate's own copy keeps to what they may see.

    Not to be called inside a transaction: typesetting takes a while. Refused for somebody else's portfolio
    without the right to read it, and while there is nothing to put in. Raises PdfUnavailable without Pango.
    """
    on = _centre(candidate).date_at(at)
    _require_right(candidate, by, on=on)
    found = contents(candidate=candidate, with_ranges=candidate.pk != by.pk, on=on)
    if not found.entries and not found.priors:
        raise Refused("Nothing is signed off yet, so there is nothing to put into a document.")
    head = ledger.head(centre=_centre(candidate))
    pdf = pdf_of(document_of(found, head=head, by=by, at=at))
    document = PortfolioDocument(
        candidate=candidate,
        issued_by=by,
        issued_at=at,
        with_ranges=found.with_ranges,
        ledger_head=head.hash,
        sha256=hashlib.sha256(pdf).hexdigest(),
    )
    document.file.save(f"{document.pk}.pdf", ContentFile(pdf), save=False)
    try:
        _keep(document, found, head=head)
    except BaseException:
        document.file.delete(save=False)
        raise
    return document


def document_of(found: Portfolio, *, head: ledger.Head, by: Person, at: datetime) -> Document:
    """The document with all that it carries. The same portfolio, head and moment give the same document."""
    centre = _centre(found.candidate)
    context = {"portfolio": found, "centre": centre, "head": head, "issued_by": by, "issued_at": at}
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string("assessments/portfolio-document.html", context)
    return Document(
        html=html,
        title=f"Portfolio of evidence: {found.candidate.name}",
        author=centre.name,
        language="en-GB",
        issued_at=at,
        ledger_head=str(head),
        stylesheets=tuple(_stylesheet(name) for name in STYLESHEETS),
        images={photo.name: _content(photo) for entry in found.entries for photo in entry.photos},
        attachments=_inputs(found.entries),
    )


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
    facts: dict[str, ledger.Fact] = {
        "candidate": str(document.candidate_id),
        "with_ranges": document.with_ranges,
        "sha256": document.sha256,
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


def _inputs(entries: Iterable[Entry]) -> Mapping[str, bytes]:
    """What each attempt was marked from, byte for byte as the digest in the document covers it."""
    return {
        f"attempt-{entry.number:03d}-inputs.json": entry.signed.outcome.inputs.encode()
        for entry in entries
        if entry.with_numbers
    }
