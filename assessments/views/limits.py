"""The limits that tasks state: all of them on one page, and each confirmed on its own."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import limits
from assessments.limit_forms import LimitForm
from assessments.limits import LimitInForce
from assessments.models import LimitConfirmation


class LimitList(AccessMixin, TemplateView):
    permission = Permission.TASK_READ
    template_name = "assessments/limit-list.html"
    section = "tasks"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = limits.in_force(centre=self.centre)
        on = self.centre.date_at(self.now)
        return super().get_context_data(
            waiting=[each for each in found if each.confirmation is None],
            confirmed=[each for each in found if each.confirmation is not None],
            out_of_date=[each.limit for each in found if not each.limit.holds_on(on)],
            **context,
        )


class LimitConfirm(VerbFormView):
    permission = Permission.TASK_MANAGE
    template_name = "assessments/limit-confirm.html"
    form_class = LimitForm
    section = "tasks"

    @cached_property
    def row(self) -> LimitInForce:
        found = limits.in_force(centre=self.centre)
        row = next((each for each in found if each.limit.digest == self.kwargs["digest"]), None)
        if row is None:
            raise Http404
        return row

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(row=self.row, **context)

    def carry_out(self, form: forms.Form) -> LimitConfirmation:
        made = limits.confirm(
            centre=self.centre,
            digest=self.row.limit.digest,
            compared=form.cleaned_data["compared"],
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, "The limit is confirmed: its tasks can be used in assessments.")
        return made

    def get_success_url(self) -> str:
        return reverse("limit-list")
