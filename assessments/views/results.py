"""What a candidate sees after sign-off: the result and its working, numbers only where the rules allow."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.views.generic import TemplateView

from assessments import disclosure, observing, outcomes, resits, signoff, suspensions
from assessments.models import Appeal
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.showing import shown
from assessments.views.steps import OwnAttempt


class AttemptResult(OwnAttempt, TemplateView):
    template_name = "assessments/attempt-result.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.attempt.status != AttemptStatus.SIGNED_OFF:
            return redirect("attempt-overview", self.attempt.pk)
        return super().get(request, *args, **kwargs)

    def _next_time(self) -> list[str]:
        """What the task's rule asks for before the next assessment, if this wasn't competent yet."""
        if self.attempt.purpose != Purpose.ASSESSMENT:
            return []
        return resits.conditions(candidate=self.person, task=self.attempt.version.task, centre=self.centre)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        signed = signoff.current(self.attempt)
        with_numbers = disclosure.candidate_may_see(attempt=self.attempt, on=self.today)
        if with_numbers and self.attempt.sheet_id is not None:
            disclosure.note_seen(person=self.person, rig=self.attempt.rig, at=self.now)
        marking = outcomes.marking_of(signed.outcome)
        sheet = shown(attempt=self.attempt, marking=marking, with_numbers=with_numbers)
        return super().get_context_data(
            attempt=self.attempt,
            signed=signed,
            invited=signed is not None and suspensions.is_invited(signed),
            sheet=sheet,
            with_numbers=with_numbers,
            observed=observing.compared(self.attempt),
            answers=observing.answers_of([self.attempt])[self.attempt.pk],
            resit=self._next_time(),
            appeal=Appeal.objects.filter(sign_off__attempt=self.attempt).exists(),
            **context,
        )
