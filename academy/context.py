"""Template context: `{% if may.attempt_decide %}`."""

from django.http import HttpRequest

from academy.access import request_permissions
from academy.permissions import Permission


class UnknownPermissionError(Exception):
    """A template asked for a permission that doesn't exist."""


class May:
    """The person's permissions by name, in lower case with an underscore for each mark between words."""

    def __init__(self, request: HttpRequest) -> None:
        self._request = request

    def __getitem__(self, name: str) -> bool:
        try:
            permission = Permission[name.upper()]
        except KeyError:
            # A KeyError would be swallowed by the template, and a misspelt name read as "may not".
            raise UnknownPermissionError(name) from None
        return permission in request_permissions(self._request)


def may(request: HttpRequest) -> dict[str, May]:
    """Context processor. Asks the database only once a template asks."""
    return {"may": May(request)}
