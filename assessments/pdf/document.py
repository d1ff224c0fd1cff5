"""A document as a value, and its PDF."""

import contextlib
import importlib
import io
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import ModuleType


class PdfUnavailable(RuntimeError):
    """This machine lacks a library that documents need. The message is one line that says what to do."""

    def __init__(self) -> None:
        super().__init__(
            "PDF documents can’t be made here, because the library Pango is missing. Debian: apt-get install "
            "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz0b libharfbuzz-subset0."
        )


class OutsideResource(ValueError):
    """A document referred to something that it doesn't carry itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """All that a PDF is made from: the same values give the same bytes.

    ``html`` refers to its images as ``image:NAME`` and to nothing else outside it; ``stylesheets`` are
    texts. ``issued_at`` is the date of creation that the PDF states; ``ledger_head``, where there is one, is
    among its keywords.
    """

    html: str
    title: str
    author: str
    language: str
    issued_at: datetime
    ledger_head: str = ""
    stylesheets: tuple[str, ...] = ()
    images: Mapping[str, bytes] = field(default_factory=dict)
    attachments: Mapping[str, bytes] = field(default_factory=dict)


def pdf_of(document: Document) -> bytes:
    """Typeset a document, made as PDF/A-3b with its attachments as data.

    Raises PdfUnavailable without Pango, and OutsideResource for anything that the document doesn't carry.
    """
    return bytes(_engine().typeset(document))


def _engine() -> ModuleType:
    # Loaded when the first document is made: it needs libraries that a machine may lack, and then prints a
    # page of advice and warns of fonts that no document uses.
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        try:
            return importlib.import_module("assessments.pdf.typesetting")
        except OSError as error:
            raise PdfUnavailable from error
