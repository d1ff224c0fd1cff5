"""Scans and PDFs of certificates: known by their content, kept as they came."""

import hashlib
import io
import warnings
from datetime import datetime

from django.core.files.base import ContentFile
from django.db import transaction
from PIL import Image, UnidentifiedImageError

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.models import Calibration, CertificateFile
from rigs.models.certificate_files import CertificateForm

LARGEST_BYTES = 10 * 1024 * 1024
LARGEST_PIXELS = 60_000_000  # A4 at 600 dpi is 35 million
PDF_BEGINS = b"%PDF-"
# ISO 32000-2, 7.5.5; ISO/IEC 10918-1, B.1.1.3 (EOI); ISO/IEC 15948, 11.2.5. What follows is padding.
ENDS = {CertificateForm.PDF: b"%%EOF", CertificateForm.JPEG: b"\xff\xd9", CertificateForm.PNG: b"IEND"}
WITHIN = 1024  # bytes
PICTURES = {"JPEG": CertificateForm.JPEG, "PNG": CertificateForm.PNG}
WANTED = "Use a PDF, or a scan as JPEG or PNG."


def form_of(content: bytes) -> CertificateForm:
    """What a file is by its content, whatever its name. Refused for anything but a whole PDF, JPEG or PNG."""
    if not content:
        raise Refused("This file is empty.", field="file")
    if len(content) > LARGEST_BYTES:
        raise Refused(
            f"This file is larger than {LARGEST_BYTES // 1024 // 1024} MB. Scan it at 200 to 300 dpi.",
            field="file",
        )
    form = CertificateForm.PDF if content.startswith(PDF_BEGINS) else _picture(content)
    # Pillow may have been told to put up with it by whoever else uses it.
    if ENDS[form] not in content[-WITHIN:]:
        raise Refused("This file is cut off at its end. Send it whole.", field="file")
    return form


@transaction.atomic
def attach(*, calibration: Calibration, content: bytes, by: Person, at: datetime) -> CertificateFile:
    """Keep a certificate's file. The same content again is the file that is kept already."""
    form = form_of(content)
    sha256 = hashlib.sha256(content).hexdigest()
    Calibration.objects.select_for_update().get(pk=calibration.pk)  # one after the other
    known = calibration.files.filter(sha256=sha256).first()
    if known is not None:
        return known
    kept = CertificateFile(
        calibration=calibration, form=form, sha256=sha256, size=len(content), added_by=by, added_at=at
    )
    kept.file.save("certificate", ContentFile(content), save=False)
    kept.save(force_insert=True)
    ledger.append(
        centre=calibration.instrument.centre,
        actor=by,
        verb="certificate.attach",
        subject=calibration.pk,
        at=at,
        facts={"sha256": sha256},
    )
    return kept


def content_of(kept: CertificateFile) -> bytes:
    """The file as it came. Refused where the store has lost or changed it."""
    try:
        with kept.file.open("rb") as file:
            content = bytes(file.read())
    except FileNotFoundError:
        content = b""
    if hashlib.sha256(content).hexdigest() != kept.sha256:
        raise Refused(
            f"The file of {kept.calibration} is no longer in the store as it was kept. "
            "Tell whoever looks after this site."
        )
    return content


def _picture(content: bytes) -> CertificateForm:
    try:
        with warnings.catch_warnings():
            # The size is checked right below, by our own limit and in our own words.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(content), formats=tuple(PICTURES))
        if image.width * image.height > LARGEST_PIXELS:
            raise Refused(
                f"This scan has more than {LARGEST_PIXELS // 1_000_000} million pixels. Scan it at 300 dpi.",
                field="file",
            )
        image.load()
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise Refused(f"This file can’t be read as a certificate. {WANTED}", field="file") from error
    return PICTURES[str(image.format)]
