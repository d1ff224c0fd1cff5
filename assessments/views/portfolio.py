"""A candidate's evidence: what it covers, what is missing, and the documents made of it."""

from functools import cached_property
from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.models import Person
from academy.permissions import Permission
from academy.refusals import Refused
from assessments import portfolio, portfolio_jobs
from assessments.coverage import coverage, decided_attempts, prior_achievements
from assessments.models import Attempt, PortfolioDocument


class EvidencePage(AccessMixin, TemplateView):
    """The same page for a candidate and for staff: nothing on it tells what a rig reads."""

    permission = Permission.PORTFOLIO_READ

    @property
    def candidate(self) -> Person:
        raise NotImplementedError

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        decided = decided_attempts(Attempt.objects.all(), candidate=self.candidate)
        priors = prior_achievements(self.candidate)
        documents = portfolio.documents_visible_to(self.person, on=self.today)
        return super().get_context_data(
            candidate=self.candidate,
            coverage=coverage(candidate=self.candidate, decided=decided, priors=priors),
            decided=decided,
            priors=priors,
            documents=documents.filter(candidate=self.candidate),
            being_made=portfolio_jobs.being_made(candidate=self.candidate, by=self.person),
            **context,
        )


class PortfolioOwn(EvidencePage):
    template_name = "assessments/portfolio-own.html"
    section = "evidence"

    @property
    def candidate(self) -> Person:
        return self.person


class PortfolioDetail(EvidencePage):
    template_name = "assessments/portfolio-detail.html"
    section = "cohorts"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.candidate == self.person:
            return redirect("portfolio-own")
        return super().get(request, *args, **kwargs)

    @cached_property
    def candidate(self) -> Person:
        readable = portfolio.candidates_visible_to(self.person, on=self.today)
        return get_object_or_404(readable, pk=self.kwargs["pk"])


class PortfolioIssue(AccessMixin, View):
    """Has a document made, and leads to how far it has come."""

    permission = Permission.PORTFOLIO_READ
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        readable = portfolio.candidates_visible_to(self.person, on=self.today)
        candidate = get_object_or_404(readable.select_related("centre"), pk=self.kwargs["pk"])
        try:
            job = portfolio_jobs.ask(candidate=candidate, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, str(refusal))
            return redirect("portfolio-detail", candidate.pk)
        return redirect("job-detail", job.pk)


class PortfolioDownload(AccessMixin, View):
    """Shows a document in the browser. A copy for staff has ranges in it: who opened it is remembered."""

    permission = Permission.PORTFOLIO_READ

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> FileResponse:
        visible = portfolio.documents_visible_to(self.person, on=self.today)
        document: PortfolioDocument = get_object_or_404(visible.exclude(file=""), pk=self.kwargs["pk"])
        try:
            content = document.file.open("rb")
        except FileNotFoundError:
            raise Http404("The file of this document is no longer in the store.") from None
        portfolio.note_opened(document=document, by=self.person, at=self.now)
        name = f"portfolio-{document.issued_at:%Y-%m-%d}.pdf"
        return FileResponse(content, filename=name, content_type="application/pdf")
