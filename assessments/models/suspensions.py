"""Sign-offs that don't count for the time being, or not any more."""

import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class SuspensionQuerySet(models.QuerySet["Suspension"]):
    def open(self) -> Self:
        """Those that nobody has lifted, whether or not a later sign-off has taken the place of theirs."""
        return self.filter(lifted_at=None)

    def waiting(self) -> Self:
        """Those that neither an assessor nor a later sign-off has settled."""
        return self.open().filter(superseded_by=None)


class Suspension(models.Model):
    """A sign-off left out of account by an impact review. The sign-off itself is never changed.

    It ends when an assessor upholds the sign-off; or it stays, and a later sign-off of a new attempt takes
    its place.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_off = models.ForeignKey("assessments.SignOff", on_delete=models.PROTECT, related_name="suspensions")
    item = models.OneToOneField("assessments.ImpactItem", on_delete=models.PROTECT, related_name="suspension")
    since = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    superseded_by = models.ForeignKey(
        "assessments.SignOff",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="supersedes_suspended",
    )

    objects = SuspensionQuerySet.as_manager()

    class Meta:
        ordering = ("since",)
        constraints = (
            models.CheckConstraint(
                condition=Q(lifted_at=None, lifted_by=None)
                | Q(lifted_at__gte=F("since"), lifted_by__isnull=False, superseded_by=None),
                name="a_lifted_suspension_names_who",
            ),
        )

    def __str__(self) -> str:
        return f"suspension of {self.sign_off_id}"
