"""The pages with a rig's answers on them. Who was shown one is remembered, and not assessed on that rig."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import disclosure
from assessments.rig_forms import DecisionForm, OutlierForm
from rigs import baselines, instruments, readouts, repeats, sheets
from rigs.models import Baseline, BaselineReading, Check, Instrument, Rig
from rigs.models.baselines import BaselineStatus, Outlier
from rigs.models.designs import MeasurandKind


class RigValues(AccessMixin, DetailView):
    """What a rig reads, and what the chosen instrument should show of it."""

    permission = Permission.RIG_READ
    template_name = "assessments/rig-values.html"
    context_object_name = "rig"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Rig]:
        return Rig.objects.visible_to(self.person).select_related("design", "centre")

    @cached_property
    def choices(self) -> list[Instrument]:
        """The instruments in candidates' hands that measure a level of this rig."""
        measurands = baselines.measurands_of(self.object)
        levels = [each for each in measurands if each.kind == MeasurandKind.LEVEL]
        return list(instruments.choices(centre=self.centre, kinds=repeats.kinds_needed(levels)).bench())

    @property
    def chosen(self) -> Instrument | None:
        wanted = self.request.GET.get("instrument")
        first = next(iter(self.choices), None)
        return next((each for each in self.choices if str(each.pk) == wanted), first)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        rig, chosen = self.object, self.chosen
        sheet = sheets.newest(rig=rig)
        if sheet is not None:
            disclosure.note_seen(person=self.person, rig=rig, at=self.now)
        return super().get_context_data(
            sheet=sheet,
            values=() if sheet is None else readouts.present_values(sheet=sheet, instrument=chosen),
            chosen=chosen,
            refusal=None if chosen is None else self.refusal(chosen),
            **context,
        )

    def refusal(self, instrument: Instrument) -> str | None:
        """Return why an instrument couldn't be used today, whatever it is fine enough for."""
        return instruments.refusal(instrument=instrument, kind=instrument.model.kind, on=self.today)


class BaselineDetail(AccessMixin, DetailView):
    permission = Permission.RIG_READ
    template_name = "assessments/baseline-detail.html"
    context_object_name = "baseline"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Baseline]:
        found = Baseline.objects.visible_to(self.person)
        return found.select_related("rig__centre", "rig__design", "made_by", "decided_by")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        disclosure.note_seen(person=self.person, rig=self.object.rig, at=self.now)
        return super().get_context_data(**sheet_of(self.object), **context)


class BaselineDecide(VerbFormView):
    """A second person looks at a baseline, and approves it or sends it back."""

    permission = Permission.BASELINE_APPROVE
    form_class = DecisionForm
    template_name = "assessments/baseline-decide.html"
    section = "rigs"

    @cached_property
    def baseline(self) -> Baseline:
        found = Baseline.objects.visible_to(self.person)
        return get_object_or_404(
            found.select_related("rig__centre", "rig__design", "made_by"), pk=self.kwargs["pk"]
        )

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.baseline.made_by_id == self.person.pk:
            messages.error(request, "You made this baseline: a second person decides on it.")
            return redirect("baseline-detail", self.baseline.pk)
        if self.baseline.is_decided:
            messages.info(request, f"This baseline is {self.baseline.get_status_display().lower()} already.")
            return redirect("baseline-detail", self.baseline.pk)
        return super().get(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"approvable": self.baseline.status == BaselineStatus.WAITING}

    def carry_out(self, form: forms.Form) -> Baseline:
        note = form.cleaned_data["note"]
        if "approve" in self.request.POST:
            done = baselines.approve(baseline=self.baseline, by=self.person, at=self.now, note=note)
            messages.success(self.request, f"Baseline {done.number} is in force from now on.")
            return done
        done = baselines.send_back(baseline=self.baseline, by=self.person, at=self.now, note=note)
        messages.success(self.request, f"Baseline {done.number} is sent back. Its readings stay on record.")
        return done

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        disclosure.note_seen(person=self.person, rig=self.baseline.rig, at=self.now)
        return super().get_context_data(baseline=self.baseline, **sheet_of(self.baseline), **context)

    def get_success_url(self) -> str:
        return reverse("baseline-detail", args=[self.baseline.pk])


class OutlierDecide(VerbFormView):
    """What becomes of one reading that stands apart from the others of a baseline."""

    permission = Permission.BASELINE_APPROVE
    form_class = OutlierForm
    section = "rigs"
    heading = "A reading that stands apart"

    @cached_property
    def reading(self) -> BaselineReading:
        found = BaselineReading.objects.filter(
            baseline__in=Baseline.objects.visible_to(self.person), baseline__status=BaselineStatus.WAITING
        ).select_related("baseline__rig__centre", "measurand__test_point", "measurand__condition")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        found = self.reading
        return f"{found.baseline.rig.tag}, {found.measurand}: run {found.repeat}, {found.text} {found.unit}"

    def carry_out(self, form: forms.Form) -> BaselineReading:
        return baselines.decide_on(
            reading=self.reading,
            outlier=Outlier(form.cleaned_data["outlier"]),
            reason=form.cleaned_data["reason"],
            by=self.person,
            at=self.now,
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        disclosure.note_seen(person=self.person, rig=self.reading.baseline.rig, at=self.now)
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("baseline-decide", args=[self.reading.baseline_id])


class CheckDetail(AccessMixin, DetailView):
    permission = Permission.RIG_READ
    template_name = "assessments/check-detail.html"
    context_object_name = "check"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Check]:
        found = Check.objects.visible_to(self.person)
        return found.select_related("rig__centre", "rig__design", "session", "baseline", "made_by")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        check = self.object
        disclosure.note_seen(person=self.person, rig=check.rig, at=self.now)
        return super().get_context_data(
            comparisons=readouts.comparisons(check=check),
            hold=check.rig.holds.open().first(),
            is_latest=check == check.rig.checks.first(),
            **context,
        )


def sheet_of(baseline: Baseline) -> dict[str, Any]:
    """What is on the sheet of a baseline, whether it is read or decided on."""
    values = baselines.figures(baseline=baseline)
    summaries = readouts.summaries(baseline=baseline, values=values)
    return {
        "summaries": summaries,
        "flagged": baselines.flagged_readings(baseline=baseline, values=values),
        "may_screen": baseline.status == BaselineStatus.WAITING,
        "runs": readouts.runs(baseline=baseline, summaries=summaries),
        "columns": baselines.measurands_of(baseline.rig),
        "before": baselines.before(baseline),
        "least": baselines.LEAST_REPEATS,
        "advised": baselines.LEAST_REPEATS_FOR_ASSESSMENT,
    }
