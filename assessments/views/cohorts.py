"""Cohort by task: who stands where."""

from typing import Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from academy.access import AccessMixin
from academy.models import Cohort, Person, Role
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import progress
from assessments.forms import PlanForm, PriorForm
from assessments.models import Task


class CohortMatrix(AccessMixin, TemplateView):
    """One cohort's matrix; the newest unless another is asked for."""

    permission = Permission.COHORT_READ
    template_name = "assessments/cohort-matrix.html"
    section = "cohorts"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        cohorts = list(Cohort.objects.visible_to(self.person))
        wanted = self.request.GET.get("cohort")
        cohort = next((each for each in cohorts if str(each.pk) == wanted), cohorts[0] if cohorts else None)
        matrix = progress.matrix(cohort=cohort, on=self.today) if cohort else None
        return super().get_context_data(
            cohorts=cohorts, cohort=cohort, matrix=matrix, standings=list(progress.Standing), **context
        )


class CohortPlan(VerbFormView):
    """Plan a task for a cohort."""

    permission = Permission.COHORT_MANAGE
    form_class = PlanForm
    section = "cohorts"
    heading = "Plan a task"

    @cached_property
    def cohort(self) -> Cohort:
        return get_object_or_404(
            Cohort.objects.visible_to(self.person).select_related("centre"), pk=self.kwargs["pk"]
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        tasks = Task.objects.filter(centre=self.centre, versions__withdrawn_at=None).distinct()
        return super().get_form_kwargs() | {"tasks": tasks.exclude(planned_for__cohort=self.cohort)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> object:
        return progress.plan(cohort=self.cohort, task=form.cleaned_data["task"], by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return f"{reverse('cohort-matrix')}?cohort={self.cohort.pk}"


class PriorRecord(VerbFormView):
    """Record what a candidate achieved before, elsewhere or on paper."""

    permission = Permission.PRIOR_RECORD
    form_class = PriorForm
    section = "cohorts"
    intro = "For what was assessed elsewhere, or on paper before. It opens the tasks that build on it."

    @cached_property
    def candidate(self) -> Person:
        people = Person.objects.visible_to(self.person).holding(Role.Kind.CANDIDATE, on=self.today)
        return get_object_or_404(people, pk=self.kwargs["pk"])

    @property
    def heading(self) -> str:
        return f"{self.candidate}: achieved before"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"tasks": Task.objects.filter(centre=self.centre)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        prior = progress.record_prior(
            candidate=self.candidate,
            task=given["task"],
            achieved_on=given["achieved_on"],
            evidence=given["evidence"],
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, f"Recorded for {self.candidate}.")
        return prior

    def get_success_url(self) -> str:
        return reverse("cohort-matrix")
