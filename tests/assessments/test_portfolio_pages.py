"""The evidence pages and the documents' addresses, by role."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Person
from assessments import disclosure, portfolio
from assessments.models import Criterion, PortfolioDocument
from assessments.models.decisions import Decision
from assessments.pdf.document import PdfUnavailable
from tests.factories import assessments as made
from tests.factories.academy import (
    AssessorFactory,
    CandidateFactory,
    TechnicianFactory,
    VerifierFactory,
)
from tests.factories.portfolios import FAILED, LATER

pytestmark = pytest.mark.django_db

OWN = "/evidence/"


@pytest.fixture
def bench(bench, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + 3 * LATER)
    return bench


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def detail(person: Person) -> str:
    return reverse("portfolio-detail", args=[person.pk])


@pytest.fixture
def make(django_capture_on_commit_callbacks):
    """Asks for a document, which is made at once, and looks at what comes of it."""

    def ask(client: Client, candidate: Person):
        with django_capture_on_commit_callbacks(execute=True):
            asked = client.post(reverse("portfolio-issue", args=[candidate.pk]))
        return client.get(asked.headers["Location"]) if asked.status_code == 302 else asked

    return ask


def test_a_candidate_sees_what_is_covered_and_what_is_missing(bench):
    made.signed_off(bench, FAILED, decision=Decision.NOT_YET_COMPETENT)

    page = signed_in(bench.candidate).get(OWN).content.decode()

    assert "Still missing" in page
    assert "Shown by Two-terminal air pressure switch test" in page
    assert "Achieved before: Safe isolation" in page
    assert "Not yet competent" in page
    assert "Make the document" in page


def test_what_is_covered_in_part_says_how_far_and_what_is_missing(bench):
    made.signed_off(bench)

    page = signed_in(bench.candidate).get(OWN).content.decode()

    assert "In part" in page
    assert "Asks for two attempts on two rigs and two days at the least." in page
    assert "Two attempts on two rigs and one day" in page
    assert "Missing: one more attempt, on another day" in page


def test_all_covered_is_said_in_words(bench):
    Criterion.objects.update(least_attempts=1, least_rigs=1, least_days=1)
    made.signed_off(bench)

    page = signed_in(bench.candidate).get(OWN).content.decode()

    assert "Nothing: every criterion is covered." in page


def test_without_anything_signed_off_the_page_says_what_comes_and_offers_no_document(bench):
    newcomer = CandidateFactory(by=bench.manager)

    page = signed_in(newcomer).get(OWN).content.decode()

    assert "Nothing is signed off yet." in page
    assert "Make the document" not in page


def test_a_centre_without_criteria_says_so():
    page = signed_in(CandidateFactory()).get(OWN).content.decode()

    assert "This centre has no criteria yet." in page


def test_an_attempt_that_is_not_decided_is_not_on_the_page(bench):
    made.handed_in(bench)

    page = signed_in(bench.candidate).get(OWN).content.decode()

    assert "Nothing is signed off yet." in page


@pytest.mark.parametrize("role", [AssessorFactory, VerifierFactory])
def test_staff_read_the_evidence_of_their_centre(bench, role):
    made.signed_off(bench)

    response = signed_in(role(by=bench.manager)).get(detail(bench.candidate))

    assert response.status_code == 200
    assert bench.candidate.name in response.content.decode()


def test_a_candidates_evidence_is_theirs_alone(bench, make):
    other = made.another_candidate(bench)

    assert signed_in(other).get(detail(bench.candidate)).status_code == 404
    assert make(signed_in(other), bench.candidate).status_code == 404
    assert signed_in(AssessorFactory()).get(detail(bench.candidate)).status_code == 404
    assert signed_in(TechnicianFactory(by=bench.manager)).get(detail(bench.candidate)).status_code == 403
    assert signed_in(bench.candidate).get(detail(bench.candidate)).headers["Location"] == OWN


def test_a_stranger_is_sent_to_sign_in(bench):
    for address in (OWN, detail(bench.candidate)):
        assert Client().get(address).headers["Location"].startswith("/sign-in/")


@pytest.mark.usefixtures("pango")
def test_a_candidate_makes_a_document_and_opens_it(bench, make):
    made.signed_off(bench)
    client = signed_in(bench.candidate)

    page = make(client, bench.candidate).content.decode()

    document = PortfolioDocument.objects.get()
    assert not document.with_ranges
    address = reverse("portfolio-download", args=[document.pk])
    assert "It is made" in page and address in page
    assert address in client.get(OWN).content.decode()
    opened = client.get(address)
    assert opened.headers["Content-Type"] == "application/pdf"
    assert opened.headers["Content-Disposition"] == 'inline; filename="portfolio-2025-01-06.pdf"'
    assert b"".join(opened.streaming_content).startswith(b"%PDF-1.7")


@pytest.mark.usefixtures("unset")
def test_staff_make_a_copy_for_staff_which_the_candidate_never_gets(bench, make):
    made.signed_off(bench)

    page = make(signed_in(bench.assessor), bench.candidate)

    document = PortfolioDocument.objects.get()
    assert document.with_ranges
    address = reverse("portfolio-download", args=[document.pk])
    assert address in page.content.decode()
    assert address not in signed_in(bench.candidate).get(OWN).content.decode()
    assert signed_in(bench.candidate).get(address).status_code == 404
    assert signed_in(AssessorFactory()).get(address).status_code == 404
    assert signed_in(TechnicianFactory(by=bench.manager)).get(address).status_code == 403


@pytest.mark.usefixtures("unset")
def test_opening_a_copy_for_staff_counts_as_having_seen_the_ranges(bench, make):
    made.signed_off(bench)
    make(signed_in(bench.assessor), bench.candidate)
    verifier = VerifierFactory(by=bench.manager)
    document = PortfolioDocument.objects.get()

    opened = signed_in(verifier).get(reverse("portfolio-download", args=[document.pk]))

    assert b"".join(opened.streaming_content)
    assert disclosure.has_seen(person=verifier, rig=bench.rig)


def test_a_document_is_made_by_post_alone(bench):
    address = reverse("portfolio-issue", args=[bench.candidate.pk])

    assert signed_in(bench.candidate).get(address).status_code == 405
    assert not PortfolioDocument.objects.exists()


def test_without_pango_the_page_says_so(bench, monkeypatch, make):
    def missing(_document):
        raise PdfUnavailable

    monkeypatch.setattr(portfolio, "pdf_of", missing)

    page = make(signed_in(bench.candidate), bench.candidate)

    assert page.status_code == 200
    assert "the library Pango is missing" in page.content.decode()
    assert not PortfolioDocument.objects.exists()


@pytest.mark.usefixtures("unset")
def test_a_refusal_is_told_on_the_page(bench, make):
    newcomer = CandidateFactory(by=bench.manager)

    page = make(signed_in(newcomer), newcomer)

    assert "there is nothing to put into a document" in page.content.decode()


@pytest.mark.usefixtures("unset")
def test_a_document_whose_file_is_lost_is_not_found(bench, make):
    make(signed_in(bench.candidate), bench.candidate)
    document = PortfolioDocument.objects.get()
    document.file.storage.delete(document.file.name)

    opened = signed_in(bench.candidate).get(reverse("portfolio-download", args=[document.pk]))

    assert opened.status_code == 404


@pytest.mark.usefixtures("unset")
def test_pages_cost_the_same_with_one_attempt_and_with_three(bench, make):
    readers = {OWN: signed_in(bench.candidate), detail(bench.candidate): signed_in(bench.assessor)}

    def queries() -> dict[str, int]:
        counted = {}
        for address, client in readers.items():
            with CaptureQueriesContext(connection) as found:
                client.get(address)
            counted[address] = len(found)
        return counted

    made.signed_off(bench)
    make(signed_in(bench.assessor), bench.candidate)
    before = queries()
    for hours in (1, 2):
        made.signed_off(bench, at=bench.at + hours * LATER)
        make(signed_in(bench.assessor), bench.candidate)

    assert queries() == before
