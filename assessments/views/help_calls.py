"""A candidate at the bench asks for the assessor, or takes it back."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from academy.refusals import Refused
from assessments import help_calls
from assessments.views.steps import OwnAttempt


class HelpAsk(OwnAttempt):
    """From a step, to which it leads back; from the list of steps, where there is none."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        position = request.POST.get("step", "")
        step = next((each for each in self.steps if str(each.position) == position), None)
        try:
            help_calls.ask(attempt=self.attempt, step=step, candidate=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        if step is None:
            return redirect("attempt-overview", self.attempt.pk)
        return redirect("attempt-step", self.attempt.pk, step.position)


class HelpTakeBack(OwnAttempt):
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        help_calls.take_back(attempt=self.attempt, candidate=self.person, at=self.now)
        position = request.POST.get("step", "")
        if any(str(each.position) == position for each in self.steps):
            return redirect("attempt-step", self.attempt.pk, int(position))
        return redirect("attempt-overview", self.attempt.pk)
