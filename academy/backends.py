"""Signing in: how a person is found, and under which name failures are counted."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest

from academy.models import Person, normal_email


class PersonBackend(ModelBackend):
    def get_user(self, user_id: UUID) -> Person | None:
        """Return the signed-in person with their centre, which every page needs for its dates."""
        person = Person.objects.select_related("centre").filter(pk=user_id).first()
        return person if person and person.is_active else None


def email_tried(request: HttpRequest, credentials: Mapping[str, Any] | None) -> str:
    """Return the address that failures to sign in are counted under: one, however it was typed."""
    given = credentials or request.POST
    return normal_email(given.get("email") or given.get("username") or "")
