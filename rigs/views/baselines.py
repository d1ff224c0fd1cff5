from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property

from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from rigs import baselines, readouts
from rigs.forms.readings import BaselineRunForm
from rigs.models import Baseline, Measurand, Rig
from rigs.models.baselines import BaselineStatus
from rigs.views.about import VerbButtonView
from rigs.views.references import RemembersReferences


class BaselineStart(VerbButtonView):
    permission = Permission.BASELINE_RECORD

    @cached_property
    def rig(self) -> Rig:
        found = Rig.objects.visible_to(self.person).select_related("centre", "design")
        return get_object_or_404(found, pk=self.kwargs["rig"])

    def carry_out(self) -> str:
        baseline = baselines.start(rig=self.rig, by=self.person, at=self.now)
        return reverse("baseline-run", args=[baseline.pk])

    def came_from(self) -> str:
        return reverse("rig-detail", args=[self.rig.pk])


class BaselineRun(RemembersReferences, VerbFormView):
    """One run, and what the runs before it read: for the person who makes the baseline, nobody else."""

    permission = Permission.BASELINE_RECORD
    form_class = BaselineRunForm
    template_name = "rigs/baseline-run.html"
    section = "rigs"

    @cached_property
    def baseline(self) -> Baseline:
        mine = Baseline.objects.visible_to(self.person).filter(made_by=self.person)
        return get_object_or_404(mine.select_related("rig__centre", "rig__design"), pk=self.kwargs["pk"])

    @cached_property
    def number(self) -> int:
        """The number of the run to record next."""
        return baselines.runs_of(self.baseline) + 1

    @cached_property
    def measurands(self) -> tuple[Measurand, ...]:
        return baselines.measurands_of(self.baseline.rig)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.baseline.status != BaselineStatus.OPEN:
            return redirect("baseline-detail", self.baseline.pk)
        return super().get(request, *args, **kwargs)

    def get_initial(self) -> dict[str, Any]:
        return {"run": self.number}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.POST.get("run") != str(self.number):
            messages.warning(
                request,
                f"Nothing was recorded this time: run {self.number} is the next one. See the last one below.",
            )
            return redirect("baseline-run", self.baseline.pk)
        return super().post(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "centre": self.centre,
            "measurands": self.measurands,
            "repeats": (self.number,),
            "remembered": self.remembered,
            "accuracies": self.accuracies,
        }

    def carry_out(self, form: BaselineRunForm) -> int:
        number = baselines.add_run(
            baseline=self.baseline,
            readings=form.runs[0],
            instruments=form.instruments,
            by=self.person,
            at=self.now,
            room=form.room,
            expected=self.number,
        )
        self.remember(form.instruments)
        self.remember_accuracies(form.accuracies)
        messages.success(self.request, f"Run {number} is recorded. Make the connection again for the next.")
        return number

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        runs = readouts.runs(baseline=self.baseline)
        return super().get_context_data(
            baseline=self.baseline,
            runs_before=runs,
            by_measurand=readouts.by_measurand(runs),
            least=baselines.LEAST_REPEATS,
            advised=baselines.LEAST_REPEATS_FOR_ASSESSMENT,
            **context,
        )

    def get_success_url(self) -> str:
        return reverse("baseline-run", args=[self.baseline.pk])


class BaselineHandOver(VerbButtonView):
    permission = Permission.BASELINE_RECORD

    @cached_property
    def baseline(self) -> Baseline:
        return get_object_or_404(Baseline.objects.visible_to(self.person), pk=self.kwargs["pk"])

    def carry_out(self) -> str:
        baselines.hand_over(baseline=self.baseline, by=self.person, at=self.now)
        messages.success(self.request, "The baseline waits for a second person now.")
        return reverse("rig-detail", args=[self.baseline.rig_id])

    def came_from(self) -> str:
        return reverse("rig-detail", args=[self.baseline.rig_id])
