"""Typesetting: the same each time, from what the document carries alone."""

import io
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from PIL import Image
from pypdf import PdfReader

from assessments.pdf import document as pdf
from assessments.pdf import typeface
from assessments.pdf.document import Document, OutsideResource, PdfUnavailable, pdf_of

pytestmark = pytest.mark.usefixtures("pango")

ISSUED = datetime(2025, 3, 3, 14, 5, tzinfo=UTC)
PAGE = "<!doctype html><html lang='en-GB'><body><h1>Δp at the taps</h1><p>{}</p></body></html>"


def document(content: str = "2.40 mbar, ζ ≤ 2, u = √(s² + u²)", **changes) -> Document:
    given = {
        "html": PAGE.format(content),
        "title": "Portfolio of evidence",
        "author": "Marrowfen Gas Skills Workshop",
        "language": "en-GB",
        "issued_at": ISSUED,
        "ledger_head": "12:9f86d081",
        "attachments": {"b.json": b'{"b":2}', "a.json": b'{"a":1}'},
    }
    return Document(**given | changes)


def read(made: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(made))


def text_of(made: bytes) -> str:
    return "\n".join(page.extract_text() for page in read(made).pages)


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), "#16222c").save(out, "JPEG")
    return out.getvalue()


def fonts_of(made: bytes) -> set[str]:
    fonts = (font.get_object() for page in read(made).pages for font in page["/Resources"]["/Font"].values())
    return {str(font["/BaseFont"]).partition("+")[2] for font in fonts}


def test_the_same_document_gives_the_same_bytes():
    with_picture = document(
        "<img src='image:rig.jpg' alt='The rig'>",
        images={"rig.jpg": picture()},
        stylesheets=("p { color: #555 }",),
    )

    assert pdf_of(with_picture) == pdf_of(with_picture)


def test_the_bytes_do_not_hang_on_the_process_that_made_them():
    program = (
        "import hashlib\n"
        "from tests.assessments.test_pdf import document, pdf_of\n"
        "print(hashlib.sha256(pdf_of(document())).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-W", "ignore", "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }

    assert len(digests) == 1


def test_the_same_moment_in_another_time_zone_gives_the_same_bytes():
    elsewhere = ISSUED.astimezone(timezone(timedelta(hours=9)))

    assert pdf_of(document()) == pdf_of(document(issued_at=elsewhere))


def test_another_word_or_another_ledger_head_gives_other_bytes():
    made = pdf_of(document())

    assert made != pdf_of(document("2.41 mbar"))
    assert made != pdf_of(document(ledger_head="13:9f86d081"))


def test_the_text_can_be_read_back():
    text = text_of(pdf_of(document()))

    assert "Δp at the taps" in text
    assert "2.40 mbar, ζ ≤ 2, u = √(s² + u²)" in text


def test_only_source_sans_is_embedded_whatever_the_style_sheet_asks_for():
    made = pdf_of(
        document(
            "<strong>Bold</strong> <code>code</code> <em>slanted Δ</em> 中文 🙂 العربية",
            stylesheets=(
                'html { font-family: "Source Sans Pro", sans-serif }',
                'code { font-family: "DejaVu Sans Mono", monospace }',
                "@page { @bottom-right { content: counter(page) } }",
            ),
        )
    )

    assert fonts_of(made)
    assert all(font.startswith("Source-Sans-Pro") for font in fonts_of(made)), fonts_of(made)


@pytest.mark.parametrize(
    ("typed", "settable"),
    [
        ("Łukasz Ünal, Αθηνά, Юлия", "Łukasz Ünal, Αθηνά, Юлия"),
        ("e\N{COMBINING ACUTE ACCENT}", "é"),  # the same letter, composed
        ("中", "[U+4E2D]"),
        ("🙂", "[U+1F642]"),
        ("a\N{ZERO WIDTH JOINER}b\ac", "abc"),
        ("1\N{IDEOGRAPHIC SPACE}2", "1 2"),
        ("line\n\tnext", "line\n\tnext"),
    ],
)
def test_a_letter_that_the_typeface_lacks_is_written_as_its_code(typed, settable):
    assert typeface.settable(typed) == settable


@pytest.mark.parametrize(
    "address",
    [
        "http://192.0.2.1/rig.jpg",
        "https://example.org/rig.jpg",
        "file:///etc/hostname",
        "data:image/gif;base64,R0lGODlhAQABAAAAACw=",
        "image:another.jpg",
        "font:SourceSansPro-It.ttf",
        "ftp://example.org/rig.jpg",
    ],
)
@pytest.mark.parametrize(
    "how",
    [
        "<img src='{}' alt=''>",
        "<link rel='stylesheet' href='{}'>",
        "<link rel='attachment' href='{}'>",
        "<object data='{}'></object>",
    ],
)
def test_whatever_a_document_does_not_carry_is_refused(address, how):
    with pytest.raises(OutsideResource, match="carries all that it shows"):
        pdf_of(document(how.format(address), images={"rig.jpg": picture()}))


@pytest.mark.parametrize(
    "rule",
    [
        "body { background: url('https://example.org/x.png') }",
        "@import url('https://example.org/x.css');",
        "@font-face { font-family: X; src: url('https://example.org/x.ttf') } p { font-family: X }",
    ],
)
def test_a_style_sheet_reaches_nothing_outside_either(rule):
    with pytest.raises(OutsideResource, match=r"example\.org"):
        pdf_of(document(stylesheets=(rule,)))


def test_its_own_images_are_set():
    made = pdf_of(document("<img src='image:rig.jpg' alt='The rig'>", images={"rig.jpg": picture()}))

    (image,) = read(made).pages[0].images
    assert image.image.size == (400, 300)


def test_attachments_are_embedded_as_data_byte_for_byte():
    made = read(pdf_of(document()))

    assert {name: content for name, (content,) in made.attachments.items()} == document().attachments
    related = [each.get_object() for each in made.trailer["/Root"]["/AF"]]
    assert {each["/UF"]: each["/AFRelationship"] for each in related} == {
        "a.json": "/Data",
        "b.json": "/Data",
    }


def test_a_document_says_what_it_is_and_that_it_was_made_as_pdf_a_3():
    made = read(pdf_of(document()))

    assert made.metadata.title == "Portfolio of evidence"
    assert made.metadata.author == "Marrowfen Gas Skills Workshop"
    assert made.metadata.creation_date == made.metadata.modification_date == ISSUED
    assert made.metadata["/Keywords"] == "ledger head 12:9f86d081"
    assert made.trailer["/Root"]["/Lang"] == "en-GB"
    described = made.trailer["/Root"]["/Metadata"].get_data().decode()
    assert 'pdfaid:part="3"' in described
    assert "/OutputIntents" in made.trailer["/Root"]


def test_without_pango_there_is_one_line_that_says_what_to_install(monkeypatch):
    def not_found(_name):
        raise OSError("cannot load library 'libpango-1.0-0'")

    monkeypatch.setattr(pdf.importlib, "import_module", not_found)

    with pytest.raises(PdfUnavailable) as refusal:
        pdf_of(document())
    assert "Pango" in str(refusal.value) and "apt-get install" in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_document_is_a_value():
    assert replace(document(), title="Another") != document()
    with pytest.raises(AttributeError):
        document().title = "Another"
