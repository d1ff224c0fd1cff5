"""What tests of the portfolio ask for, of a bench where something is signed off."""

import io
from datetime import timedelta

from pypdf import PdfReader

from academy.models import Person
from assessments import portfolio, progress
from assessments.models import PortfolioDocument
from tests.factories.assessments import SWITCH_TEST, Bench, Work, another_candidate

LATER = timedelta(hours=1)
FAILED = Work(skipped=frozenset({"prove-after"}))


def contents(bench: Bench, *, with_ranges: bool = True) -> portfolio.Portfolio:
    return portfolio.contents(candidate=bench.candidate, with_ranges=with_ranges, on=bench.at.date())


def issue(bench: Bench, *, by: Person | None = None) -> PortfolioDocument:
    """A document made three hours into the session: by the assessor, unless somebody else is given."""
    return portfolio.issue(candidate=bench.candidate, by=by or bench.assessor, at=bench.at + 3 * LATER)


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
