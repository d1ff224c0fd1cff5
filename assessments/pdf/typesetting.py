"""Typesetting by WeasyPrint. Importing this needs Pango: `assessments.pdf.document` does it with care."""

import logging
import warnings
from datetime import UTC
from typing import Any

import pydyf
from pydyf import PDF
from weasyprint import CSS, HTML, Attachment
from weasyprint.document import DocumentMetadata
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from assessments.pdf import typeface
from assessments.pdf.document import Document, OutsideResource

IMAGE, FONT = "image", "font"
OPTIONS: dict[str, Any] = {"pdf_variant": "pdf/a-3b", "pdf_tags": True, "dpi": 150, "jpeg_quality": 80}
"""Level B is what a file keeps when a signature is added. The tags are for readers by ear, all the same."""
ALWAYS = f"""
* {{ font-family: "{typeface.FAMILY}" !important }}
@page {{ font-family: "{typeface.FAMILY}" !important }}
/* An image that may be smoothed gets a flag that PDF/A forbids. */
img {{ image-rendering: crisp-edges !important }}
"""

# Style sheets are shared with browsers: what only those understand is no news.
logging.getLogger("weasyprint").setLevel(logging.ERROR)
logging.getLogger("fontTools").setLevel(logging.ERROR)


class Carried(URLFetcher):  # type: ignore[misc]
    """Serves what the document carries, and the typeface. Anything else stops the typesetting."""

    def __init__(self, document: Document) -> None:
        super().__init__(fail_on_errors=True, allow_redirects=False)
        self._images = document.images

    def fetch(self, url: str, headers: object = None) -> URLFetcherResponse:
        scheme, _, name = url.partition(":")
        if scheme == FONT and name in typeface.WEIGHTS.values():
            return URLFetcherResponse(url, typeface.content_of(name))
        if scheme == IMAGE and name in self._images:
            return URLFetcherResponse(url, self._images[name])
        raise OutsideResource(f"A document carries all that it shows, but this one refers to {url}.")


def typeset(document: Document) -> bytes:
    fetcher, fonts = Carried(document), FontConfiguration()
    try:
        sheets = [
            CSS(string=text, font_config=fonts, url_fetcher=fetcher)
            for text in (typeface.faces(scheme=FONT), *document.stylesheets, ALWAYS)
        ]
        html = HTML(string=typeface.settable(document.html), url_fetcher=fetcher)
        rendering = html.render(font_config=fonts, stylesheets=sheets, **OPTIONS)
        _describe(rendering.metadata, document)
        with warnings.catch_warnings():
            # WeasyPrint leaves the file of its colour profile to be closed by itself.
            warnings.simplefilter("ignore", ResourceWarning)
            made = rendering.write_pdf(attachments=_attachments(document), finisher=_finish, **OPTIONS)
            return bytes(made)
    except FatalURLFetchingError as error:
        raise OutsideResource(str(error.__cause__)) from error


def _describe(metadata: DocumentMetadata, document: Document) -> None:
    issued = document.issued_at.astimezone(UTC).isoformat(timespec="seconds")
    metadata.title, metadata.authors, metadata.lang = document.title, [document.author], document.language
    metadata.keywords = [f"ledger head {document.ledger_head}"] if document.ledger_head else []
    metadata.created = metadata.modified = issued
    metadata.generator = "Makepoint"


def _finish(_rendering: object, pdf: PDF) -> None:
    """Name each attachment once: WeasyPrint lists those of the document twice."""
    if "AF" in pdf.catalog:
        pdf.catalog["AF"] = pydyf.Array(dict.fromkeys(pdf.catalog["AF"]))


def _attachments(document: Document) -> list[Attachment]:
    """In the order of their names, which PDF asks for."""
    issued = document.issued_at.astimezone(UTC)
    return [
        Attachment(string=content, name=name, relationship="Data", created=issued, modified=issued)
        for name, content in sorted(document.attachments.items())
    ]
