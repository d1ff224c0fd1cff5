"""The room during a session: the board, an answer to a call, stopping everything and letting it go on."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import help_calls, session_board, stops
from assessments.models import HelpCall, SessionStop
from assessments.session_forms import ResumeForm, StopForm

FRESH_EVERY = 15
"""Seconds after which the board is asked for again."""


class SessionBoard(AccessMixin, TemplateView):
    """Rigs × people × how far they are. It asks for itself again, unless somebody wants it to hold still."""

    permission = Permission.SESSION_READ
    template_name = "assessments/session-board.html"
    section = "session"

    @property
    def is_still(self) -> bool:
        return "still" in self.request.GET

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        board = session_board.board(centre=self.centre, at=self.now)
        return super().get_context_data(board=board, at=self.now, every=FRESH_EVERY, **context)


class HelpAnswer(AccessMixin, View):
    """An assessor is on the way to whoever asked."""

    permission = Permission.ATTEMPT_DECIDE
    section = "session"
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        calls = HelpCall.objects.filter(attempt__rig__centre=self.centre)
        call = get_object_or_404(calls, pk=self.kwargs["pk"])
        try:
            help_calls.answer(call=call, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect("session-board")
        return redirect("observe", call.attempt_id)


class SessionStopNow(VerbFormView):
    """First what to do, in words; then one button, with a few words on why."""

    permission = Permission.SESSION_STOP
    template_name = "assessments/session-stop.html"
    form_class = StopForm
    section = "session"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(first=stops.MADE_SAFE, **context)

    def carry_out(self, form: forms.Form) -> SessionStop:
        return stops.stop(centre=self.centre, reason=form.cleaned_data["reason"], by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("session-stopped", args=[self.done.pk])


class SessionStopped(AccessMixin, DetailView):
    """A stop: what was interrupted by it, to let go on or to void one by one."""

    permission = Permission.SESSION_READ
    template_name = "assessments/session-stopped.html"
    context_object_name = "stop"
    section = "session"

    def get_queryset(self) -> QuerySet[SessionStop]:
        return SessionStop.objects.visible_to(self.person).select_related(
            "stopped_by", "resumed_by", "session"
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        interrupted = self.object.interrupted.select_related("candidate", "rig", "version__task")
        return super().get_context_data(interrupted=interrupted.order_by("rig__tag"), **context)


class SessionResume(VerbFormView):
    permission = Permission.ATTEMPT_DECIDE
    form_class = ResumeForm
    section = "session"
    heading = "Let the session go on"
    intro = "Everything that was logged before the stop is kept, and what devices have waiting is taken then."

    @cached_property
    def stop(self) -> SessionStop:
        return get_object_or_404(SessionStop.objects.visible_to(self.person), pk=self.kwargs["pk"])

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("session-stopped", args=[self.stop.pk]), **context)

    def carry_out(self, form: forms.Form) -> SessionStop:
        return stops.resume(stop=self.stop, words=form.cleaned_data["words"], by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("session-board")
