"""The page that anybody can check a copy of a document on: what it tells, and what it keeps to itself."""

import hashlib
from dataclasses import replace

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments import document_checks, portfolio, signoff, suspensions
from assessments.document_checks import Sameness, Standing
from assessments.models import AttemptVoid, PortfolioDocument, Suspension
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause
from assessments.pdf.document import pdf_of
from assessments.pdf.signature import read_key, self_signed, sign
from tests.factories import assessments as made
from tests.factories import impact as story
from tests.factories.portfolios import LATER, bytes_of, issue, plain
from tests.factories.portfolios import document_of as made_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small")]


@pytest.fixture
def small(pango, monkeypatch) -> None:
    """Documents of one page: what is on it isn't looked at here."""
    page = "<!doctype html><html lang='en-GB'><body><h1>Portfolio of evidence</h1></body></html>"
    monkeypatch.setattr(portfolio, "pdf_of", lambda document: pdf_of(replace(document, html=page, images={})))


@pytest.fixture
def issued(bench) -> PortfolioDocument:
    made.signed_off(bench)
    return issue(bench)


def address(document: PortfolioDocument) -> str:
    return reverse("document-check", args=[document.pk])


def page_of(document: PortfolioDocument) -> str:
    return plain(Client().get(address(document)).content.decode())


def sent(document: PortfolioDocument, content: bytes, *, name: str = "copy.pdf", **extra):
    return Client(enforce_csrf_checks=True).post(
        address(document), {"file": SimpleUploadedFile(name, content)}, **extra
    )


def told(document: PortfolioDocument, content: bytes) -> str:
    return plain(sent(document, content).content.decode())


def test_anybody_with_the_address_learns_when_and_by_which_centre_and_no_name(bench, issued):
    response = Client().get(address(issued))

    page = plain(response.content.decode())
    assert "Issued <time" in page and "12:15" in page and bench.centre.name in page
    assert issued.sha256 in page and issued.unsigned_sha256 in page and issued.certificate_sha256 in page
    assert "the decision on 1 attempt." in page and "All of them stand" in page
    assert "vouches for itself" in page
    rig = issued.entries.get().sign_off.attempt.rig.tag
    for kept in (bench.candidate.name, bench.assessor.name, bench.candidate.email, rig, "ompetent"):
        assert kept not in page, kept
    assert "no-store" in response.headers["Cache-Control"] or "no-cache" in response.headers["Cache-Control"]
    assert response.headers["X-Robots-Tag"] == "noindex"


def test_a_document_that_was_never_issued_is_not_found():
    assert Client().get("/documents/6a1c7f0e-9d0b-4d57-8b57-0a3c6f1d2e45/").status_code == 404


def test_the_document_shows_the_pages_address(bench):
    made.signed_off(bench)
    document = made_of(bench)

    assert "/documents/6a1c7f0e-9d0b-4d57-8b57-0a3c6f1d2e45/" in document.html
    assert document.images["address.png"].startswith(b"\x89PNG")
    assert 'src="image:address.png"' in document.html


def test_a_copy_as_it_was_issued_is_the_same_and_its_signature_intact(issued):
    page = told(issued, bytes_of(issued))

    assert "The same as issued" in page and "with its signature" in page
    assert "Intact, and over the whole file" in page
    assert "The key that this document was signed with" in page


def test_a_copy_of_the_revision_before_the_signature_is_the_same_too(issued):
    page = told(issued, bytes_of(issued)[: issued.unsigned_size])

    assert "The same as issued" in page and "before it was signed" in page
    assert "It has none" in page


def test_a_flipped_byte_is_found_and_named(issued):
    content = bytearray(bytes_of(issued))
    content[600] ^= 1

    page = told(issued, bytes(content))

    assert "Not the same" in page
    assert "changed after signing" in page
    assert "The same as issued" not in page


def test_what_was_added_after_signing_is_named(issued):
    page = told(issued, bytes_of(issued) + b"1 0 obj\n<<>>\nendobj\n")

    assert "Changed after it was issued" in page
    assert "something was added after signing" in page


def test_the_document_signed_again_by_somebody_else_is_not_the_one(issued):
    other = self_signed(name="Makepoint, https://elsewhere.example", at=issued.issued_at)
    key = read_key(key=other, certificates=other)
    forged = sign(
        content=bytes_of(issued)[: issued.unsigned_size], key=key, reason="Issued", at=issued.issued_at
    )

    page = told(issued, forged)

    assert "Changed after it was issued" in page
    assert "Another key than this document’s" in page and "elsewhere.example" in page
    assert "The same as issued" not in page


def test_another_document_of_the_same_site_is_not_the_one(bench, issued):
    another = issue(bench, by=bench.manager)

    compared = document_checks.compare(document=issued, content=bytes_of(another))

    assert compared.sameness is Sameness.ANOTHER
    assert compared.is_ours and compared.signature.is_intact


@pytest.mark.parametrize("content", [b"no PDF at all", b"\x89PNG\r\n", b" " * 2000 + b"%PDF-1.7"])
def test_what_is_no_pdf_is_refused_in_words(issued, content):
    response = sent(issued, content)

    assert response.status_code == 200
    assert "That file isn’t a PDF." in response.content.decode()


@pytest.mark.parametrize(
    ("content", "says"), [(b"", "This file is empty."), (None, "Choose the file first.")]
)
def test_nothing_to_compare_is_told(issued, content, says):
    data = {} if content is None else {"file": SimpleUploadedFile("copy.pdf", content)}

    page = Client().post(address(issued), data).content.decode()

    assert says in page


def test_too_big_a_file_is_refused_before_it_is_read(issued, monkeypatch):
    def read(*_args):
        raise AssertionError

    monkeypatch.setattr("django.http.multipartparser.MultiPartParser.parse", read)

    response = sent(issued, b"%PDF-1.7", CONTENT_LENGTH=str(41 * 1024 * 1024))

    assert response.status_code == 413
    assert "40 MB is the most" in response.content.decode()


def test_a_file_a_little_too_big_is_refused_too(issued, monkeypatch):
    monkeypatch.setattr(document_checks, "MOST_BYTES", 1000)

    assert "is too big" in told(issued, b"%PDF-1.7" + b" " * 1000)


def test_what_is_sent_is_not_kept(bench, issued):
    kept = set(default_storage.listdir("portfolios")[1])
    with CaptureQueriesContext(connection) as asked:
        told(issued, b"%PDF-1.7 " + b"x" * 4_000_000)

    assert set(default_storage.listdir("portfolios")[1]) == kept
    assert not [each for each in asked if each["sql"].startswith(("INSERT", "UPDATE"))]


def test_a_suspension_since_then_is_told_by_number(bench):
    story.decided(bench, "1.57", at=bench.at)
    document = issue(bench)
    assert document_checks.status(document=document).fallen == ()
    story.worked(bench)

    (fallen,) = document_checks.status(document=document).fallen

    suspension = Suspension.objects.get()
    assert (fallen.number, fallen.standing) == (1, Standing.SUSPENDED)
    assert fallen.since == suspension.since and not fallen.is_shown
    page = page_of(document)
    assert "on attempt 1 is suspended" in page and "doesn’t count until an assessor has looked" in page
    assert "All of them stand" not in page

    suspensions.lift(suspension.item, by=bench.assessor, at=story.after(bench, 3))
    assert document_checks.status(document=document).fallen == ()


def test_a_suspension_that_the_document_shows_itself_is_told_so(bench):
    story.decided(bench, "1.57", at=bench.at)
    story.worked(bench)
    document = portfolio.issue(candidate=bench.candidate, by=bench.assessor, at=story.after(bench, 3))

    (fallen,) = document_checks.status(document=document).fallen

    assert fallen.is_shown
    assert "it says so itself" in page_of(document)


def test_a_later_decision_in_its_place_is_told(bench):
    signed = made.signed_off(bench)
    document = issue(bench)
    at = document.issued_at + LATER
    signoff.supersede(
        signed=signed,
        decision=Decision.NOT_YET_COMPETENT,
        feedback="Looked at again.",
        reason="The polarity was read off the label.",
        by=bench.manager,
        at=at,
    )

    (fallen,) = document_checks.status(document=document).fallen

    assert (fallen.standing, fallen.since) == (Standing.SUPERSEDED, at)
    page = page_of(document)
    assert "A later decision has taken the place" in page
    assert "polarity" not in page


def test_a_void_attempt_is_told_without_why(bench):
    signed = made.signed_off(bench)
    document = issue(bench)
    AttemptVoid.objects.create(
        attempt=signed.attempt,
        cause=VoidCause.RIG,
        reason="The hose had a split.",
        words="The rig was at fault.",
        was=AttemptStatus.SIGNED_OFF,
        voided_by=bench.manager,
        at=document.issued_at + LATER,
    )

    (fallen,) = document_checks.status(document=document).fallen

    assert fallen.standing is Standing.VOID
    page = page_of(document)
    assert "Attempt 1 is void." in page
    assert "split" not in page and "at fault" not in page


def test_the_status_costs_the_same_with_one_decision_and_with_three(bench):
    def queries() -> int:
        document = issue(bench)
        with CaptureQueriesContext(connection) as found:
            document_checks.status(document=document)
        return len(found)

    made.signed_off(bench)
    one = queries()
    for hours in (1, 2):
        made.signed_off(bench, at=bench.at + hours * LATER)

    assert queries() == one == 1


def test_a_document_knows_the_decisions_that_it_shows(bench):
    first = made.signed_off(bench)
    document = issue(bench)
    made.signed_off(bench, at=bench.at + LATER)

    assert [(each.number, each.sign_off) for each in document.entries.all()] == [(1, first)]
    assert document.size == len(bytes_of(document)) > document.unsigned_size
    unsigned = bytes_of(document)[: document.unsigned_size]
    assert hashlib.sha256(unsigned).hexdigest() == document.unsigned_sha256
