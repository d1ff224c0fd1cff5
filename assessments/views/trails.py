"""One candidate, one task, from evidence to decision; and the way there from a name."""

from typing import Any

from django.db.models import Count, F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from academy.access import AccessMixin
from academy.models import Person
from academy.permissions import Permission
from assessments import disclosure, trails
from assessments.models import Attempt, Task

MOST_FOUND = 50


class TrailFind(AccessMixin, TemplateView):
    """Finds trails by parts of a candidate's name and a task's title, and opens the only one that fits."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/trail-find.html"
    section = "review"

    @property
    def query(self) -> str:
        return self.request.GET.get("q", "").replace("\0", "").strip()

    @cached_property
    def found(self) -> list[dict[str, Any]]:
        return list(self._matching()[: MOST_FOUND + 1]) if self.query else []

    def _matching(self) -> Any:
        found = Attempt.objects.visible_to(self.person)
        for word in self.query.split():
            found = found.filter(
                Q(candidate__name__icontains=word)
                | Q(version__task__title__icontains=word)
                | Q(version__task__slug__icontains=word)
            )
        return (
            found.values("candidate", name=F("candidate__name"), title=F("version__task__title"))
            .annotate(task=F("version__task"), attempts=Count("pk"))
            .order_by("name", "version__task__position")
        )

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if len(self.found) == 1:
            return redirect("trail-detail", self.found[0]["candidate"], self.found[0]["task"])
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            query=self.query,
            found=self.found[:MOST_FOUND],
            more=len(self.found) > MOST_FOUND,
            **context,
        )


class TrailPage(AccessMixin, TemplateView):
    """A trail has the rigs' figures in it: whoever is shown one is remembered for each rig."""

    template_name = "assessments/trail-detail.html"

    def shown(self, *, candidate: Person, task: Task) -> trails.Trail:
        found = trails.trail(candidate=candidate, task=task)
        rigs = {each.attempt.rig for each in found.attempts if each.attempt.sheet_id}
        disclosure.note_all_seen(person=self.person, rigs=rigs, at=self.now)
        return found


class TrailDetail(TrailPage):
    """The same for staff, with the way to each record."""

    permission = Permission.ATTEMPT_READ
    section = "review"

    @cached_property
    def candidate(self) -> Person:
        return get_object_or_404(Person.objects.visible_to(self.person), pk=self.kwargs["candidate"])

    @cached_property
    def task(self) -> Task:
        return get_object_or_404(Task.objects.filter(centre=self.centre), pk=self.kwargs["task"])

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = trails.with_flags(self.shown(candidate=self.candidate, task=self.task), reader=self.person)
        return super().get_context_data(trail=found, links=True, visit=None, **context)
