"""Certificates as the laboratory sent them: the scan or the PDF itself."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models

from rigs.models.instruments import Calibration

if TYPE_CHECKING:
    from academy.models import Person


class CertificateForm(models.TextChoices):
    PDF = "application/pdf", "PDF"
    JPEG = "image/jpeg", "JPEG"
    PNG = "image/png", "PNG"


ENDINGS = {CertificateForm.PDF: "pdf", CertificateForm.JPEG: "jpg", CertificateForm.PNG: "png"}


def certificate_path(kept: "CertificateFile", _filename: str) -> str:
    """Where it is stored; the name it came with tells nothing and may hold anything."""
    return f"certificates/{kept.calibration_id}/{kept.pk}.{ENDINGS[CertificateForm(kept.form)]}"


class CertificateFileQuerySet(models.QuerySet["CertificateFile"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(calibration__instrument__centre=person.centre_id)


class CertificateFile(models.Model):
    """The bytes as they came, which ``sha256`` is of."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="files")
    form = models.CharField(max_length=20, choices=CertificateForm)
    file = models.FileField(upload_to=certificate_path, max_length=160)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    objects = CertificateFileQuerySet.as_manager()

    class Meta:
        ordering = ("added_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("calibration", "sha256"), name="one_certificate_file_per_content"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_form_display()} of {self.calibration}"
