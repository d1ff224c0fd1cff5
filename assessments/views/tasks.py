"""The centre's tasks: all of them, and one version as it was issued."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count, Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, ListView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import drafts, task_files, task_words
from assessments.draft_forms.particulars import WithdrawForm
from assessments.models import Task, TaskDraft, TaskVersion


class TaskList(AccessMixin, ListView):
    """Every task with what is in force of it, and the drafts that somebody is writing."""

    permission = Permission.TASK_READ
    template_name = "assessments/task-list.html"
    context_object_name = "tasks"
    section = "tasks"

    def get_queryset(self) -> QuerySet[Task]:
        in_force = TaskVersion.objects.in_force().select_related("design").order_by("design__name")
        newest_first = TaskVersion.objects.order_by("-issued_at", "-number")
        return (
            Task.objects.filter(centre=self.centre)
            .annotate(attempts=Count("versions__attempts"))
            .prefetch_related(
                Prefetch("versions", in_force.prefetch_related("requires", "criteria"), to_attr="in_force"),
                Prefetch("versions", newest_first, to_attr="newest_first"),
            )
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        known = TaskDraft.objects.visible_to(self.person).open().select_related("changed_by")
        return super().get_context_data(drafts=known, **context)


class AboutVersion(AccessMixin):
    """A view about one version of the centre's own."""

    section = "tasks"
    kwargs: dict[str, Any]

    @cached_property
    def version(self) -> TaskVersion:
        found = TaskVersion.objects.visible_to(self.person).select_related(
            "task__centre", "design", "issued_by", "withdrawn_by"
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])


class TaskVersionDetail(AboutVersion, DetailView):
    """The whole task as it was issued, what is right included, and its other versions."""

    permission = Permission.TASK_READ
    template_name = "assessments/task-version.html"
    context_object_name = "version"

    def get_object(self, queryset: Any = None) -> TaskVersion:
        return self.version

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        steps = self.version.steps.select_related(
            "condition", "measurand__test_point", "measurand__condition"
        ).order_by("position")
        others = (
            TaskVersion.objects.filter(task=self.version.task)
            .exclude(pk=self.version.pk)
            .select_related("design", "issued_by")
            .order_by("-issued_at", "-number")
        )
        return super().get_context_data(
            steps=task_words.in_words(list(steps)),
            others=others,
            attempts=self.version.attempts.count(),
            draft=TaskDraft.objects.filter(task=self.version.task).open().first(),
            **context,
        )


class TaskExport(AboutVersion, View):
    """The version's task as a file, to be kept, changed or read in elsewhere."""

    permission = Permission.TASK_READ

    def get(self, request: HttpRequest, *_args: Any, **_kwargs: Any) -> HttpResponse:
        response = HttpResponse(
            task_files.write(drafts.source_of(self.version)), content_type="application/json; charset=utf-8"
        )
        name = f"{self.version.task.slug}-{self.version.design.slug}-{self.version.number}.json"
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        return response


class TaskWithdraw(AboutVersion, VerbFormView):
    permission = Permission.TASK_MANAGE
    form_class = WithdrawForm
    heading = "Withdraw a version"

    @property
    def intro(self) -> str:
        words = "Attempts on it can be finished; none can be started."
        return f"{self.version}, on {self.version.design}. {words}"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> None:
        drafts.withdraw(
            version=self.version, because=form.cleaned_data["because"], by=self.person, at=self.now
        )
        messages.success(self.request, f"{self.version} is withdrawn.")

    def get_success_url(self) -> str:
        return reverse("task-version", args=[self.version.pk])
