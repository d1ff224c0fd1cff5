from itertools import groupby
from typing import Any

from django import forms
from django.contrib import messages
from django.urls import reverse, reverse_lazy
from django.views.generic import TemplateView

from academy import digests
from academy.access import AccessMixin
from academy.forms import DigestForm
from academy.models import Person
from academy.notices import Notice, Urgency, notices_for
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView

HEADINGS = {Urgency.NOW: "To see to now", Urgency.WAITING: "Waiting for you", Urgency.COMING: "Coming up"}


class Today(AccessMixin, TemplateView):
    """What do I do now? Everything that waits for whoever asks, each with where to deal with it."""

    permission = Permission.SIGNED_IN
    template_name = "academy/today.html"
    section = "today"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = notices_for(person=self.person, at=self.now)
        return super().get_context_data(groups=grouped(found), **context)


def grouped(found: list[Notice]) -> list[tuple[str, list[Notice]]]:
    """Notices under their headings. They are sorted by urgency already."""
    return [(HEADINGS[urgency], list(each)) for urgency, each in groupby(found, lambda one: one.urgency)]


class DigestChoose(VerbFormView):
    permission = Permission.SIGNED_IN
    form_class = DigestForm
    section = "today"
    heading = "The daily email"
    success_url = reverse_lazy("today")

    def get_initial(self) -> dict[str, Any]:
        return {"wanted": self.person.wants_digest}

    def carry_out(self, form: forms.Form) -> Person:
        wanted = form.cleaned_data["wanted"]
        done = digests.choose(person=self.person, wanted=wanted, at=self.now)
        messages.success(
            self.request, "You get one email a day at most." if wanted else "You get no more daily emails."
        )
        return done

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("today"), **context)
