"""The private addresses under which people subscribe to due dates."""

import secrets
import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models

if TYPE_CHECKING:
    from academy.models import Person


def new_token() -> str:
    return secrets.token_urlsafe(32)


class CalendarAddressQuerySet(models.QuerySet["CalendarAddress"]):
    def in_use(self) -> Self:
        return self.filter(revoked_at=None)

    def of(self, person: "Person") -> Self:
        return self.filter(person=person)


class CalendarAddress(models.Model):
    """A calendar program can't sign in: whoever knows the token reads the dates, until it is revoked."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="calendar_addresses"
    )
    token = models.CharField(max_length=64, unique=True, default=new_token, editable=False)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = CalendarAddressQuerySet.as_manager()

    class Meta:
        ordering = ("-made_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("person",),
                condition=models.Q(revoked_at=None),
                name="one_calendar_address_in_use_per_person",
            ),
        )

    def __str__(self) -> str:
        return f"calendar address of {self.person}"
