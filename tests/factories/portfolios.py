"""What tests of the portfolio ask for, of a bench where something is signed off."""

import io
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

from pypdf import PdfReader

from academy import ledger
from academy.models import Person
from assessments import portfolio, portfolio_contents, progress
from assessments.models import PortfolioDocument
from assessments.pdf.document import Document
from assessments.portfolio import Particulars
from assessments.portfolio_contents import Portfolio
from assessments.signing import signing_key
from tests.factories.assessments import SWITCH_TEST, Bench, Work, another_candidate

LATER = timedelta(hours=1)
ISSUE = UUID("6a1c7f0e-9d0b-4d57-8b57-0a3c6f1d2e45")
FAILED = Work(skipped=frozenset({"prove-after"}))


def contents(bench: Bench, *, with_ranges: bool = True) -> Portfolio:
    return portfolio_contents.contents(candidate=bench.candidate, with_ranges=with_ranges, on=bench.at.date())


def issue(bench: Bench, *, by: Person | None = None) -> PortfolioDocument:
    """A document made three hours into the session: by the assessor, unless somebody else is given."""
    return portfolio.issue(candidate=bench.candidate, by=by or bench.assessor, at=bench.at + 3 * LATER)


def document_of(bench: Bench, found: Portfolio | None = None, **changes: Any) -> Document:
    """The same document each time, of what is signed off; signed by the site's own key."""
    at = changes.get("at", bench.at + 3 * LATER)
    particulars = Particulars(
        id=ISSUE,
        by=bench.assessor,
        at=at,
        head=ledger.head(centre=bench.centre),
        address=portfolio.check_address(ISSUE),
        signer=signing_key(at=at).certificate,
    )
    return portfolio.document_of(found or contents(bench), replace(particulars, **changes))


def bytes_of(document: PortfolioDocument) -> bytes:
    with document.file.open("rb") as file:
        return bytes(file.read())


def pages_of(document: PortfolioDocument) -> list[str]:
    """The text of each page of the PDF."""
    return [plain(page.extract_text()) for page in PdfReader(io.BytesIO(bytes_of(document))).pages]


def plain(text: str) -> str:
    """The text with every run of white space as one space."""
    return " ".join(text.split())


def plan_for_another(bench: Bench) -> None:
    """Somebody else of the cohort still has the task before them."""
    another_candidate(bench)
    task = bench.tasks[SWITCH_TEST].task
    progress.plan(cohort=bench.cohort, task=task, by=bench.manager, at=bench.at)
