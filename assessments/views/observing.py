"""The assessor beside a candidate: what is seen of each step, the help given, and the questions asked."""

from typing import Any

from django import forms
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import evidence, observing, questions, session_board
from assessments.models import Attempt, Observation, OralAnswer, Photo, QuestionSet, Reading, Step
from assessments.models.tasks import StepKind
from assessments.session_forms import ObserveForm, OralForm


class ObservedAttempt(AccessMixin, View):
    """An attempt that is worked on or waits for its decision, never one's own."""

    permission = Permission.ATTEMPT_DECIDE
    section = "session"

    @cached_property
    def attempt(self) -> Attempt:
        found = (
            Attempt.objects.visible_to(self.person)
            .filter(status__in=observing.UNDECIDED)
            .exclude(candidate=self.person)
            .select_related("candidate", "rig__centre", "version__task")
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @cached_property
    def seen(self) -> dict[int, Observation]:
        return observing.seen_of(self.attempt)

    @cached_property
    def asked(self) -> QuestionSet | None:
        return questions.of_attempt(self.attempt)

    @cached_property
    def answers(self) -> dict[str, OralAnswer]:
        return {each.key: each for each in self.attempt.oral_answers.current().select_related("by")}

    @property
    def back(self) -> str:
        return reverse("observe", args=[self.attempt.pk])


class Observe(ObservedAttempt, TemplateView):
    """Every step, those that must be safe first; what the candidate has logged is only that it is."""

    template_name = "assessments/observe.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        logged = observing.logged_steps(self.attempt)
        given: dict[int | None, int] = {}
        for step, level in self.attempt.prompts.values_list("step", "level"):
            given[step] = max(level, given.get(step, 0))
        rows = [
            {
                "step": step,
                "logged": step.pk in logged,
                "seen": self.seen.get(step.pk),
                "level": given.get(step.pk, 0),
                "form": ObserveForm(correcting=False),
            }
            for step in self.attempt.version.steps.order_by("position")
        ]
        asked = self.asked.content if self.asked else []
        return super().get_context_data(
            attempt=self.attempt,
            working=session_board.working_on(self.attempt, at=self.now),
            groups=[
                ("Safety-critical steps", [row for row in rows if row["step"].safety_critical]),
                ("The other steps", [row for row in rows if not row["step"].safety_critical]),
            ],
            questions=[(each, self.answers.get(each["key"])) for each in asked],
            **context,
        )


class ObserveStep(ObservedAttempt, VerbFormView):
    """One step: what the candidate is told to do, what they logged, and what was seen."""

    template_name = "assessments/observe-step.html"
    form_class = ObserveForm

    @cached_property
    def step(self) -> Step:
        steps = self.attempt.version.steps.select_related("condition")
        return get_object_or_404(steps, position=self.kwargs["position"])

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"correcting": _is_another(self.seen.get(self.step.pk), self)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        entry = evidence.standing(self.attempt).get(self.step.pk)
        kind = {Reading: "reading", Photo: "photo"}.get(type(entry), "record") if entry else ""
        return super().get_context_data(
            attempt=self.attempt,
            step=self.step,
            entry=None if self.step.kind == StepKind.MEASUREMENTS else entry,
            entry_kind=kind,
            standing=self.seen.get(self.step.pk),
            prompts=self.attempt.prompts.filter(step=self.step).select_related("given_by"),
            **context,
        )

    def carry_out(self, form: forms.Form) -> Observation:
        given = form.cleaned_data
        return observing.observe(
            id=given["id"],
            attempt=self.attempt,
            step=self.step,
            seen=given["seen"],
            note=given["note"],
            reason=given.get("reason", ""),
            level=given["level"] or 0,
            words=given["words"],
            by=self.person,
            at=self.now,
        )

    def get_success_url(self) -> str:
        return f"{self.back}#step-{self.step.position}"


class OralAsk(ObservedAttempt, VerbFormView):
    """One question, with what a good answer has in it."""

    template_name = "assessments/oral-ask.html"
    form_class = OralForm

    @cached_property
    def question(self) -> dict[str, Any]:
        for each in self.asked.content if self.asked else []:
            if each["key"] == self.kwargs["key"]:
                return dict(each)
        raise Http404

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "correcting": _is_another(self.answers.get(self.question["key"]), self)
        }

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            attempt=self.attempt,
            question=self.question,
            standing=self.answers.get(self.question["key"]),
            **context,
        )

    def carry_out(self, form: forms.Form) -> OralAnswer:
        given = form.cleaned_data
        return observing.record_answer(
            id=given["id"],
            attempt=self.attempt,
            key=self.question["key"],
            answer=given["answer"],
            met=given["met"],
            reason=given.get("reason", ""),
            by=self.person,
            at=self.now,
        )

    def get_success_url(self) -> str:
        return f"{self.back}#questions"


def _is_another(standing: Observation | OralAnswer | None, view: View) -> bool:
    """Whether something stands that isn't what is being sent a second time."""
    return standing is not None and str(standing.pk) != view.request.POST.get("id")
