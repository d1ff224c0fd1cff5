"""The step on which the candidate chooses what to measure: any number of readings, in any order."""

from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property

from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import evidence, typed_in
from assessments.evidence import Sent
from assessments.forms import TakeBackForm
from assessments.measured import Measured, measured
from assessments.measuring_forms import MeasurementForm, unit_of
from assessments.models import Reading, Step
from assessments.models.tasks import StepKind
from assessments.typed_in import conditions_of, test_points_of
from assessments.views.steps import OwnAttempt
from rigs.metrology.quantities import Quantity
from rigs.models import Condition, TestPoint


class MeasuringView(OwnAttempt, VerbFormView):
    """What both pages have: the task's test points and conditions, and the form in which they are chosen."""

    form_class = MeasurementForm

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.closed:
            return redirect("attempt-overview", self.attempt.pk)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.closed:
            messages.error(request, evidence.CLOSED)
            return redirect("attempt-overview", self.attempt.pk)
        return super().post(request, *args, **kwargs)

    @property
    def closed(self) -> bool:
        return not self.takes_entry(self.step)

    @property
    def step(self) -> Step:
        raise NotImplementedError

    @cached_property
    def test_points(self) -> list[TestPoint]:
        return test_points_of(self.step)

    @cached_property
    def conditions(self) -> list[Condition]:
        return conditions_of(self.step)

    @cached_property
    def readings(self) -> list[Measured]:
        found = self.attempt.readings.in_order().filter(step=self.step)
        return list(measured(found.select_related("test_point", "condition", "instrument__instrument")))

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "step": self.step,
            "test_points": self.test_points,
            "conditions": self.conditions,
        }

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(attempt=self.attempt, step=self.step, **context)

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the form again under a fresh id, with everything that was typed in it."""
        data = self.request.POST.copy()
        data["id"] = str(uuid4())
        shown = self.get_form_class()(**self.get_form_kwargs() | {"data": data})
        for field, errors in form.errors.items():
            if field not in shown.errors:
                shown.add_error(field if field in shown.fields else None, errors)
        return super().form_invalid(shown)

    def log(self, form: forms.Form, *, corrects: Reading | None) -> Reading:
        given = form.cleaned_data
        self._remember_unit(given)
        reading = typed_in.log(
            form,
            attempt=self.attempt,
            step=self.step,
            sent=Sent(id=given["id"], reason=given.get("reason", "")),
            candidate=self.person,
            at=self.now,
            corrects=corrects,
        )
        assert isinstance(reading, Reading)
        return reading

    def _remember_unit(self, given: dict[str, Any]) -> None:
        quantity = Quantity(given["test_point"].quantity)
        if given.get(unit_of(quantity)):
            self.request.session.setdefault("units", {})[quantity.value] = given[unit_of(quantity)]
            self.request.session.modified = True

    def get_success_url(self) -> str:
        return reverse("attempt-measure", args=[self.attempt.pk, self.step.position])


class MeasurementStep(MeasuringView):
    """Choose where and in which condition, and log what is read; what was logged so far stands below."""

    template_name = "assessments/attempt-measure.html"

    @cached_property
    def step(self) -> Step:
        position, kind = self.kwargs["position"], StepKind.MEASUREMENTS
        try:
            return next(each for each in self.steps if each.position == position and each.kind == kind)
        except StopIteration:
            raise Http404 from None

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"correcting": False}

    def get_initial(self) -> dict[str, Any]:
        """Where and in which condition the last reading was taken, and the units used last."""
        units: dict[str, str] = self.request.session.get("units", {})
        initial = {unit_of(Quantity(quantity)): unit for quantity, unit in units.items()} | {"id": uuid4()}
        if self.readings:
            last = max((each.reading for each in self.readings), key=lambda reading: reading.sequence)
            initial |= {"test_point": last.test_point.slug, "condition": last.condition.slug}
        return initial

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        place = self.steps.index(self.step)
        return super().get_context_data(
            readings=self.readings,
            number=place + 1,
            count=len(self.steps),
            before=self.steps[place - 1] if place else None,
            after=self.steps[place + 1] if place + 1 < len(self.steps) else None,
            **context,
        )

    def carry_out(self, form: forms.Form) -> Reading:
        reading = self.log(form, corrects=None)
        where = f"{reading.test_point.label}, {reading.condition.label.lower()}"
        messages.success(self.request, f"Logged: {where}, {reading}.")
        return reading


class MeasurementCorrect(MeasuringView):
    """Strike a reading out, with another in its place or none."""

    template_name = "assessments/reading-correct.html"

    @cached_property
    def reading(self) -> Reading:
        """Still standing; one that was struck out since the page was loaded is shown as it was."""
        known = self.attempt.readings.filter(test_point__isnull=False, taken_back=False)
        return get_object_or_404(
            known.select_related("step__version", "test_point", "condition", "instrument"),
            pk=self.kwargs["reading"],
        )

    @property
    def step(self) -> Step:
        return self.reading.step

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"correcting": True}

    def get_initial(self) -> dict[str, Any]:
        unit = unit_of(Quantity(self.reading.test_point.quantity))
        return {
            "id": uuid4(),
            "test_point": self.reading.test_point.slug,
            "condition": self.reading.condition.slug,
            "text": self.reading.text if self.reading.value is not None else "",
            unit: self.reading.unit,
            "why": self.reading.why,
        }

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            reading=self.reading,
            take_back=TakeBackForm(initial={"id": uuid4()}, auto_id="back_%s"),
            **context,
        )

    def carry_out(self, form: forms.Form) -> Reading:
        return self.log(form, corrects=self.reading)


class MeasurementTakeBack(MeasurementCorrect):
    """Strike a reading out with nothing in its place."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        form = TakeBackForm(request.POST)
        if not form.is_valid():
            messages.error(request, "Say why it is taken back.")
            return redirect("reading-correct", self.attempt.pk, self.reading.pk)
        sent = Sent(id=form.cleaned_data["id"], reason=form.cleaned_data["reason"])
        try:
            evidence.take_back_reading(
                attempt=self.attempt, reading=self.reading, sent=sent, candidate=self.person, at=self.now
            )
        except Refused as refusal:
            messages.error(request, refusal.message)
        return redirect(self.get_success_url())
