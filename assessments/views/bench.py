"""The candidate's first screens: what to carry on with, which rig, which task, and starting."""

from datetime import timedelta
from typing import Any

from django import forms
from django.db.models import Count, Prefetch, Q, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, TemplateView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import adjustments, attempts, progress, rotation_table, stops
from assessments.forms import StartForm
from assessments.models import Attempt, AttemptInstrument, AttemptReturn, TaskVersion
from assessments.models.attempts import AT_WORK, AttemptStatus, Purpose
from rigs.models import Instrument, Rig

RECENT = 8
NEWS_FOR = timedelta(days=14)  # a void attempt stays on the first screen until then


class BenchHome(AccessMixin, TemplateView):
    """What do I do now: carry on, pick a rig, look at results."""

    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/bench-home.html"
    section = "bench"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        mine = Attempt.objects.of(self.person).select_related("rig", "version__task")
        return super().get_context_data(
            returned=mine.filter(status=AttemptStatus.RETURNED).prefetch_related(
                Prefetch("returns", AttemptReturn.objects.open().prefetch_related("steps"), to_attr="now")
            ),
            open_attempts=mine.filter(status=AttemptStatus.OPEN),
            waiting=mine.filter(status__in=(AttemptStatus.SUBMITTED, AttemptStatus.COUNTERSIGN)).order_by(
                "-submitted_at"
            ),
            void=mine.filter(status=AttemptStatus.VOID, void__at__gt=self.now - NEWS_FOR).select_related(
                "void"
            ),
            adjustments=adjustments.in_force(candidate=self.person, on=self.today),
            decided=mine.filter(status=AttemptStatus.SIGNED_OFF)
            .with_decision()
            .order_by("-submitted_at")[:RECENT],
            rigs=self._rigs(),
            planned=rotation_table.places_of(candidate=self.person, at=self.now),
            **context,
        )

    @cached_property
    def stopped(self) -> str:
        stop = stops.standing(centre=self.centre)
        return stops.words_for(stop) if stop else ""

    def _rigs(self) -> QuerySet[Rig]:
        return (
            Rig.objects.visible_to(self.person)
            .in_use()
            .with_state()
            .select_related("design")
            .annotate(
                tasks=Count(
                    "design__task_versions", filter=Q(design__task_versions__withdrawn_at=None), distinct=True
                )
            )
            .filter(tasks__gt=0)
        )


class BenchRig(AccessMixin, DetailView):
    """The tasks for this rig and this person."""

    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/bench-rig.html"
    context_object_name = "rig"
    section = "bench"

    def get_queryset(self) -> QuerySet[Rig]:
        return Rig.objects.visible_to(self.person).in_use().with_state().select_related("design")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        versions = list(
            TaskVersion.objects.in_force()
            .filter(design=self.object.design)
            .select_related("task")
            .prefetch_related("requires")
            .order_by("task__position")
        )
        standings = progress.standings_of([self.person], [version.task for version in versions])
        achieved = progress.achieved_tasks(self.person)
        mine = Attempt.objects.of(self.person).filter(rig=self.object, status__in=AT_WORK)
        resumed = {attempt.version_id: attempt for attempt in mine}
        rows = [
            {
                "version": version,
                "standing": standings.get((self.person.pk, version.task_id), (None, 0))[0],
                "missing": [task for task in version.requires.all() if task.pk not in achieved],
                "open": resumed.get(version.pk),
            }
            for version in versions
        ]
        return super().get_context_data(rows=rows, **context)


class AttemptStart(VerbFormView):
    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/attempt-start.html"
    form_class = StartForm
    section = "bench"

    @cached_property
    def rig(self) -> Rig:
        rigs = Rig.objects.visible_to(self.person).in_use().select_related("centre", "design")
        return get_object_or_404(rigs, pk=self.kwargs["rig"])

    @cached_property
    def version(self) -> TaskVersion:
        versions = (
            TaskVersion.objects.visible_to(self.person)
            .select_related("task", "design")
            .prefetch_related("requires")
        )
        return get_object_or_404(versions, pk=self.kwargs["version"], design=self.rig.design_id)

    @cached_property
    def reasons(self) -> list[str]:
        return attempts.why_not_assessed(
            candidate=self.person, version=self.version, rig=self.rig, at=self.now
        )

    @cached_property
    def kinds(self) -> list[str]:
        return attempts.kinds_needed(self.version)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "centre": self.centre,
            "kinds": self.kinds,
            "purposes": [Purpose.PRACTICE] if self.reasons else list(Purpose),
        }

    def get_initial(self) -> dict[str, Any]:
        """The instruments used last: at a bench it is nearly always the same set."""
        used = AttemptInstrument.objects.filter(attempt__candidate=self.person, kind__in=self.kinds)
        return dict(used.order_by("attempt__started_at").values_list("kind", "instrument"))

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            rig=self.rig, version=self.version, reasons=self.reasons, minutes=self._minutes(), **context
        )

    def _minutes(self) -> int:
        """The guide minutes, with the extra time that was agreed on."""
        agreed = adjustments.in_force(candidate=self.person, on=self.today)
        return adjustments.minutes(self.version.guide_minutes, agreed)

    def carry_out(self, form: forms.Form) -> Attempt:
        given = form.cleaned_data
        chosen: dict[str, Instrument] = {kind: given[kind] for kind in self.kinds}
        return attempts.start(
            id=given["id"],
            candidate=self.person,
            version=self.version,
            rig=self.rig,
            purpose=given["purpose"],
            chosen=chosen,
            cautions_read=given["cautions_read"],
            at=self.now,
        )

    def get_success_url(self) -> str:
        return reverse("attempt-step", args=[self.done.pk, 1])
