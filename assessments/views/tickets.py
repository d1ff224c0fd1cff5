"""Fetching a ticket to a device, and ending one."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.generic import View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.refusals import Refused
from assessments import tickets
from assessments.models import Ticket
from assessments.models.attempts import Purpose
from assessments.sync import packs
from assessments.views.bench import AttemptStart


class TicketIssue(AttemptStart):
    """Answers the form of starting with a ticket instead, for the device that asked. Never a page."""

    http_method_names = ("post",)

    def form_valid(self, form: Any) -> HttpResponse:
        given = form.cleaned_data
        try:
            ticket = tickets.issue(
                id=given["id"],
                candidate=self.person,
                version=self.version,
                rig=self.rig,
                purpose=Purpose(given["purpose"]),
                chosen={kind: given[kind] for kind in self.kinds},
                at=self.now,
            )
        except Refused as refusal:
            return _refused(refusal.message, field=refusal.field)
        return JsonResponse(packs.of_ticket(ticket, at=self.now))

    def form_invalid(self, form: Any) -> HttpResponse:
        field, errors = next(iter(form.errors.items()))
        return _refused(errors[0], field=None if field == "__all__" else field)

    def get_form_kwargs(self) -> dict[str, Any]:
        """Asking for the ticket doesn't say that the cautions were read: that is said when work begins."""
        kwargs = super().get_form_kwargs()
        return kwargs | {"data": {**kwargs["data"].dict(), "cautions_read": "on"}}


class TicketEnd(AccessMixin, View):
    """Give one's own ticket back from a device, or withdraw somebody's from the rig's page of attempts."""

    permission = Permission.SIGNED_IN
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        found = Ticket.objects.filter(rig__centre=self.centre).select_related("rig__centre")
        if Permission.ATTEMPT_DECIDE not in request_permissions(request):
            found = found.of(self.person)
        ticket = get_object_or_404(found, pk=self.kwargs["pk"])
        try:
            tickets.end(ticket=ticket, by=self.person, at=self.now)
        except Refused as refusal:
            if ticket.candidate_id == self.person.pk:
                return _refused(refusal.message)
            messages.error(request, refusal.message)
        if ticket.candidate_id == self.person.pk:
            return JsonResponse({"id": str(ticket.pk)})
        return redirect("rig-attempts", ticket.rig_id)


def _refused(words: str, *, field: str | None = None) -> JsonResponse:
    return JsonResponse({"words": words, "field": field}, status=422)
