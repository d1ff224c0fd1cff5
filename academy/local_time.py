"""Pages show the time of the person's centre."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from academy.access import centre_of


class CentreTimeMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        centre = centre_of(request.user)
        with timezone.override(centre.zone if centre else None):
            return self.get_response(request)
