"""Cohort by task: who stands where, who is stuck, what is left, and how it came out."""

from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.models import Cohort, Person, Role
from academy.permissions import Permission
from academy.transfer.downloads import table
from academy.views.verb_form import VerbFormView
from assessments import cohort_charts, cohort_exports, cohort_progress, cohort_rates, progress, stuck
from assessments.cohort_forms import EVERYBODY, MatrixForm, TimeForm
from assessments.cohort_progress import Board
from assessments.cohort_records import Records, records
from assessments.forms import PlanForm, PriorForm
from assessments.models import CohortTask, Task
from assessments.views.downloading import as_response

ROWS_A_PAGE = 50
MONTH = timedelta(days=30.44)


class AsksOfCohorts(AccessMixin):
    """A filtered matrix: one cohort, the newest unless another is asked for, or all that are at work."""

    permission = Permission.COHORT_READ
    section = "cohorts"

    @cached_property
    def cohorts(self) -> list[Cohort]:
        return list(Cohort.objects.visible_to(self.person))

    @cached_property
    def tasks(self) -> list[Task]:
        planned = CohortTask.objects.filter(cohort__in=self.chosen).values("task")
        return list(Task.objects.filter(pk__in=planned))

    @cached_property
    def chosen(self) -> list[Cohort]:
        wanted = self.request.GET.get("cohort", "")
        if wanted == EVERYBODY:
            return [each for each in self.cohorts if each.starts_on <= self.today <= each.ends_on]
        return [each for each in self.cohorts if str(each.pk) == wanted] or self.cohorts[:1]

    @property
    def cohort(self) -> Cohort | None:
        """The one that is shown; None where it is all of them."""
        everybody = self.request.GET.get("cohort") == EVERYBODY
        return self.chosen[0] if self.chosen and not everybody else None

    @cached_property
    def form(self) -> MatrixForm:
        shown = str(self.cohort.pk) if self.cohort else EVERYBODY
        given = {**self.request.GET.dict(), "cohort": shown}
        return MatrixForm(given, cohorts=self.cohorts, tasks=self.tasks)

    @cached_property
    def records(self) -> Records:
        return records(centre=self.centre, cohorts=self.chosen, on=self.today)

    @cached_property
    def whole(self) -> Board:
        return cohort_progress.board(self.records)

    @property
    def board(self) -> Board:
        """What the filters leave; a filter that makes no sense leaves out nothing."""
        self.form.is_valid()
        asked = self.form.cleaned_data
        show = asked.get("show") or ""
        found = self.whole.those(
            stuck_only=show == "stuck",
            near_end=show == "near-end",
            why=stuck.Why(show) if show in set(stuck.Why) else None,
        )
        task = next((each for each in self.tasks if str(each.pk) == asked.get("task")), None)
        return found.of_task(task) if task else found


class CohortMatrix(AsksOfCohorts, TemplateView):
    """Candidate by task, fifty to a page. As many queries for a thousand candidates as for ten."""

    template_name = "assessments/cohort-matrix.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        board = self.board
        page = Paginator(board.rows, ROWS_A_PAGE).get_page(self.request.GET.get("page"))
        return super().get_context_data(
            form=self.form,
            cohorts=self.cohorts,
            cohort=self.cohort,
            board=board,
            page_obj=page,
            members=len(self.whole.rows),
            stuck=sum(bool(row.stuck) for row in self.whole.rows),
            minutes=cohort_progress.minutes_left(self.whole.rows),
            standings=[each for each in progress.Standing if each != progress.Standing.NOT_STARTED],
            **context,
        )


class CohortExport(AsksOfCohorts, View):
    """The matrix as it is filtered, or the first-time shares, as a file."""

    def get(self, request: HttpRequest) -> HttpResponse:
        wanted = request.GET.get("as", "")
        if request.GET.get("what") == "rates":
            header, rows = cohort_exports.rates(cohort_rates.task_rates(self.records))
            name = "first-time-rates"
        else:
            header, rows = cohort_exports.matrix(self.board)
            name = "cohort-matrix"
        return as_response(table(header, rows, title="Cohort", wanted=wanted), name=name)


class CohortDetail(AccessMixin, TemplateView):
    """One cohort: whether what is left fits into the time left, how it came out, how old evidence is."""

    permission = Permission.COHORT_READ
    template_name = "assessments/cohort-detail.html"
    section = "cohorts"

    @cached_property
    def cohort(self) -> Cohort:
        return get_object_or_404(Cohort.objects.visible_to(self.person), pk=self.kwargs["pk"])

    @cached_property
    def form(self) -> TimeForm:
        first = {
            "sessions": cohort_progress.sessions_to_come(
                centre=self.centre, cohort=self.cohort, on=self.today
            ),
            "minutes": cohort_progress.SESSION_MINUTES,
            "months": cohort_rates.EVIDENCE_MONTHS,
        }
        return TimeForm(first | {name: value for name, value in self.request.GET.items() if value})

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        everybody = Cohort.objects.visible_to(self.person).filter(
            starts_on__lte=self.today, ends_on__gte=self.today
        )
        at_work = {*everybody, self.cohort}
        found = records(centre=self.centre, cohorts=at_work, on=self.today)
        board = cohort_progress.board(found)
        own = found.of_cohort(self.cohort)
        asked = self.form.cleaned_data if self.form.is_valid() else {}
        charts = cohort_charts.weeks_of(own, [self.cohort])
        return super().get_context_data(
            cohort=self.cohort,
            form=self.form,
            rows=[row for row in board.rows if row.cohort == self.cohort],
            left=cohort_progress.time_left(
                own,
                cohort=self.cohort,
                sessions=asked["sessions"],
                session_minutes=asked["minutes"],
                others=cohort_progress.minutes_left(row for row in board.rows if row.cohort != self.cohort),
            )
            if asked
            else None,
            rates=cohort_rates.task_rates(own),
            ages=cohort_rates.evidence_ages(own, limit=self.today - asked["months"] * MONTH) if asked else (),
            months=asked.get("months"),
            chart=charts[0] if charts else None,
            **context,
        )


class CohortWeeks(AccessMixin, TemplateView):
    """Every cohort at work, how far it has come week by week, on one scale."""

    permission = Permission.COHORT_READ
    template_name = "assessments/cohort-weeks.html"
    section = "cohorts"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        recent = self.today - timedelta(days=90)
        cohorts = list(
            Cohort.objects.visible_to(self.person).filter(starts_on__lte=self.today, ends_on__gte=recent)
        )
        found = records(centre=self.centre, cohorts=cohorts, on=self.today)
        return super().get_context_data(charts=cohort_charts.weeks_of(found, cohorts), **context)


class CohortPlan(VerbFormView):
    """Plan a task for a cohort."""

    permission = Permission.COHORT_MANAGE
    form_class = PlanForm
    section = "cohorts"
    heading = "Plan a task"

    @cached_property
    def cohort(self) -> Cohort:
        return get_object_or_404(
            Cohort.objects.visible_to(self.person).select_related("centre"), pk=self.kwargs["pk"]
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        tasks = Task.objects.filter(centre=self.centre, versions__withdrawn_at=None).distinct()
        return super().get_form_kwargs() | {"tasks": tasks.exclude(planned_for__cohort=self.cohort)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> object:
        return progress.plan(cohort=self.cohort, task=form.cleaned_data["task"], by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return f"{reverse('cohort-matrix')}?cohort={self.cohort.pk}"


class PriorRecord(VerbFormView):
    """Record what a candidate achieved before, elsewhere or on paper."""

    permission = Permission.PRIOR_RECORD
    form_class = PriorForm
    section = "cohorts"
    intro = "For what was assessed elsewhere, or on paper before. It opens the tasks that build on it."

    @cached_property
    def candidate(self) -> Person:
        people = Person.objects.visible_to(self.person).holding(Role.Kind.CANDIDATE, on=self.today)
        return get_object_or_404(people, pk=self.kwargs["pk"])

    @property
    def heading(self) -> str:
        return f"{self.candidate}: achieved before"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"tasks": Task.objects.filter(centre=self.centre)}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        prior = progress.record_prior(
            candidate=self.candidate,
            task=given["task"],
            achieved_on=given["achieved_on"],
            evidence=given["evidence"],
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, f"Recorded for {self.candidate}.")
        return prior

    def get_success_url(self) -> str:
        return reverse("cohort-matrix")
