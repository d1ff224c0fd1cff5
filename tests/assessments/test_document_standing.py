"""An issued portfolio before other programs' eyes: what it says it is, what it carries, what was signed."""

import csv
import hashlib
import io
import json
import re
import subprocess
from datetime import UTC
from pathlib import Path

import pikepdf
import pytest
import rfc8785
from asn1crypto import x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from academy.models import LedgerEntry
from assessments.models import PortfolioDocument
from assessments.pdf.document import pdf_of
from assessments.pdf.signature import verify
from assessments.portfolio import check_address
from assessments.signing import signing_key
from tests.factories import assessments as made
from tests.factories.portfolios import FAILED, LATER, bytes_of, document_of, issue, plan_for_another

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("pango")]

MISREAD = made.Work(struck={"taps-running": "15.8"})


@pytest.fixture
def issued(bench) -> PortfolioDocument:
    made.signed_off(bench, MISREAD)
    return issue(bench)


@pytest.fixture
def on_disk(issued, tmp_path) -> Path:
    path = tmp_path / "portfolio.pdf"
    path.write_bytes(bytes_of(issued))
    return path


def run(*command: str | Path) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (command, done.stdout, done.stderr)
    return done.stdout + done.stderr


def test_qpdf_finds_nothing_wrong_with_how_it_is_built(qpdf, on_disk, issued):
    assert "No syntax or stream encoding errors" in run("qpdf", "--check", on_disk)
    on_disk.write_bytes(bytes_of(issued)[: issued.unsigned_size])
    assert "No syntax or stream encoding errors" in run("qpdf", "--check", on_disk)


def test_it_says_that_it_is_pdf_a_3b_in_each_place_that_the_standard_names(bench, on_disk):
    with pikepdf.open(on_disk) as pdf:
        with pdf.open_metadata() as described:
            assert (described["pdfaid:part"], described["pdfaid:conformance"]) == ("3", "B")
            assert described["dc:title"] == f"Portfolio of evidence: {bench.candidate.name}"
            assert described.pdfa_status == "3B"
            dates = {described["xmp:CreateDate"], described["xmp:ModifyDate"]}
        (intent,) = pdf.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1" and len(intent.DestOutputProfile.read_bytes()) > 400
        assert pdf.trailer.ID is not None and not pdf.is_encrypted
        # ISO 19005-3, 6.6.2.3.1: where the document's information dictionary has it too, it says the same.
        (moment,) = dates
        digits = re.sub(r"\D", "", moment)[:14]
        assert str(pdf.docinfo.CreationDate)[2:16] == str(pdf.docinfo.ModDate)[2:16] == digits


def test_nothing_that_pdf_a_forbids_is_in_it(on_disk):
    with pikepdf.open(on_disk) as pdf:
        assert "/JavaScript" not in pdf.Root.get("/Names", {}) and "/OpenAction" not in pdf.Root
        (signature,) = pdf.Root.AcroForm.Fields
        assert signature.FT == "/Sig" and "/NeedAppearances" not in pdf.Root.AcroForm
        for thing in pdf.objects:
            if isinstance(thing, pikepdf.Stream) and thing.get("/Subtype") == "/Image":
                assert not thing.get("/Interpolate", False)
            if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/Font":
                assert _is_embedded(thing), thing.get("/BaseFont")
        for page in pdf.pages:
            for annotation in page.get("/Annots", []):
                assert int(annotation.F) & 4 and not int(annotation.F) & (1 | 2 | 32)


def _is_embedded(font: pikepdf.Dictionary) -> bool:
    if font.Subtype == "/Type0":
        return all(_is_embedded(each) for each in font.DescendantFonts)
    return any(name in font.FontDescriptor for name in ("/FontFile", "/FontFile2", "/FontFile3"))


def test_what_it_carries_is_named_once_as_data_of_the_day_of_issue(bench, on_disk, issued):
    issued_at = issued.issued_at.astimezone(UTC).strftime("%Y%m%d%H%M%S")
    with pikepdf.open(on_disk) as pdf:
        files = list(pdf.Root.AF)
        assert [str(each.UF) for each in files] == ["attempt-001-inputs.json", "readings.csv", "record.json"]
        for each in files:
            assert each.AFRelationship == "/Data"
            parameters = each.EF.F.Params
            assert str(parameters.CreationDate)[2:16] == str(parameters.ModDate)[2:16] == issued_at
        assert {each.EF.F.get("/Subtype") for each in files} == {"/application/json", "/text/csv"}


def test_poppler_gives_the_attached_files_back_byte_for_byte(poppler, bench, on_disk, tmp_path):
    (tmp_path / "out").mkdir()
    run("pdfdetach", "-saveall", "-o", tmp_path / "out", on_disk)

    carried = document_of(bench).attachments
    saved = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    assert set(saved) == set(carried)
    assert saved["readings.csv"] == carried["readings.csv"]
    assert saved["attempt-001-inputs.json"] == carried["attempt-001-inputs.json"]


def test_the_record_is_canonical_and_says_what_the_pages_say(bench, on_disk, issued):
    with pikepdf.open(on_disk) as pdf:
        content = pdf.attachments["record.json"].get_file().read_bytes()

    record = json.loads(content)
    assert rfc8785.dumps(record) == content
    assert record["document"] == str(issued.pk)
    assert record["candidate"] == bench.candidate.name
    assert record["ledger"]["hash"] == issued.ledger_head
    (attempt,) = record["attempts"]
    assert (attempt["number"], attempt["rig"], attempt["purpose"]) == ("1", "VB-01", "assessment")
    assert attempt["decision"]["decision"] == "competent"
    (struck,) = [each for each in attempt["readings"] if each["struck_out"]]
    assert struck["struck_out"] == [{"typed": "15.8", "unit": "mbar", "reason": "Read the display wrong"}]
    assert any(line["quantity"] == "Expected range" for line in struck["working"])
    assert {each["sha256"] for each in attempt["photos"]} == {
        each.sha256 for each in bench.candidate.attempts.get().photos.all()
    }
    assert all(isinstance(each, str | bool | None.__class__) for each in _leaves(record))


def _leaves(value):
    if isinstance(value, dict | list):
        for each in value.values() if isinstance(value, dict) else value:
            yield from _leaves(each)
    else:
        yield value


def test_the_table_has_a_row_for_each_reading_and_each_that_was_struck_out(bench):
    made.signed_off(bench, MISREAD)
    content = document_of(bench).attachments["readings.csv"].decode("utf-8-sig")

    rows = list(csv.DictReader(io.StringIO(content)))

    attempt = bench.candidate.attempts.get()
    assert len(rows) == attempt.readings.count()
    (struck,) = [row for row in rows if row["struck out because"]]
    assert (struck["typed"], struck["unit"], struck["rig"]) == ("15.8", "mbar", "VB-01")
    assert {row["attempt"] for row in rows} == {"1"}


def test_a_candidates_copy_carries_words_where_its_pages_have_words(bench):
    made.signed_off(bench)
    plan_for_another(bench)

    with pikepdf.open(io.BytesIO(bytes_of(issue(bench, by=bench.candidate)))) as pdf:
        record = json.loads(pdf.attachments["record.json"].get_file().read_bytes())
        assert set(pdf.attachments) == {"record.json", "readings.csv"}

    (attempt,) = record["attempts"]
    assert attempt["readings"] and all(each["working"] == [] for each in attempt["readings"])
    assert attempt["decision"]["reason"] == ""


def test_the_same_issue_gives_the_same_bytes_up_to_the_signature(bench, issued):
    particulars = {"id": issued.pk, "address": check_address(issued.pk), "at": issued.issued_at}
    before = LedgerEntry.objects.filter(centre=bench.centre).order_by("-number")[1]
    assert before.hash == issued.ledger_head

    from academy.ledger import Head  # noqa: PLC0415

    head = Head(number=before.number, hash=before.hash)
    again = pdf_of(document_of(bench, head=head, **particulars))

    assert again == bytes_of(issued)[: issued.unsigned_size]
    assert hashlib.sha256(again).hexdigest() == issued.unsigned_sha256


def test_the_signature_is_valid_to_another_validator_that_trusts_the_sites_key(issued):
    trusted = x509.Certificate.load(signing_key(at=issued.issued_at).chain[0])
    context = ValidationContext(trust_roots=[trusted], moment=issued.issued_at, allow_fetching=False)
    (embedded,) = PdfFileReader(io.BytesIO(bytes_of(issued))).embedded_signatures

    status = validate_pdf_signature(embedded, context)

    assert status.intact and status.valid and status.trusted
    assert status.coverage.name == "ENTIRE_FILE"
    assert hashlib.sha256(trusted.dump()).hexdigest() == issued.certificate_sha256


def test_a_changed_byte_shows(issued):
    content = bytearray(bytes_of(issued))
    content[len(content) // 3] ^= 1

    assert not verify(content=bytes(content)).is_intact


def test_there_are_bookmarks_for_the_coverage_and_each_attempt(bench):
    made.signed_off(bench, FAILED, decision="not-yet-competent")
    made.signed_off(bench, at=bench.at + LATER)

    with pikepdf.open(io.BytesIO(pdf_of(document_of(bench)))) as pdf, pdf.open_outline() as outline:
        (root,) = outline.root
        titles = [each.title for each in root.children]

    assert root.title == "Portfolio of evidence"
    assert "Coverage of the criteria" in titles
    assert [title[:2] for title in titles if title[0].isdigit()] == ["1.", "2."]
