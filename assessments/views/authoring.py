"""Writing a task: beginning a draft, its particulars, checking it, publishing it or setting it aside."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import drafts
from assessments.draft_changes import PARTICULARS, changes, differing
from assessments.draft_checks import Problem, problems, range_rows
from assessments.draft_forms.particulars import (
    ImportForm,
    NewTaskForm,
    ParticularsForm,
    PublishForm,
    SetAsideForm,
)
from assessments.draft_steps import NoSuchPlaceError, at, inner, is_group, number_of, text_of, walk
from assessments.models import TaskDraft, TaskVersion
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.surroundings import Surroundings, surroundings_of


class Writing(AccessMixin, View):
    """A view for those who write tasks."""

    permission = Permission.TASK_MANAGE
    section = "tasks"

    @cached_property
    def known(self) -> Surroundings:
        return surroundings_of(centre=self.centre)


class AboutDraft(Writing):
    """A view about one draft of the centre's own. One that has come to its end isn't shown any more.

    What is sent to one is for its verb to refuse, so that nothing that was typed is lost.
    """

    @cached_property
    def draft(self) -> TaskDraft:
        found = TaskDraft.objects.visible_to(self.person).select_related("centre", "task", "changed_by")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.draft.ending:
            messages.info(request, f"The {self.draft} was {self.draft.get_ending_display()}.")
            return redirect("task-list")
        response: HttpResponse = super().get(request, *args, **kwargs)  # type: ignore[misc]
        return response

    @property
    def back(self) -> str:
        return reverse("draft-detail", args=[self.draft.pk])

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        return problems(self.draft.data, known=self.known)


class DraftForm(AboutDraft, VerbFormView):
    """A form whose save is refused if somebody saved the draft in between: both states are then shown.

    What was typed stays in the form, which from then on knows the newer revision.
    """

    words: Mapping[str, str] = {}
    stale: dict[str, Any] | None = None

    def get_initial(self) -> dict[str, Any]:
        return {"revision": self.draft.revision}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return {"back": self.back, "draft": self.draft, "stale": self.stale} | super().get_context_data(
            **context
        )

    def form_valid(self, form: forms.Form) -> HttpResponse:
        try:
            return super().form_valid(form)
        except NoSuchPlaceError:
            form.add_error(None, "This step isn’t in the draft any more. Copy what you need from it.")
            return self.form_invalid(form)

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        if self.stale is not None:
            data = self.request.POST.copy()
            data["revision"] = str(self.stale["revision"])
            form.data = data
        return super().form_invalid(form)

    def save(self, edit: Any, *, revision: int, mine: Any = None, theirs: Any = None) -> TaskDraft:
        """Change the draft. When it is stale, ``theirs`` finds in the newer data what ``mine`` replaces."""
        try:
            return drafts.change(draft=self.draft, revision=revision, edit=edit, by=self.person, at=self.now)
        except drafts.Stale as stale:
            fields = differing(theirs(stale.held.data), mine, words=self.words) if theirs else ()
            self.stale = {"revision": stale.held.revision, "fields": fields}
            raise


class DraftCreate(Writing, VerbFormView):
    form_class = NewTaskForm
    heading = "Write a new task"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"known": self.known}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("task-list"), **context)

    def carry_out(self, form: forms.Form) -> TaskDraft:
        return drafts.begin(centre=self.centre, **form.cleaned_data, by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("draft-particulars", args=[self.done.pk])


class DraftBegin(Writing):
    """A draft from an issued version; the one that is open already, if there is one."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *_args: Any, **_kwargs: Any) -> HttpResponse:
        found = TaskVersion.objects.visible_to(self.person).select_related("task__centre")
        version = get_object_or_404(found, pk=self.kwargs["pk"])
        draft = drafts.begin_from(version=version, by=self.person, at=self.now)
        return redirect("draft-detail", draft.pk)


class DraftImport(Writing, VerbFormView):
    form_class = ImportForm
    heading = "Read a task from a file"
    intro = "It becomes a draft: nothing is issued before you have checked and published it."

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("task-list"), **context)

    def carry_out(self, form: forms.Form) -> TaskDraft:
        return drafts.begin_from_file(
            centre=self.centre, data=form.cleaned_data["task"], by=self.person, at=self.now
        )

    def get_success_url(self) -> str:
        return reverse("draft-detail", args=[self.done.pk])


class DraftDetail(AboutDraft, TemplateView):
    """The draft's particulars and steps, each with what is wrong with it, and what can be done with it."""

    template_name = "assessments/draft-detail.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            draft=self.draft,
            rows=self._rows(),
            problems=self.problems,
            of_particulars=[each for each in self.problems if each.place is None],
            designs=self.known.of(self.draft.data["designs"]),
            end=text_of((len(self.draft.data["steps"]) + 1,)),
            **context,
        )

    def _rows(self) -> list[dict[str, Any]]:
        steps = self.draft.data["steps"]
        rows = []
        for place, node in walk(steps):
            siblings = len(steps) if len(place) == 1 else len(inner(at(steps, place[:1])))
            rows.append(
                {
                    "place": text_of(place),
                    "number": number_of(place),
                    "title": node.get("title") or node.get("slug") or "Without a title",
                    "kind": kind_words(node),
                    "times": node.get("repeat"),
                    "is_critical": node.get("safety_critical", False),
                    "is_group": is_group(node),
                    "is_inner": len(place) > 1,
                    "is_first": place[-1] == 1,
                    "is_last": place[-1] == siblings,
                    "problems": [each.text for each in self.problems if each.place == place],
                    "may_insert": len(place) == 1 or "repeat" in at(steps, place[:1]),
                    "last_inside": text_of((*place, len(inner(node)) + 1)) if "repeat" in node else "",
                }
            )
        return rows


def kind_words(node: Mapping[str, Any]) -> str:
    """A step's kind, and how it is judged."""
    kind, check = node.get("kind", ""), node.get("judged_by", "")
    words = StepKind(kind).label if kind in StepKind.values else str(kind)
    judged = ReadingCheck(check).label if check in ReadingCheck.values else str(check)
    return f"{words}: {judged}" if judged else words


class DraftParticulars(DraftForm):
    form_class = ParticularsForm
    template_name = "assessments/draft-form.html"
    heading = "Particulars"
    words = PARTICULARS

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"known": self.known, "task": self.draft.data}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = [each.text for each in self.problems if each.place is None]
        return super().get_context_data(found=found, **context)

    def carry_out(self, form: forms.Form) -> TaskDraft:
        assert isinstance(form, ParticularsForm)
        mine = form.particulars()
        return self.save(
            lambda data: {**data, **mine},
            revision=form.cleaned_data["revision"],
            mine=mine,
            theirs=lambda data: data,
        )

    def get_success_url(self) -> str:
        return self.back


class DraftPublish(DraftForm):
    """What a check finds, which rigs have the ranges, what would change; and publishing it."""

    form_class = PublishForm
    template_name = "assessments/draft-publish.html"
    heading = "Check and publish"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        steps = self.draft.data["steps"]
        before = drafts.before(self.draft, known=self.known)
        return super().get_context_data(
            problems=[self._linked(each, steps) for each in self.problems],
            ranges=range_rows(self.draft.data, known=self.known),
            is_new=before is None,
            changes=() if before is None else changes(before=before, after=self.draft.data),
            **context,
        )

    def _linked(self, problem: Problem, steps: Any) -> dict[str, Any]:
        if problem.place is None:
            page, title = reverse("draft-particulars", args=[self.draft.pk]), "Particulars"
            if problem.field == "steps":
                page, title = self.back, "Steps"
        else:
            node = at(steps, problem.place)
            page = reverse("draft-step", args=[self.draft.pk, text_of(problem.place)])
            title = f"{number_of(problem.place)} {node.get('title', '')}".strip()
        anchor = f"#div_id_{problem.field}" if problem.field else ""
        return {"text": problem.text, "title": title, "url": f"{page}{anchor}"}

    def carry_out(self, form: forms.Form) -> tuple[TaskVersion, ...]:
        try:
            return drafts.publish(
                draft=self.draft, revision=form.cleaned_data["revision"], by=self.person, at=self.now
            )
        except drafts.Stale:
            # What the page shows is what may be sent next, be there something newer still.
            self.stale = {"revision": self.draft.revision, "fields": ()}
            raise

    def get_success_url(self) -> str:
        for version in self.done:
            messages.success(self.request, f"{version}, on {version.design}, is in force.")
        return reverse("task-version", args=[self.done[0].pk])


class DraftSetAside(AboutDraft, VerbFormView):
    form_class = SetAsideForm
    heading = "Set the draft aside"

    @property
    def intro(self) -> str:
        return f"{self.draft.title}. Nothing of it is published, and it is no longer listed."

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.back, **context)

    def carry_out(self, form: forms.Form) -> None:
        drafts.set_aside(draft=self.draft, by=self.person, at=self.now)
        messages.success(self.request, f"The draft of “{self.draft.title}” is set aside.")

    def get_success_url(self) -> str:
        return reverse("task-list")
