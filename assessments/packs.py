"""The pack of a visit: everything about its sample in one file, made in the background."""

import hashlib
import tempfile
from collections.abc import Sequence
from datetime import datetime
from typing import IO
from uuid import UUID, uuid4

from django.core.files import File
from django.db import transaction
from django.db.models import QuerySet
from django.utils.text import slugify

from academy import jobs, ledger
from academy.jobs import Kind, Tell
from academy.models import Job, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import portfolio, visits
from assessments.models import Pack, PortfolioDocument, SignOff, Suspension, Visit
from assessments.pack_contents import (
    README,
    about,
    add_certificates,
    add_sampling,
    json_of,
    ledger_lines,
    trail_page,
)
from assessments.pack_files import CHUNK, LEDGER, PackWriter
from assessments.pdf.document import PdfUnavailable

Documents = Sequence[tuple[Person, PortfolioDocument | None]]
"""Each candidate with their portfolio, if there is anything to put in one."""


def ask(*, visit: Visit, by: Person, at: datetime) -> Job:
    """Have a visit's pack made."""
    _require_right(visit, by, at=at)
    return jobs.ask(kind="pack", key=str(visit.pk), given={"visit": str(visit.pk)}, by=by, at=at)


def packs_visible_to(person: Person, *, at: datetime) -> QuerySet[Pack]:
    """Those of the visits that the person may see today."""
    if person.centre is None:
        return Pack.objects.none()
    return Pack.objects.filter(visit__in=visits.visible_to(person, on=person.centre.date_at(at)))


def carry_out(*, job: Job, at: datetime, tell: Tell) -> UUID:
    visit = Visit.objects.select_related("centre", "visitor", "plan", "made_by").get(pk=job.given["visit"])
    return make(visit=visit, by=job.asked_by, at=at, tell=tell).pk


KIND = Kind(title="A pack of evidence", carry_out=carry_out, result="pack-download")


def make(*, visit: Visit, by: Person, at: datetime, tell: Tell) -> Pack:
    """Make a visit's pack and keep it. Issues the portfolios that are missing or behind.

    Not to be called inside a transaction. Refused where a document can't be made, or a file is gone.
    """
    _require_right(visit, by, at=at)
    sample = list(visit.sample.select_related("candidate__centre", "task"))
    candidates = list({each.candidate_id: each.candidate for each in sample}.values())
    steps = len(candidates) + len(sample) + 1
    documents = []
    for done, candidate in enumerate(candidates):
        tell(done, steps)
        documents.append((candidate, _portfolio(candidate, by=by, at=at)))
    # Afterwards, so that what was issued just now is in the ledger's extract.
    head = ledger.head(centre=visit.centre)
    pack = Pack(id=uuid4(), visit=visit, made_by=by, made_at=at, ledger_head=str(head))
    with tempfile.TemporaryFile() as kept:
        with PackWriter(to=kept, at=at) as writer:
            writer.add("README.txt", README.encode(), what="what is in it, and how to check it")
            writer.add("visit.json", json_of(about(visit, sample)), what="whose visit, and its sample")
            for number, each in enumerate(sample, start=1):
                tell(len(candidates) + number - 1, steps)
                name = f"trails/{number:03d}-{slugify(each.candidate.name)}-{each.task.slug}.html"
                writer.add(name, trail_page(each), what=f"trail of {each.candidate.name}, {each.task}")
            _add_portfolios(writer, documents)
            add_certificates(writer, visit)
            add_sampling(writer, visit)
            writer.add(LEDGER, ledger_lines(visit, head=head), what="the ledger, as far as it is about these")
            pack.manifest_sha256 = writer.finish(_particulars(pack, documents))
        _keep(pack, kept)
    tell(steps, steps)
    return pack


def _particulars(pack: Pack, documents: Documents) -> dict[str, object]:
    centre = pack.visit.centre
    return {
        "pack": str(pack.pk),
        "visit": str(pack.visit_id),
        "centre": {"id": str(centre.pk), "name": centre.name},
        "ledger_head": pack.ledger_head,
        "without_portfolio": sorted(person.name for person, document in documents if document is None),
    }


def _require_right(visit: Visit, by: Person, *, at: datetime) -> None:
    may = Permission.VISIT_MANAGE in permissions_of(by, on=visit.centre.date_at(at))
    if visit.centre_id != by.centre_id or not may:
        raise Refused("Only those who arrange visits have packs made.")


def _keep(pack: Pack, kept: IO[bytes]) -> None:
    pack.size = kept.tell()
    pack.sha256 = _digest(kept)
    kept.seek(0)
    pack.file.save(f"{pack.pk}.zip", File(kept), save=False)
    try:
        with transaction.atomic(durable=True):
            pack.save(force_insert=True)
            ledger.append(
                centre=pack.visit.centre,
                actor=pack.made_by,
                verb="pack.make",
                subject=pack.pk,
                at=pack.made_at,
                facts={
                    "visit": str(pack.visit_id),
                    "sha256": pack.sha256,
                    "manifest_sha256": pack.manifest_sha256,
                    "head": pack.ledger_head,
                },
            )
    except BaseException:
        pack.file.delete(save=False)
        raise


def _digest(file: IO[bytes]) -> str:
    file.seek(0)
    digest = hashlib.sha256()
    while chunk := file.read(CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def _portfolio(candidate: Person, *, by: Person, at: datetime) -> PortfolioDocument | None:
    """The last one issued, unless something was decided since; None where there is nothing to put in one."""
    documents = PortfolioDocument.objects.filter(candidate=candidate, with_ranges=True).exclude(file="")
    newest = documents.order_by("-issued_at").first()
    if newest is not None and not _changed_since(candidate, newest.issued_at):
        return newest
    if not SignOff.objects.current().filter(attempt__candidate=candidate).exists():
        return newest
    try:
        return portfolio.issue(candidate=candidate, by=by, at=at)
    except PdfUnavailable as fault:
        raise Refused(str(fault)) from fault


def _changed_since(candidate: Person, at: datetime) -> bool:
    signed = SignOff.objects.filter(attempt__candidate=candidate)
    suspended = Suspension.objects.filter(sign_off__attempt__candidate=candidate)
    return (
        signed.filter(at__gt=at).exists()
        or signed.filter(countersignature__at__gt=at).exists()
        or suspended.filter(since__gt=at).exists()
        or suspended.filter(lifted_at__gt=at).exists()
    )


def _add_portfolios(writer: PackWriter, documents: Documents) -> None:
    for number, (candidate, document) in enumerate(documents, start=1):
        if document is None:
            continue
        try:
            with document.file.open("rb") as file:
                content = bytes(file.read())
        except FileNotFoundError:
            content = b""
        if hashlib.sha256(content).hexdigest() != document.sha256:
            raise Refused(
                f"The portfolio of {candidate.name} is no longer in the store as it was issued. "
                "Tell whoever looks after this site."
            )
        name = f"portfolios/{number:03d}-{slugify(candidate.name)}.pdf"
        writer.add(name, content, what=f"portfolio of {candidate.name}, {document.issued_at:%Y-%m-%d}")
