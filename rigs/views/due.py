from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from rigs import calendars
from rigs.due_list import due_items
from rigs.models import CalendarAddress


class DueList(AccessMixin, TemplateView):
    """What is to be seen to by when, and the address under which a calendar program finds the same."""

    permission = Permission.INSTRUMENT_READ
    template_name = "rigs/due-list.html"
    section = "instruments"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        address = CalendarAddress.objects.of(self.person).in_use().first()
        items = [(item, item.state(on=self.today)) for item in due_items(centre=self.centre)]
        return super().get_context_data(items=items, feed=self._absolute(address), **context)

    def _absolute(self, address: CalendarAddress | None) -> str:
        if address is None:
            return ""
        return self.request.build_absolute_uri(reverse("calendar-feed", args=[address.token]))


class CalendarGive(AccessMixin, View):
    permission = Permission.INSTRUMENT_READ
    http_method_names = ("post",)

    def post(self, request: HttpRequest) -> HttpResponse:
        calendars.give_address(person=self.person, at=self.now)
        messages.success(request, "This address is yours alone: whoever knows it can read the dates.")
        return redirect("due-list")


class CalendarRevoke(AccessMixin, View):
    permission = Permission.INSTRUMENT_READ
    http_method_names = ("post",)

    def post(self, request: HttpRequest) -> HttpResponse:
        calendars.revoke_address(person=self.person, at=self.now)
        messages.success(request, "The address doesn’t work any more.")
        return redirect("due-list")


class CalendarFeed(AccessMixin, View):
    """Open to whoever has the address, because a calendar program can't sign in."""

    permission = Permission.PUBLIC

    def get(self, _request: HttpRequest, token: str) -> HttpResponse:
        reader = calendars.reader_of(token=token, at=self.now)
        if reader is None or reader.centre is None:
            raise Http404
        content = calendars.feed(
            due_items(centre=reader.centre),
            name=f"{reader.centre.name}: due dates",
            site=urlsplit(settings.SITE_ADDRESS).hostname or "localhost",
            at=self.now,
        )
        return HttpResponse(
            content,
            content_type="text/calendar; charset=utf-8",
            headers={"Cache-Control": "private, no-store", "X-Robots-Tag": "noindex"},
        )
