"""What the benchmark of portfolios measures is the real thing, beside pages that are the same."""

import io

import pytest
from pypdf import PdfReader

from assessments import portfolio
from tests.benchmarks import portfolio as benchmark
from tests.factories.portfolios import document_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("pango")]


def test_both_sides_set_the_same_pages():
    bench = benchmark.worked(2)
    ours, other = portfolio.pdf_of(document_of(bench)), benchmark.alone(document_of(bench))

    pages = [PdfReader(io.BytesIO(each)).pages for each in (ours, other)]

    assert len(pages[0]) == len(pages[1]) > 10
    assert [page.extract_text() for page in pages[0]] == [page.extract_text() for page in pages[1]]


def test_it_tells_the_ratio_and_the_peak_of_memory():
    told: list[str] = []

    benchmark.run(count=1, tell=told.append)

    ratio, memory = told
    assert ratio.startswith("Issuing a portfolio of 1 attempts") and "goal 1.2" in ratio
    assert memory.startswith("Peak memory:") and "goal below 1,000" in memory
