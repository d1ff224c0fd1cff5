"""What the pages about one rig or one instrument of the person's own centre share."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import View

from academy.access import AccessMixin
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from rigs.models import Instrument, Rig


class AboutRigView(VerbFormView):
    """A form about the rig in the address, whose page it goes back to."""

    section = "rigs"

    @cached_property
    def rig(self) -> Rig:
        found = Rig.objects.visible_to(self.person).select_related("centre", "design")
        return get_object_or_404(found, pk=self.kwargs["rig"])

    @property
    def intro(self) -> str:
        return f"{self.rig.tag}, {self.rig.design.name.lower()}"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        back = reverse("rig-detail", args=[self.rig.pk])
        return super().get_context_data(**{"back": back, "rig": self.rig} | context)

    def get_success_url(self) -> str:
        return reverse("rig-detail", args=[self.rig.pk])


class AboutInstrumentView(VerbFormView):
    """A form about the instrument in the address, whose page it goes back to."""

    section = "instruments"

    @cached_property
    def instrument(self) -> Instrument:
        found = Instrument.objects.visible_to(self.person).select_related("centre", "model")
        return get_object_or_404(found, pk=self.kwargs["instrument"])

    @property
    def intro(self) -> str:
        return f"{self.instrument.tag}, {self.instrument.model.name}"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        back = reverse("instrument-detail", args=[self.instrument.pk])
        return super().get_context_data(**{"back": back} | context)

    def get_success_url(self) -> str:
        return reverse("instrument-detail", args=[self.instrument.pk])


class VerbButtonView(AccessMixin, View):
    """What a button does that asks for nothing else: one verb, and then on to a page that shows it.

    A subclass calls its verb in `carry_out`, which returns where to go then. What the verb refuses is said on
    the page of `came_from`.
    """

    http_method_names = ("post",)

    def carry_out(self) -> str:
        raise NotImplementedError

    def came_from(self) -> str:
        raise NotImplementedError

    def post(self, request: HttpRequest, **_kwargs: Any) -> HttpResponse:
        try:
            return redirect(self.carry_out())
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect(self.came_from())
