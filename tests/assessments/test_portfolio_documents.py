"""Issuing portfolios: kept as they were, in the ledger, and for whom."""

import hashlib
import io
import json

import pytest

from academy import ledger, people
from academy.models import LedgerEntry, Person
from academy.refusals import Refused
from assessments import disclosure, portfolio
from assessments.models import PortfolioDocument
from assessments.models.decisions import Decision
from assessments.pdf.document import pdf_of
from tests.factories import assessments as made
from tests.factories.academy import AssessorFactory, CandidateFactory, TechnicianFactory, VerifierFactory
from tests.factories.portfolios import FAILED, LATER, bytes_of, document_of, issue, plan_for_another

pytestmark = pytest.mark.django_db


@pytest.mark.usefixtures("unset")
def test_what_is_issued_is_kept_with_its_digest_in_the_ledger(bench):
    made.signed_off(bench)
    head = ledger.head(centre=bench.centre)

    document = issue(bench)

    assert hashlib.sha256(bytes_of(document)).hexdigest() == document.sha256
    assert document.ledger_head == head.hash
    entry = LedgerEntry.objects.get(centre=bench.centre, verb="portfolio.issue")
    body = json.loads(entry.body)
    assert body["subject"] == str(document.pk) and body["actor"] == str(bench.assessor.pk)
    assert body["facts"] == {
        "candidate": str(bench.candidate.pk),
        "with_ranges": True,
        "sha256": document.sha256,
        "unsigned_sha256": document.unsigned_sha256,
        "certificate_sha256": document.certificate_sha256,
        "head": f"{head.number}:{head.hash}",
    }
    assert isinstance(ledger.verify(centre=bench.centre, known=head), ledger.Intact)


@pytest.mark.usefixtures("pango")
def test_the_same_portfolio_head_and_moment_give_the_same_bytes(bench):
    made.signed_off(bench)

    assert pdf_of(document_of(bench)) == pdf_of(document_of(bench))


@pytest.mark.usefixtures("unset")
def test_a_later_decision_leaves_an_issued_document_as_it_was(bench):
    made.signed_off(bench, FAILED, decision=Decision.NOT_YET_COMPETENT)
    document = issue(bench)
    before = bytes_of(document)

    made.signed_off(bench, at=bench.at + LATER)
    issue(bench)

    assert bytes_of(document) == before
    assert PortfolioDocument.objects.count() == 2


@pytest.mark.usefixtures("unset")
def test_nothing_to_put_in_is_refused(bench):
    nobody = CandidateFactory(by=bench.manager)

    with pytest.raises(Refused, match="Nothing is signed off yet"):
        portfolio.issue(candidate=nobody, by=nobody, at=bench.at)


@pytest.mark.usefixtures("unset")
def test_prior_achievements_alone_make_a_document(bench):
    assert "Safe isolation" in bytes_of(issue(bench, by=bench.candidate)).decode()


@pytest.mark.usefixtures("unset")
def test_a_portfolio_is_refused_to_others(bench):
    made.signed_off(bench)
    for stranger in (made.another_candidate(bench), AssessorFactory(), TechnicianFactory(by=bench.manager)):
        with pytest.raises(Refused):
            issue(bench, by=stranger)
    assert not PortfolioDocument.objects.exists()


@pytest.mark.parametrize("harm", ["changed", "lost"])
@pytest.mark.usefixtures("unset")
def test_a_photo_that_is_not_as_it_was_kept_stops_the_document(bench, harm):
    signed = made.signed_off(bench)
    file = signed.attempt.photos.first().file
    file.storage.delete(file.name)
    if harm == "changed":
        file.storage.save(file.name, io.BytesIO(made.picture("another").content))

    with pytest.raises(Refused, match="no longer in the store as it was kept"):
        issue(bench)
    assert not PortfolioDocument.objects.exists()


def test_an_assessment_planned_while_the_document_is_made_stops_it(bench, unset, monkeypatch):
    made.signed_off(bench)

    def meanwhile(document):
        plan_for_another(bench)
        return document.html.encode()

    monkeypatch.setattr(portfolio, "pdf_of", meanwhile)
    before = LedgerEntry.objects.filter(verb="portfolio.issue").count()

    with pytest.raises(Refused, match="planned while the document was being made"):
        issue(bench, by=bench.candidate)
    assert not PortfolioDocument.objects.exists()
    assert LedgerEntry.objects.filter(verb="portfolio.issue").count() == before
    assert not disclosure.has_seen(person=bench.candidate, rig=bench.rig)


@pytest.mark.usefixtures("unset")
def test_a_candidate_sees_their_own_copies_and_staff_see_all_of_their_centre(bench):
    made.signed_off(bench)
    own, staff = issue(bench, by=bench.candidate), issue(bench)
    on = bench.at.date()

    def seen(person: Person) -> set[PortfolioDocument]:
        return set(portfolio.documents_visible_to(person, on=on))

    assert seen(bench.candidate) == {own}
    for person in (bench.assessor, bench.manager, VerifierFactory(by=bench.manager)):
        assert seen(person) == {own, staff}
    for person in (made.another_candidate(bench), AssessorFactory(), TechnicianFactory(by=bench.manager)):
        assert seen(person) == set()


@pytest.mark.usefixtures("unset")
def test_staff_who_are_candidates_too_get_no_numbers_of_their_own(bench):
    made.signed_off(bench)
    staff = issue(bench)
    people.grant_role(
        person=bench.candidate, kind="assessor", starts_on=bench.at.date(), by=bench.manager, at=bench.at
    )

    visible = portfolio.documents_visible_to(bench.candidate, on=bench.at.date())
    assert staff not in visible
    assert not issue(bench, by=bench.candidate).with_ranges


@pytest.mark.usefixtures("unset")
def test_opening_a_staff_copy_is_remembered_as_having_seen_the_ranges(bench):
    made.signed_off(bench)
    document, reader = issue(bench), VerifierFactory(by=bench.manager)

    portfolio.note_opened(document=document, by=reader, at=bench.at + 4 * LATER)

    assert disclosure.has_seen(person=reader, rig=bench.rig)
