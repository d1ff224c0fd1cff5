"""An assessor's phrase book: what they wrote before and keep for feedback."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse_lazy
from django.utils.functional import cached_property
from django.views.generic import View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import phrases
from assessments.models import Phrase, Task
from assessments.review_forms import PhraseForm


class _PhraseForm(VerbFormView):
    permission = Permission.ATTEMPT_DECIDE
    form_class = PhraseForm
    section = "review"
    success_url = reverse_lazy("phrase-list")

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"tasks": Task.objects.filter(centre=self.centre)}


class PhraseList(_PhraseForm):
    """The book, with a form for one more."""

    template_name = "assessments/phrase-list.html"

    def carry_out(self, form: forms.Form) -> Phrase:
        return phrases.keep(assessor=self.person, **form.cleaned_data, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(phrases=self._book(), **context)

    def _book(self) -> QuerySet[Phrase]:
        return Phrase.objects.of(self.person).select_related("task").order_by("task__position", "text")


class PhraseChange(_PhraseForm):
    heading = "Change a phrase"
    intro = "Feedback that was given stays as it was."

    @cached_property
    def phrase(self) -> Phrase:
        return get_object_or_404(Phrase.objects.of(self.person), pk=self.kwargs["pk"])

    def get_initial(self) -> dict[str, Any]:
        return {"text": self.phrase.text, "task": self.phrase.task_id}

    def carry_out(self, form: forms.Form) -> Phrase:
        return phrases.change(phrase=self.phrase, **form.cleaned_data, by=self.person)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.success_url, **context)


class PhraseRemove(AccessMixin, View):
    permission = Permission.ATTEMPT_DECIDE
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        phrase = get_object_or_404(Phrase.objects.of(self.person), pk=kwargs["pk"])
        phrases.remove(phrase=phrase, by=self.person)
        messages.success(request, "The phrase is out of your book. Feedback that was given stays as it was.")
        return redirect("phrase-list")
