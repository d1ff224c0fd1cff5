"""Practising on a virtual rig: picking a task, its steps one a screen, and what came of it."""

import secrets
from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView, TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import virtual, virtual_boards, virtual_marking
from assessments.displays import Display
from assessments.forms import StepForm
from assessments.marking.results import Marking, Marks
from assessments.models import Step, TaskVersion, VirtualEntry, VirtualPractice
from assessments.models.tasks import StepKind
from assessments.models.virtual import Draw
from assessments.showing import time_line
from assessments.shown_diagnosis import ShownDiagnosis
from assessments.virtual_forms import FORMS, VirtualStartForm
from assessments.virtual_showing import Logged, display_of, logged, shown_readings, shown_search
from rigs.metrology.quantities import UNITS, Quantity
from rigs.models.instruments import InstrumentKind

SEED_BITS = 40


class VirtualList(AccessMixin, ListView):
    """What can be practised, what was begun, and what was done before: one's own alone."""

    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/virtual-list.html"
    section = "bench"
    paginate_by = 20
    context_object_name = "practices"

    def get_queryset(self) -> QuerySet[VirtualPractice]:
        return VirtualPractice.objects.of(self.person).select_related("version__task", "version__design")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(versions=virtual_boards.practisable(centre=self.centre), **context)


class VirtualStart(VerbFormView):
    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/virtual-start.html"
    form_class = VirtualStartForm
    section = "bench"

    @cached_property
    def version(self) -> TaskVersion:
        versions = TaskVersion.objects.visible_to(self.person).in_force()
        version = get_object_or_404(
            versions.select_related("task", "design").prefetch_related(
                "design__test_points", "design__faults", virtual_boards.with_steps()
            ),
            pk=self.kwargs["version"],
        )
        if not virtual_boards.can_stand_in(version):
            raise Http404
        return version

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"draws": virtual.draws_for(self.version)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(version=self.version, **context)

    def carry_out(self, form: forms.Form) -> VirtualPractice:
        given = form.cleaned_data
        return virtual.start(
            id=given["id"],
            candidate=self.person,
            version=self.version,
            draw=Draw(given["draw"]),
            cautions_read=given["cautions_read"],
            seed=secrets.randbits(SEED_BITS),
            at=self.now,
        )

    def get_success_url(self) -> str:
        return reverse("virtual-step", args=[self.done.pk, 1])


class OwnPractice(AccessMixin, View):
    """A person's own practice; anybody else's isn't there."""

    permission = Permission.ATTEMPT_WORK
    section = "bench"

    @cached_property
    def practice(self) -> VirtualPractice:
        mine = VirtualPractice.objects.of(self.person).select_related(
            "version__task", "version__design", "fault"
        )
        return get_object_or_404(mine, pk=self.kwargs["pk"])

    @cached_property
    def steps(self) -> list[Step]:
        return list(
            self.practice.version.steps.select_related(
                "condition", "measurand__test_point", "measurand__condition"
            )
        )

    @cached_property
    def entries(self) -> list[VirtualEntry]:
        """Everything that was logged, in its order."""
        steps = {step.pk: step for step in self.steps}
        found = list(self.practice.entries.in_order().select_related("test_point", "condition"))
        for entry in found:
            entry.step = steps[entry.step_id]
        return found

    @cached_property
    def standing(self) -> dict[int, VirtualEntry]:
        """What counts on each step, by the step's id; free measurements are many on one."""
        return {entry.step_id: entry for entry in self.entries}

    @cached_property
    def is_revealed(self) -> bool:
        return virtual.is_revealed(self.practice)

    @cached_property
    def marks(self) -> Marks:
        return virtual_marking.marks_of(self.practice, self.entries)

    @cached_property
    def marking(self) -> Marking:
        return virtual_marking.marking_of(self.practice, self.entries)

    @property
    def answer(self) -> ShownDiagnosis | None:
        """The diagnosis with everything behind it, once the fault is out."""
        return shown_search(self.marking, entries=self.entries) if self.is_revealed else None

    def seen(self, step: Step) -> Logged | None:
        """What stands on a step, with its verdict unless that would tell of a fault still hidden."""
        entry = self.standing.get(step.pk)
        if entry is None:
            return None
        return logged(entry, step=step, marks=self.marks if self.is_revealed else ())

    def after(self, step: Step) -> str:
        """The address of the next step with nothing on it; the list of steps when there is none."""
        later = (
            each for each in self.steps if each.position > step.position and each.pk not in self.standing
        )
        following = next(later, None)
        if following is None:
            return reverse("virtual-overview", args=[self.practice.pk])
        return reverse("virtual-step", args=[self.practice.pk, following.position])


class VirtualStep(OwnPractice, VerbFormView):
    """One step with the virtual board: what to do, what the display shows, and what was made of it."""

    template_name = "assessments/virtual-step.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.practice.is_open:
            return redirect("virtual-result", self.practice.pk)
        if self.step.kind == StepKind.MEASUREMENTS:
            return redirect("virtual-measure", self.practice.pk)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.practice.is_open:
            messages.error(request, virtual.FINISHED)
            return redirect("virtual-result", self.practice.pk)
        if self.step.kind == StepKind.MEASUREMENTS:
            return redirect("virtual-measure", self.practice.pk)
        return super().post(request, *args, **kwargs)

    @cached_property
    def step(self) -> Step:
        position = self.kwargs["position"]
        found = next((step for step in self.steps if step.position == position), None)
        if found is None:
            raise Http404
        return found

    def get_form_class(self) -> type[StepForm]:
        return FORMS[self.step.kind]

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"step": self.step, "correcting": False}

    def get_initial(self) -> dict[str, Any]:
        return {"id": uuid4(), "unit": initial_unit(self.request, self.step.quantity)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        place = self.steps.index(self.step)
        later = self.steps[place + 1] if place + 1 < len(self.steps) else None
        is_diagnosis = self.step.kind == StepKind.DIAGNOSIS
        return super().get_context_data(
            practice=self.practice,
            step=self.step,
            number=place + 1,
            count=len(self.steps),
            seen=self.seen(self.step),
            display=self._display(),
            lamp=self._lamp(),
            is_dead=self._is_dead,
            is_settled=self.is_settled,
            fault_is_out=is_diagnosis and self.is_revealed,
            diagnosis=self.answer if is_diagnosis else None,
            is_search=self.practice.draw != Draw.NOTHING,
            before=self.steps[place - 1] if place else None,
            later=later,
            next_address=self.after(self.step),
            **context,
        )

    def _display(self) -> Display | None:
        """None for a step that is read from no display, which a reading that is worked out is, too."""
        by_slug = {step.slug: step for step in self.steps}
        if virtual_boards.test_of(self.step, by_slug) is None:
            return None
        text = virtual.shown_on_step(practice=self.practice, step=self.step, by_slug=by_slug)
        return display_of(text, quantity=self.step.quantity, judged_by=self.step.judged_by)

    @property
    def _is_dead(self) -> bool:
        """Whether a voltage indicator is looked at: the board is isolated when its turn comes."""
        return (
            self.step.kind == StepKind.OBSERVATION
            and self.step.instrument_kind == InstrumentKind.VOLTAGE_INDICATOR
        )

    def _lamp(self) -> tuple[bool, bool] | None:
        """The proved-air lamp with the fan off and running, where something is to be observed as it runs."""
        condition = self.step.condition
        if self.step.kind != StepKind.OBSERVATION or condition is None or not condition.energised:
            return None
        return (
            virtual.lamp_lights(self.practice, running=False),
            virtual.lamp_lights(self.practice, running=True),
        )

    def carry_out(self, form: forms.Form) -> VirtualEntry:
        given = form.cleaned_data
        if self.step.kind == StepKind.READING:
            remember_unit(self.request, self.step.quantity, given.get("unit"))
        return virtual.log(
            practice=self.practice,
            step=self.step,
            id=given["id"],
            candidate=self.person,
            at=self.now,
            typed=given.get("typed"),
            answer=given.get("answer", ""),
            note=given.get("note", ""),
        )

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the form again; where the step takes no more, say so beside what stands on it."""
        if self.is_settled:
            for error in form.non_field_errors():
                messages.error(self.request, str(error))
            return redirect("virtual-step", self.practice.pk, self.step.position)
        return super().form_invalid(form)

    @property
    def is_settled(self) -> bool:
        """Whether nothing on the step could be logged otherwise."""
        if self.step.kind == StepKind.DIAGNOSIS:
            return self.is_revealed
        return self.step.pk in self.standing and self.step.kind in {StepKind.ACTION, StepKind.PHOTO}

    def get_success_url(self) -> str:
        """Where there is something to learn from the verdict, the step again; else the next."""
        if self.step.kind in {StepKind.READING, StepKind.DIAGNOSIS}:
            return reverse("virtual-step", args=[self.practice.pk, self.step.position])
        return self.after(self.step)


class VirtualOverview(OwnPractice, TemplateView):
    """Every step with what was logged, and the end of the practice."""

    template_name = "assessments/virtual-overview.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.practice.is_open:
            return redirect("virtual-result", self.practice.pk)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        rows = [
            {"step": step, "entry": self.standing.get(step.pk), "seen": self.seen(step)}
            for step in self.steps
        ]
        missing = [row["step"] for row in rows if row["entry"] is None and row["step"].required]
        return super().get_context_data(
            practice=self.practice,
            rows=rows,
            missing=missing,
            is_search=self.practice.draw != Draw.NOTHING,
            is_revealed=self.is_revealed,
            measured=sum(entry.test_point is not None for entry in self.entries),
            **context,
        )


class VirtualFinish(OwnPractice):
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        virtual.finish(practice=self.practice, candidate=self.person, at=self.now)
        return redirect("virtual-result", self.practice.pk)


class VirtualGiveUp(OwnPractice):
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            virtual.give_up(practice=self.practice, candidate=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        return redirect("virtual-measure", self.practice.pk)


class VirtualResult(OwnPractice, TemplateView):
    """The three strands and every reading with its working. No decision: there is nothing to decide."""

    template_name = "assessments/virtual-result.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.practice.is_open:
            return redirect("virtual-overview", self.practice.pk)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        first: dict[int, Any] = {}
        for entry in self.entries:
            first.setdefault(entry.step_id, entry.at)
        return super().get_context_data(
            practice=self.practice,
            diagnosis=self.answer,
            strands=(
                ("Procedure", self.marking.procedure),
                ("Readings", self.marking.readings),
                ("Conclusion", self.marking.conclusion),
            ),
            readings=shown_readings(
                self.marking, steps={step.slug: step for step in self.steps}, entries=self.entries
            ),
            steps=time_line(self.steps, first, (), self.marking),
            is_search=self.practice.draw != Draw.NOTHING,
            **context,
        )


def initial_unit(request: HttpRequest, quantity: str) -> str:
    """The unit that the person used last for a quantity, here or at the bench."""
    units: dict[str, str] = request.session.get("units", {})
    return units.get(quantity) or (UNITS[Quantity(quantity)][0] if quantity else "")


def remember_unit(request: HttpRequest, quantity: str, unit: str | None) -> None:
    if unit:
        request.session.setdefault("units", {})[quantity] = unit
        request.session.modified = True
