"""What is in a portfolio, and for whom with numbers."""

import hashlib
import io
import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.html import strip_tags
from pypdf import PdfReader

from academy import ledger
from academy.refusals import Refused
from assessments import disclosure
from assessments.models import PortfolioDocument
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from rigs.metrology.quantities import from_si
from tests.factories import assessments as made
from tests.factories.portfolios import (
    FAILED,
    LATER,
    bytes_of,
    contents,
    document_of,
    issue,
    pages_of,
    plain,
    plan_for_another,
)

pytestmark = pytest.mark.django_db

MISREAD = made.Work(struck={"taps-running": "15.8"})
FOOTER = "Training result on a training rig. Not evidence that any appliance or installation is safe to use."


def text_of(document: PortfolioDocument) -> str:
    return " ".join(pages_of(document))


def words_of(document: PortfolioDocument) -> str:
    """The text of one that was left as HTML."""
    return plain(strip_tags(bytes_of(document).decode()))


def ranges_of(bench) -> list[str]:
    """Every expected range on the bench's rig, as the working writes it."""
    entry = contents(bench).entries[0]
    lines = [line for each in entry.sheet.readings for line in each.working]
    return [plain(line.figure) for line in lines if line.label == "Expected range"]


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
        "by engine 3",
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

    pages = pages_of(issue(bench))

    assert len(pages) > 3
    for page in pages:
        assert FOOTER in page
        assert head.hash in page


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
    carried = PdfReader(io.BytesIO(bytes_of(document))).attachments
    assert set(carried) == {"record.json", "readings.csv"}
    for (content,) in carried.values():
        for withheld in (*ranges, "against", "±", "Repeat noise", "Expected range"):
            assert withheld not in plain(content.decode()), withheld
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

    content = document_of(bench).attachments["attempt-001-inputs.json"]
    assert hashlib.sha256(content).hexdigest() == signed.outcome.inputs_sha256
    assert json.loads(content)["rig"] == "VB-01"


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
