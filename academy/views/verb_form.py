from typing import Any

from django import forms
from django.http import HttpResponse
from django.views.generic import FormView

from academy.access import AccessMixin
from academy.refusals import Refused


class VerbFormView(AccessMixin, FormView):
    """A page with one form and one verb: what the verb refuses is shown beside the field it names.

    A subclass calls its verb in `carry_out`. What that returns is kept as `done`, for `get_success_url`.
    """

    template_name = "academy/form.html"
    heading = ""
    done: Any = None

    @property
    def intro(self) -> str:
        """Return a line under the heading, if any."""
        return ""

    def carry_out(self, form: forms.Form) -> object:
        raise NotImplementedError

    def form_valid(self, form: forms.Form) -> HttpResponse:
        try:
            self.done = self.carry_out(form)
        except Refused as refusal:
            return self.refused(form, refusal)
        return super().form_valid(form)

    def refused(self, form: forms.Form, refusal: Refused) -> HttpResponse:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        return self.form_invalid(form)
