"""Limits that tasks state, and the centre's word that they are those of the edition in force."""

import uuid

from django.conf import settings
from django.db import models


class LimitConfirmation(models.Model):
    """One person's word that a limit was compared with the current edition of its source.

    ``digest`` is that of the limit as it was then: a limit that is changed is another one, not confirmed yet.
    ``text`` says it in words, for when no task has it any more.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="limit_confirmations")
    digest = models.CharField(max_length=64)
    text = models.TextField()
    confirmed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    confirmed_at = models.DateTimeField()

    class Meta:
        ordering = ("-confirmed_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("centre", "digest"), name="one_confirmation_per_limit_and_centre"
            ),
        )

    def __str__(self) -> str:
        return self.text
