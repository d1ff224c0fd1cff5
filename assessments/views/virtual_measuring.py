"""Measuring freely on a virtual rig, one display at a time, and what the readings so far say."""

from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import cached_property

from academy.views.verb_form import VerbFormView
from assessments import virtual, virtual_hints
from assessments.models import Step, VirtualEntry
from assessments.models.tasks import StepKind
from assessments.views.virtual import OwnPractice, initial_unit, remember_unit
from assessments.virtual import Measured
from assessments.virtual_boards import Offer, offer_of
from assessments.virtual_forms import ChooseForm, MeasurementForm
from assessments.virtual_showing import Logged, display_of, logged


class VirtualMeasure(OwnPractice, VerbFormView):
    """The address asks for a test point and a condition; the display shows, and a reading is logged."""

    template_name = "assessments/virtual-measure.html"
    form_class = MeasurementForm

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.practice.is_open:
            return redirect("virtual-result", self.practice.pk)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.practice.is_open:
            messages.error(request, virtual.FINISHED)
            return redirect("virtual-result", self.practice.pk)
        if self.measured is None:
            messages.error(request, "Choose a test point and a condition first.")
            return redirect("virtual-measure", self.practice.pk)
        return super().post(request, *args, **kwargs)

    @cached_property
    def step(self) -> Step:
        found = next((step for step in self.steps if step.kind == StepKind.MEASUREMENTS), None)
        if found is None:
            raise Http404
        return found

    @cached_property
    def offer(self) -> Offer:
        design = self.practice.version.design
        return offer_of(self.step, points=design.test_points.all(), conditions=design.conditions.all())

    @cached_property
    def measurements(self) -> list[VirtualEntry]:
        return [entry for entry in self.entries if entry.test_point is not None]

    @cached_property
    def choice(self) -> ChooseForm:
        """What the address asks for; where nothing is asked, the last one again to begin from."""
        asked = self.request.GET if "at" in self.request.GET else None
        last = self.measurements[-1] if self.measurements else None
        initial = {"at": last.test_point.slug, "condition": last.condition.slug} if last else {}
        return ChooseForm(asked, offer=self.offer, initial=initial | {"n": len(self.measurements)})

    @cached_property
    def measured(self) -> Measured | None:
        if not self.choice.is_bound or not self.choice.is_valid():
            return None
        asked = self.choice.cleaned_data
        return Measured(
            test_point=next(each for each in self.offer.test_points if each.slug == asked["at"]),
            condition=next(each for each in self.offer.conditions if each.slug == asked["condition"]),
            number=asked["n"],
        )

    def get_form(self, form_class: type[forms.Form] | None = None) -> forms.Form | None:
        """No display is looked at: no reading to log."""
        return None if self.measured is None else super().get_form(form_class)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"test_point": self.measured.test_point}

    def get_initial(self) -> dict[str, Any]:
        return {"id": uuid4(), "unit": initial_unit(self.request, self.measured.test_point.quantity)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        place = self.steps.index(self.step)
        return super().get_context_data(
            practice=self.practice,
            step=self.step,
            number=place + 1,
            count=len(self.steps),
            measured=self.measured,
            display=self._display(),
            choice=self.choice,
            readings=[self._logged(entry) for entry in self.measurements],
            hint=self._hint(),
            is_revealed=self.is_revealed,
            diagnosis=self.answer,
            next_address=self.after(self.step),
            **context,
        )

    def _display(self) -> Any:
        if self.measured is None:
            return None
        text = virtual.shown_at(practice=self.practice, measured=self.measured)
        return display_of(text, quantity=self.measured.test_point.quantity)

    def _logged(self, entry: VirtualEntry) -> Logged:
        return logged(entry, step=self.step)

    def _hint(self) -> virtual_hints.Hint | None:
        return virtual_hints.hint_of(self.practice, self.entries) if self.measurements else None

    def carry_out(self, form: forms.Form) -> VirtualEntry:
        given = form.cleaned_data
        remember_unit(self.request, self.measured.test_point.quantity, given.get("unit"))
        return virtual.log(
            practice=self.practice,
            step=self.step,
            id=given["id"],
            candidate=self.person,
            at=self.now,
            typed=given["typed"],
            measured=self.measured,
        )

    def get_success_url(self) -> str:
        return reverse("virtual-measure", args=[self.practice.pk])

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the form again under a fresh id, with what was typed."""
        data = self.request.POST.copy()
        data["id"] = str(uuid4())
        shown = self.form_class(**self.get_form_kwargs() | {"data": data})
        for field, errors in form.errors.items():
            if field not in shown.errors:
                shown.add_error(field if field in shown.fields else None, errors)
        return super().form_invalid(shown)
