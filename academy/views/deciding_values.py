"""How decisions are made at the centre, for the manager to set."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.urls import reverse

from academy import deciding_values
from academy.forms import DecidingValuesForm
from academy.models import Centre
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView


class DecidingValues(VerbFormView):
    permission = Permission.CENTRE_MANAGE
    form_class = DecidingValuesForm
    section = "people"
    heading = "How we decide"
    intro = (
        "These values come from custom and not from a standard. They hold from now on: "
        "what was decided by others stands."
    )

    def get_initial(self) -> dict[str, Any]:
        return {name: getattr(self.centre, name) for name in deciding_values.BETWEEN}

    def carry_out(self, form: forms.Form) -> Centre:
        return deciding_values.change(
            centre=self.centre, values=form.cleaned_data, by=self.person, at=self.now
        )

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        if self.done is not None:
            messages.success(self.request, "Saved.")
        return response

    def get_success_url(self) -> str:
        return reverse("deciding-values")
