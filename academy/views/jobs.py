"""How far a job has come, for whoever asked for it."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, View

from academy import jobs
from academy.access import AccessMixin
from academy.models import Job, JobState
from academy.permissions import Permission

REFRESH_SECONDS = 3


class JobPage(AccessMixin):
    permission = Permission.SIGNED_IN

    def get_queryset(self) -> QuerySet[Job]:
        return Job.objects.of(self.person)


class JobDetail(JobPage, DetailView):
    """Comes back by itself while the job isn't over, and leads to what was made when it is."""

    template_name = "academy/job-detail.html"
    context_object_name = "job"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        job = self.object
        over = job.state in {JobState.DONE, JobState.FAILED}
        kind = jobs.kind_of(job.kind)
        silent = jobs.is_silent(job, at=self.now)
        return super().get_context_data(
            title=kind.title,
            refresh=None if over or silent else REFRESH_SECONDS,
            result=reverse(kind.result, args=[job.made]) if job.made else "",
            silent=silent,
            step=min(job.done + 1, job.total),
            unseen=jobs.is_unseen(job, at=self.now),
            **context,
        )


class JobAgain(JobPage, View):
    """Asks anew for one that failed or fell silent."""

    http_method_names = ["post", "options"]

    @cached_property
    def job(self) -> Job:
        return get_object_or_404(self.get_queryset().select_related("asked_by__centre"), pk=self.kwargs["pk"])

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.job.state == JobState.DONE:
            messages.info(request, "That one is done.")
            return redirect("job-detail", self.job.pk)
        return redirect("job-detail", jobs.ask_again(job=self.job, at=self.now).pk)
