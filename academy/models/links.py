"""Links by which somebody who can't sign in yet, or any more, sets a password of their own."""

import uuid
from datetime import datetime
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

if TYPE_CHECKING:
    from academy.models.people import Person


class AccessLinkQuerySet(models.QuerySet["AccessLink"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(person__centre__isnull=False, person__centre=person.centre_id)

    def open(self, *, at: datetime) -> Self:
        """Those that still let somebody in at that moment."""
        return self.filter(used_at=None, withdrawn_at=None, expires_at__gt=at, person__is_active=True)


class AccessLink(models.Model):
    """A way in for one person, once. Only the SHA-256 of its token is kept: the link itself is nowhere.

    ``made_by`` is nobody for a link that the person asked for themselves.
    """

    class Purpose(models.TextChoices):
        INVITATION = "invitation", "Invitation"
        PASSWORD = "password", "New password"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="access_links"
    )
    purpose = models.CharField(max_length=12, choices=Purpose)
    token_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = AccessLinkQuerySet.as_manager()

    class Meta:
        ordering = ("-made_at", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("made_at")), name="an_access_link_is_good_for_a_while"
            ),
            models.CheckConstraint(
                condition=Q(used_at=None) | Q(withdrawn_at=None), name="an_access_link_ends_in_one_way"
            ),
            models.UniqueConstraint(
                fields=("person",),
                condition=Q(used_at=None, withdrawn_at=None),
                name="one_access_link_per_person_at_a_time",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} of {self.made_at:%Y-%m-%d}"
