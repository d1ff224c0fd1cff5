"""Who gets to a view: each names one permission, held today by one of the person's roles."""

from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.cache import add_never_cache_headers

from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of


class AccessMixin:
    """Lets a request through to a class-based view if the person has the view's `permission`.

    A stranger is sent to sign in and comes back; a person without the permission gets the 403 page. The
    person's permissions are left on the request as `request.permissions`. `academy.E001` fails the build for
    a view that doesn't name one.
    """

    permission: Permission
    request: HttpRequest

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.permission not in request_permissions(request):
            if request.user.is_authenticated:
                raise PermissionDenied
            return redirect_to_login(request.get_full_path())
        response: HttpResponseBase = super().dispatch(request, *args, **kwargs)  # type: ignore[misc]
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            # Tablets are shared: nobody's pages come back with the Back button after they have signed out.
            add_never_cache_headers(response)
        return response

    @property
    def person(self) -> Person:
        """Who is asking: only a view that is open to strangers can find nobody there."""
        if not isinstance(self.request.user, Person):
            raise PermissionDenied
        return self.request.user

    @property
    def centre(self) -> Centre:
        """The centre of whoever is asking."""
        if self.person.centre is None:
            raise PermissionDenied
        return self.person.centre

    @property
    def now(self) -> datetime:
        return timezone.now()  # noqa: TID251 (views hand the time down from here)

    @property
    def today(self) -> date:
        """Today's date at the person's centre."""
        return today(self.person.centre)


def request_permissions(request: HttpRequest) -> frozenset[Permission]:
    """Return the permissions of the request's person today, looked up once a request."""
    known: frozenset[Permission] | None = getattr(request, "permissions", None)
    if known is None:
        person = getattr(request, "user", AnonymousUser())
        known = permissions_of(person, on=today(centre_of(person)))
        request.permissions = known  # type: ignore[attr-defined]
    return known


def centre_of(person: Person | AnonymousUser) -> Centre | None:
    return person.centre if isinstance(person, Person) else None


def today(centre: Centre | None) -> date:
    """Return today's date where the centre is, or in UTC for a person without one."""
    zone = centre.zone if centre else timezone.get_default_timezone()
    return timezone.localdate(timezone=zone)  # noqa: TID251 (access is decided at the edge, and now)
