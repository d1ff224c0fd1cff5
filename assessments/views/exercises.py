"""Standardisation: verifiers ask for decisions, compare and rule; assessors decide blind, and read."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView, TemplateView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import disclosure, exercises, outcomes, rights
from assessments.comparing import alike
from assessments.exercise_forms import ExerciseCloseForm, ExerciseDecisionForm, ExerciseForm, RulingForm
from assessments.models import Exercise, ExerciseDecision, ExerciseItem, Ruling, SignOff, Task
from assessments.models.decisions import Decision
from assessments.showing import shown

OFFERED = 60
"""How many of the newest decisions are offered at once; the task narrows them down."""


class ReadsExercises(AccessMixin):
    """Whoever reads verification reads every exercise of the centre; an assessor those they are in."""

    permission = Permission.EXERCISE_READ
    section = "verification"

    @property
    def reads_all(self) -> bool:
        return Permission.VERIFICATION_READ in request_permissions(self.request)

    def readable(self) -> QuerySet[Exercise]:
        found = Exercise.objects.visible_to(self.person)
        return found if self.reads_all else found.of(self.person)


class ExerciseList(ReadsExercises, ListView):
    template_name = "assessments/exercise-list.html"
    context_object_name = "exercises"
    paginate_by = 20

    def get_queryset(self) -> QuerySet[Exercise]:
        return (
            self.readable()
            .select_related("opened_by")
            .annotate(attempts=Count("items", distinct=True))
            .order_by("-opened_at")
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            to_decide=exercises.to_decide(self.person), to_read=exercises.to_read(self.person), **context
        )


class ExerciseCreate(VerbFormView):
    permission = Permission.VERIFICATION_DO
    template_name = "assessments/exercise-create.html"
    form_class = ExerciseForm
    section = "verification"

    @cached_property
    def task(self) -> Task | None:
        """The one whose decisions are offered; all of them without one."""
        try:
            return Task.objects.filter(centre=self.centre, pk=UUID(self.request.GET.get("task", ""))).first()
        except ValueError:
            return None

    def get_form_kwargs(self) -> dict[str, Any]:
        apart = rights.candidates_apart(person=self.person, on=self.today)
        decided = exercises.eligible(centre=self.centre).exclude(
            attempt__candidate__in=apart.values("candidate")
        )
        if self.task is not None:
            decided = decided.filter(attempt__version__task=self.task)
        people = exercises.assessors_in_post(centre=self.centre, on=self.today).exclude(pk=self.person.pk)
        return super().get_form_kwargs() | {"people": people, "decided": decided[:OFFERED]}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            tasks=Task.objects.filter(centre=self.centre), task=self.task, offered=OFFERED, **context
        )

    def carry_out(self, form: forms.Form) -> Exercise:
        return exercises.open_exercise(centre=self.centre, **form.cleaned_data, by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("exercise-detail", args=[self.done.pk])


class ExerciseDetail(ReadsExercises, TemplateView):
    """While it is open, how far each is; once it is closed, everything beside everything."""

    template_name = "assessments/exercise-detail.html"

    @cached_property
    def exercise(self) -> Exercise:
        found = self.readable().select_related("opened_by", "closed_by")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        exercise = self.exercise
        items = list(
            exercise.items.select_related("attempt__version__task", "attempt__rig").prefetch_related(
                "rulings__criterion", "rulings__made_by"
            )
        )
        participants = list(exercise.participants.select_related("assessor"))
        mine = next((each for each in participants if each.assessor_id == self.person.pk), None)
        return super().get_context_data(
            exercise=exercise,
            participants=self._progress(participants),
            mine=mine,
            decides=mine is not None and mine.invited,
            confirms=exercises.to_read(self.person).filter(exercise=exercise).exists(),
            rows=self._rows(items),
            attempts=len(items),
            comparison=self.comparison,
            meaning=alike.meaning(self.comparison.compared)
            if self.comparison and self.comparison.compared
            else "",
            **context,
        )

    @cached_property
    def comparison(self) -> exercises.Comparison | None:
        return exercises.comparison(self.exercise)

    def _progress(self, participants: list[Any]) -> list[tuple[Any, int]]:
        made = (
            ExerciseDecision.objects.filter(item__exercise=self.exercise)
            .order_by()
            .values_list("assessor")
            .annotate(made=Count("pk"))
        )
        counts = dict(made)
        return [(each, counts.get(each.assessor_id, 0)) for each in participants]

    def _rows(self, items: list[ExerciseItem]) -> list[dict[str, Any]]:
        own = set(
            ExerciseDecision.objects.filter(item__exercise=self.exercise, assessor=self.person).values_list(
                "item", flat=True
            )
        )
        found = self.comparison
        differing = found.compared.differing if found and found.compared else ()
        critical = found.compared.critical if found and found.compared else ()
        return [
            {
                "item": item,
                "decided": item.pk in own,
                "cells": [
                    (found.decisions[item.pk, person.pk], (item.pk, person.pk) in found.own)
                    for person in found.assessors
                ]
                if found
                else [],
                "differs": str(item.pk) in differing,
                "critical": str(item.pk) in critical,
                "rulings": list(item.rulings.all()),
            }
            for item in items
        ]


class ExerciseItemDecide(VerbFormView):
    """One attempt as it was reviewed, without its decision and without whose it is."""

    permission = Permission.ATTEMPT_DECIDE
    template_name = "assessments/exercise-item.html"
    form_class = ExerciseDecisionForm
    section = "verification"

    @cached_property
    def item(self) -> ExerciseItem:
        mine = Exercise.objects.visible_to(self.person).filter(
            participants__assessor=self.person, participants__invited=True
        )
        found = ExerciseItem.objects.filter(exercise__in=mine).select_related(
            "exercise__centre",
            "outcome",
            "attempt__rig",
            "attempt__version__task",
            "attempt__fault__fault",
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @cached_property
    def made(self) -> ExerciseDecision | None:
        return self.item.decisions.filter(assessor=self.person).first()

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.item.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=self.item.attempt.rig, at=self.now)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        item = self.item
        marking = outcomes.marking_of(item.outcome)
        return super().get_context_data(
            item=item,
            attempt=item.attempt,
            asked=item.exercise.items.count(),
            made=self.made,
            was_own=SignOff.objects.filter(attempt=item.attempt, assessor=self.person).exists(),
            marking=marking,
            sheet=shown(attempt=item.attempt, marking=marking, with_numbers=True),
            **context,
        )

    def carry_out(self, form: forms.Form) -> ExerciseDecision:
        given = form.cleaned_data
        return exercises.decide(
            item=self.item,
            assessor=self.person,
            decision=Decision(given["decision"]),
            reason=given["reason"],
            at=self.now,
        )

    def get_success_url(self) -> str:
        """The next that is undecided; the exercise when none is."""
        undecided = self.item.exercise.items.exclude(decisions__assessor=self.person).first()
        if undecided is not None:
            return reverse("exercise-item", args=[undecided.pk])
        messages.success(self.request, "You have decided on every attempt.")
        return reverse("exercise-detail", args=[self.item.exercise_id])


class ExerciseClose(VerbFormView):
    permission = Permission.VERIFICATION_DO
    form_class = ExerciseCloseForm
    section = "verification"
    heading = "Close the exercise"

    @cached_property
    def exercise(self) -> Exercise:
        return get_object_or_404(Exercise.objects.visible_to(self.person), pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        asked = self.exercise.participants.filter(invited=True).count()
        left = sum(1 for _ in self._unfinished())
        return (
            f"Nobody can decide after that, and everybody sees what the others decided. {asked - left} of "
            f"{asked} assessors have decided on every attempt; the others, and those who weren’t asked, are "
            "told to read what comes of it."
        )

    def _unfinished(self) -> QuerySet[Any]:
        whole = self.exercise.items.count()
        made = (
            ExerciseDecision.objects.filter(item__exercise=self.exercise)
            .order_by()
            .values("assessor")
            .annotate(made=Count("pk"))
            .filter(made=whole)
            .values("assessor")
        )
        return self.exercise.participants.filter(invited=True).exclude(assessor__in=made)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> Exercise:
        return exercises.close(exercise=self.exercise, by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("exercise-detail", args=[self.exercise.pk])


class ExerciseRule(VerbFormView):
    permission = Permission.VERIFICATION_DO
    form_class = RulingForm
    section = "verification"

    @cached_property
    def item(self) -> ExerciseItem:
        found = ExerciseItem.objects.filter(exercise__centre=self.person.centre_id).select_related(
            "exercise", "attempt__version__task"
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def heading(self) -> str:
        return f"{self.item}: a ruling"

    @property
    def intro(self) -> str:
        return (
            f"{self.item.attempt.version.task}. It says how such an attempt is decided from now on; the "
            "decision on this one stays as it is. If the task’s own words have to change, that is a new "
            "version."
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"criteria": self.item.attempt.version.criteria.all()}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> Ruling:
        return exercises.rule(item=self.item, **form.cleaned_data, by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("exercise-detail", args=[self.item.exercise_id])


class ExerciseRead(ReadsExercises, View):
    """An assessor who was away says that they have read it."""

    permission = Permission.ATTEMPT_DECIDE
    http_method_names = ("post",)

    def post(self, request: HttpRequest, pk: UUID) -> HttpResponse:
        exercise = get_object_or_404(self.readable(), pk=pk)
        try:
            exercises.confirm_read(exercise=exercise, assessor=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, "Noted: you have read it.")
        return redirect("exercise-detail", exercise.pk)
