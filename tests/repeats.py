"""Queries that repeat within a request fail, but where entries are taken in one transaction each."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from zeal.middleware import zeal_middleware

TAKES_IN = "/bench/sync/"


def middleware(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    strict = zeal_middleware(get_response)
    return lambda request: (get_response if request.path == TAKES_IN else strict)(request)
