"""The portfolio: what is in it, for whom with numbers, and that what was issued is kept as it was."""

import hashlib
import io
import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.html import strip_tags
from pypdf import PdfReader

from academy import ledger, people
from academy.models import LedgerEntry, Person
from academy.refusals import Refused
from assessments import disclosure, portfolio, progress
from assessments.coverage import Coverage
from assessments.models import PortfolioDocument
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.pdf.document import pdf_of
from rigs.metrology.quantities import from_si
from tests.factories import assessments as made
from tests.factories.academy import AssessorFactory, CandidateFactory, TechnicianFactory, VerifierFactory

pytestmark = pytest.mark.django_db

LATER = timedelta(hours=1)
MISREAD = made.Work(struck={"taps-running": "15.8"})
FAILED = made.Work(skipped=frozenset({"prove-after"}))
FOOTER = "Training result on a training rig. Not evidence that any appliance or installation is safe to use."


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def unset(monkeypatch):
    """Documents without typesetting, for what isn't about their looks: the HTML as it is."""
    monkeypatch.setattr(portfolio, "pdf_of", lambda document: document.html.encode())


def contents(bench, *, with_ranges: bool = True) -> portfolio.Portfolio:
    return portfolio.contents(candidate=bench.candidate, with_ranges=with_ranges, on=bench.at.date())


def issue(bench, *, by: Person | None = None) -> PortfolioDocument:
    return portfolio.issue(candidate=bench.candidate, by=by or bench.assessor, at=bench.at + 3 * LATER)


def bytes_of(document: PortfolioDocument) -> bytes:
    with document.file.open("rb") as file:
        return file.read()


def text_of(document: PortfolioDocument) -> str:
    """The text of the PDF, with every run of white space as one space."""
    pages = PdfReader(io.BytesIO(bytes_of(document))).pages
    return plain(" ".join(page.extract_text() for page in pages))


def words_of(document: PortfolioDocument) -> str:
    """The same of one that was left as HTML."""
    return plain(strip_tags(bytes_of(document).decode()))


def plan_for_another(bench) -> None:
    """Somebody else of the cohort still has the task before them."""
    made.another_candidate(bench)
    task = bench.tasks[made.SWITCH_TEST].task
    progress.plan(cohort=bench.cohort, task=task, by=bench.manager, at=bench.at)


def plain(text: str) -> str:
    return " ".join(text.split())


def ranges_of(bench) -> list[str]:
    """Every expected range on the bench's rig, as the marking writes it."""
    entry = contents(bench).entries[0]
    return [
        plain(line.figure) for each in entry.sheet.readings for line in each.working if "range" in line.label
    ]


# What is in it


@pytest.mark.usefixtures("pango")
def test_a_staff_copy_has_the_whole_record(bench):
    signed = made.signed_off(bench, MISREAD)

    text = text_of(issue(bench))

    assert bench.candidate.name in text and bench.centre.name in text
    for part in (
        "1. Two-terminal air pressure switch test",
        "VB-01, baseline 1",
        "Mon 6 Jan 2025, morning",
        "Isolate, lock off and prove dead before you touch a terminal",
        "MN-02",
        "Within what this rig reads today:",
        "Expected range",
        "15.8 mbar",
        "Struck out: Read the display wrong",
        "Photograph wires and tubes",
        "Contacts open at rest, closed with the fan running",
        "Careful work, and every reading noted as shown.",
        bench.assessor.name,
        "Competent",
        signed.outcome.inputs_sha256,
        "by engine 2",
    ):
        assert part in text, part
    for each in signed.attempt.instruments.exclude(calibration=None).select_related("calibration"):
        assert each.calibration.certificate in text
    for photo in signed.attempt.photos.all():
        assert photo.sha256 in text.replace(" ", "")


@pytest.mark.usefixtures("unset")
def test_missing_and_late_steps_are_named(bench):
    made.signed_off(
        bench,
        made.Work(late=frozenset({"prove-after"}), skipped=frozenset({"photo-after"})),
        decision=Decision.NOT_YET_COMPETENT,
    )

    text = words_of(issue(bench))

    assert (
        "Prove the voltage indicator again Safety-critical Logged after “Photograph wires and tubes”" in text
    )
    assert "Photograph the rig as you leave it Not logged. Missing" in text
    assert "Not yet competent" in text


@pytest.mark.usefixtures("pango")
def test_every_page_says_that_it_is_no_evidence_of_safety_and_names_the_ledgers_head(bench):
    made.signed_off(bench)
    head = ledger.head(centre=bench.centre)

    pages = PdfReader(io.BytesIO(bytes_of(issue(bench)))).pages

    assert len(pages) > 3
    for page in pages:
        text = plain(page.extract_text())
        assert FOOTER in text
        assert head.hash in text


@pytest.mark.parametrize("with_ranges", [True, False])
def test_only_signed_off_attempts_are_in_it(bench, with_ranges):
    made.signed_off(bench)
    handed_in = made.handed_in(bench, at=bench.at + LATER)
    still_open = made.started(bench, at=bench.at + 2 * LATER)

    found = contents(bench, with_ranges=with_ranges)

    assert len(found.entries) == 1
    assert not {handed_in.pk, still_open.pk} & {entry.attempt.pk for entry in found.entries}


@pytest.mark.usefixtures("unset")
def test_nothing_of_an_undecided_attempt_or_of_another_candidate_is_in_it(bench):
    made.signed_off(bench)
    made.handed_in(bench, made.Work(readings={"taps-running": "7.31"}), at=bench.at + LATER)
    other = made.another_candidate(bench)
    made.signed_off(
        bench, made.Work(reason="Somebody else's reason."), candidate=other, at=bench.at + 2 * LATER
    )

    for by in (bench.assessor, bench.candidate):
        text = words_of(issue(bench, by=by))
        assert "1.57 mbar" in text
        assert "7.31" not in text
        assert "Somebody else" not in text and other.name not in text


def test_attempts_are_numbered_in_the_order_of_handing_in(bench):
    first = made.signed_off(bench, FAILED, decision=Decision.NOT_YET_COMPETENT)
    second = made.signed_off(bench, at=bench.at + LATER)

    found = contents(bench)

    assert [(entry.number, entry.attempt) for entry in found.entries] == [
        (1, first.attempt),
        (2, second.attempt),
    ]


# Coverage


def coverage_of(bench) -> Coverage:
    return contents(bench).coverage


def shown_by(bench, code: str) -> list[int | None]:
    (criterion,) = (each for each in coverage_of(bench).criteria if each.code == code)
    return [each.number for each in criterion.evidence]


def test_a_competent_assessment_shows_its_tasks_criteria(bench):
    assert {each.code for each in coverage_of(bench).missing} == {"M2", "M3", "D1"}

    made.signed_off(bench)

    assert shown_by(bench, "M2") == [1]
    assert coverage_of(bench).missing == ()


def test_what_was_achieved_before_counts_under_its_own_name(bench):
    assert shown_by(bench, "S2") == [None]
    (criterion,) = (each for each in coverage_of(bench).criteria if each.code == "S2")
    assert criterion.evidence[0].label == "Achieved before: Safe isolation"


def test_not_yet_competent_shows_nothing(bench):
    made.signed_off(bench, FAILED, decision=Decision.NOT_YET_COMPETENT)

    assert shown_by(bench, "M2") == []


def test_practice_shows_nothing(bench):
    made.signed_off(bench, purpose=Purpose.PRACTICE)

    assert shown_by(bench, "M2") == []


def test_what_is_missing_names_the_tasks_that_can_show_it(bench):
    (criterion,) = (each for each in coverage_of(bench).missing if each.code == "M2")

    assert criterion.shown_by == ("Two-terminal air pressure switch test",)


def test_units_keep_the_order_of_the_criteria(bench):
    assert [unit.unit for unit in coverage_of(bench).units] == ["Working safely", "Measuring", "Diagnosing"]


# Who gets numbers


@pytest.mark.usefixtures("pango")
def test_a_candidates_copy_has_words_only_while_the_rig_is_used_for_assessment(bench):
    made.signed_off(bench, made.Work(readings={"taps-running": "1.69"}), decision=Decision.NOT_YET_COMPETENT)
    plan_for_another(bench)
    ranges, sheet = ranges_of(bench), contents(bench).entries[0].attempt.sheet

    document = issue(bench, by=bench.candidate)

    text = text_of(document)
    assert "Outside what this rig reads today, above." in text
    assert "1.69 mbar" in text
    assert len(ranges) == 4
    for withheld in (*ranges, "against", "±", "Repeat noise", "Expected", "m ± t·u", "The assessor’s reason"):
        assert withheld not in text, withheld
    for value in sheet.values.exclude(value=None):
        assert f"{from_si(value.value, unit='mbar'):.3f}" not in text
    assert PdfReader(io.BytesIO(bytes_of(document))).attachments == {}
    assert not disclosure.has_seen(person=bench.candidate, rig=bench.rig)


@pytest.mark.usefixtures("pango")
def test_a_candidates_copy_has_the_numbers_once_nothing_more_is_planned(bench):
    made.signed_off(bench)
    ranges = ranges_of(bench)

    text = text_of(issue(bench, by=bench.candidate))

    assert "Within what this rig reads today: 1.57 against" in text
    for shown in ranges:
        assert shown in text


@pytest.mark.usefixtures("unset")
def test_who_was_given_the_numbers_is_not_assessed_on_that_rig_again(bench):
    made.signed_off(bench)
    assert not disclosure.has_seen(person=bench.candidate, rig=bench.rig)

    issue(bench, by=bench.candidate)

    with pytest.raises(Refused, match="You have seen what VB-01 reads"):
        made.started(bench, at=bench.at + 3 * LATER)


@pytest.mark.usefixtures("unset")
def test_a_staff_copy_has_numbers_whatever_is_planned_and_its_maker_has_seen_them(bench):
    made.signed_off(bench)
    plan_for_another(bench)
    ranges = ranges_of(bench)

    html = plain(bytes_of(issue(bench)).decode())

    assert all(shown in html for shown in ranges)
    assert disclosure.has_seen(person=bench.assessor, rig=bench.rig)
    assert not disclosure.has_seen(person=bench.candidate, rig=bench.rig)


def test_practice_never_has_numbers_in_a_candidates_copy(bench):
    made.signed_off(bench, purpose=Purpose.PRACTICE)

    (own,) = contents(bench, with_ranges=False).entries
    (staff,) = contents(bench, with_ranges=True).entries

    assert not own.with_numbers and own.workings == ()
    assert all(reading.strip is None for reading in own.sheet.readings)
    assert staff.with_numbers
    kinds = [{reading.mark.judged_by for reading in table.readings} for table in staff.workings]
    assert kinds == [{"leads", "contact"}, {"contact"}, {"zero"}, {"agrees"}, {"falls"}]


def test_an_attempt_has_numbers_exactly_where_the_rule_for_one_attempt_says_so(bench):
    made.signed_off(bench)
    made.signed_off(bench, purpose=Purpose.PRACTICE, at=bench.at + LATER)

    def as_for_one() -> list[bool]:
        entries = contents(bench, with_ranges=False).entries
        on = bench.at.date()
        assert [entry.with_numbers for entry in entries] == [
            disclosure.candidate_may_see(attempt=entry.attempt, on=on) for entry in entries
        ]
        return [entry.with_numbers for entry in entries]

    assert as_for_one() == [True, False]
    plan_for_another(bench)
    assert as_for_one() == [False, False]


def test_the_inputs_are_attached_as_their_digest_covers_them(bench):
    signed = made.signed_off(bench)

    document = portfolio.document_of(
        contents(bench), head=ledger.head(centre=bench.centre), by=bench.assessor, at=bench.at + LATER
    )

    content = document.attachments["attempt-001-inputs.json"]
    assert hashlib.sha256(content).hexdigest() == signed.outcome.inputs_sha256
    assert json.loads(content)["rig"] == "VB-01"


def test_an_assessment_planned_while_the_document_is_made_stops_it(bench, monkeypatch):
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


# Issuing


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
        "head": f"{head.number}:{head.hash}",
    }
    assert isinstance(ledger.verify(centre=bench.centre, known=head), ledger.Intact)


@pytest.mark.usefixtures("pango")
def test_the_same_portfolio_head_and_moment_give_the_same_bytes(bench):
    made.signed_off(bench)
    head, at = ledger.head(centre=bench.centre), bench.at + LATER

    def made_once() -> bytes:
        return pdf_of(portfolio.document_of(contents(bench), head=head, by=bench.assessor, at=at))

    assert made_once() == made_once()


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


# Who sees which document


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


# Cost


@pytest.mark.parametrize("with_ranges", [True, False])
def test_the_number_of_queries_does_not_grow_with_the_attempts(bench, with_ranges):
    made.signed_off(bench, MISREAD)
    with CaptureQueriesContext(connection) as one:
        contents(bench, with_ranges=with_ranges)
    for hours in (1, 2):
        made.signed_off(bench, at=bench.at + hours * LATER)

    with CaptureQueriesContext(connection) as three:
        assert len(contents(bench, with_ranges=with_ranges).entries) == 3

    assert len(one) == len(three)
