"""Portfolios that were issued as documents, and which decisions each one shows."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class PortfolioDocument(models.Model):
    """One issue of a candidate's portfolio as a PDF. Its date is data, so the bytes are reproducible.

    ``file`` is the signed file, with the digest ``sha256``. Its first ``unsigned_size`` bytes are the
    document before it was signed, a whole PDF of its own, with the digest ``unsigned_sha256``.
    ``certificate_sha256`` is of the signer's certificate in DER, which may vouch for itself alone.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="portfolio_documents"
    )
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()
    with_ranges = models.BooleanField()
    ledger_head = models.CharField(max_length=64)
    file = models.FileField(upload_to="portfolios/", max_length=160, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveIntegerField()
    unsigned_sha256 = models.CharField(max_length=64)
    unsigned_size = models.PositiveIntegerField()
    certificate_sha256 = models.CharField(max_length=64)
    is_self_signed = models.BooleanField()

    class Meta:
        ordering = ("-issued_at",)
        constraints = (
            models.CheckConstraint(
                condition=Q(size__gte=F("unsigned_size")), name="a_signature_is_added_to_what_it_signs"
            ),
        )

    def __str__(self) -> str:
        return f"portfolio of {self.candidate}, {self.issued_at:%Y-%m-%d}"


class PortfolioEntry(models.Model):
    """A decision that a document shows, under the number that its attempt has there."""

    document = models.ForeignKey(PortfolioDocument, on_delete=models.CASCADE, related_name="entries")
    number = models.PositiveIntegerField()
    sign_off = models.ForeignKey("assessments.SignOff", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("document", "number")
        constraints = (
            models.UniqueConstraint(
                fields=("document", "number"), name="one_attempt_per_number_of_a_document"
            ),
            models.UniqueConstraint(fields=("document", "sign_off"), name="a_document_shows_a_decision_once"),
        )

    def __str__(self) -> str:
        return f"attempt {self.number} of {self.document}"
