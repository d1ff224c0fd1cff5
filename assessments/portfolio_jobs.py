"""Portfolios made in the background."""

from datetime import datetime
from uuid import UUID

from academy import jobs
from academy.jobs import Kind, Tell
from academy.models import Job, Person
from academy.refusals import Refused
from assessments import portfolio
from assessments.pdf.document import PdfUnavailable

KIND = "portfolio"


def ask(*, candidate: Person, by: Person, at: datetime) -> Job:
    """Have a document made. Asking twice before it is there makes one."""
    given = {"candidate": str(candidate.pk)}
    return jobs.ask(kind=KIND, key=str(candidate.pk), given=given, by=by, at=at)


def being_made(*, candidate: Person, by: Person) -> Job | None:
    """The document of this candidate that the person waits for, if any."""
    return Job.objects.of(by).unfinished().filter(kind=KIND, key=str(candidate.pk)).first()


def _make(*, job: Job, at: datetime, tell: Tell) -> UUID:
    candidate = Person.objects.select_related("centre").get(pk=job.given["candidate"])
    try:
        return portfolio.issue(candidate=candidate, by=job.asked_by, at=at, tell=tell).pk
    except PdfUnavailable as missing:
        raise Refused(str(missing)) from missing


PORTFOLIO = Kind(title="A portfolio of evidence", carry_out=_make, result="portfolio-download")
