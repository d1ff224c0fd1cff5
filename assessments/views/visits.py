"""External verifiers' visits: arranged by staff, read by the visitor, who gets to the sample alone."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, QuerySet
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView, TemplateView, View

from academy.access import AccessMixin, request_permissions
from academy.models import Person, Role
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import disclosure, outcomes, signoff, visits
from assessments.models import Attempt, SamplingPlan, Task, Visit, VisitSample
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.visits import VisitPage
from assessments.showing import shown
from assessments.views.trails import TrailPage
from assessments.visit_forms import SampleForm, VisitForm
from rigs import certificate_files
from rigs.models.certificate_files import ENDINGS, CertificateForm

PLANS_OFFERED = 20
LOOKS_SHOWN = 200


class VisitList(AccessMixin, ListView):
    """A visitor's own visits that are on, or the only one; for staff all, the newest first."""

    permission = Permission.VISIT_READ
    template_name = "assessments/visit-list.html"
    context_object_name = "visits"
    section = "visits"
    paginate_by = 30

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        only = None if Permission.VISIT_MANAGE in request_permissions(request) else self.get_queryset()[:2]
        if only is not None and len(only) == 1:
            return redirect("visit-detail", only[0].pk)
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Visit]:
        return (
            visits.visible_to(self.person, on=self.today)
            .select_related("visitor")
            .annotate(size=Count("sample"))
            .order_by("-starts_on", "-made_at")
        )


class AboutVisit(AccessMixin):
    """A page of one visit that whoever asks may see today. What its visitor opens is kept."""

    permission = Permission.VISIT_READ
    section = "visits"
    kwargs: dict[str, Any]

    @cached_property
    def visit(self) -> Visit:
        readable = visits.visible_to(self.person, on=self.today)
        found = readable.select_related("visitor", "centre", "made_by", "ended_by")
        return get_object_or_404(found, pk=self.kwargs["visit"])

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found: dict[str, Any] = super().get_context_data(**context)  # type: ignore[misc]  # of a page
        return found | {"visit": self.visit}

    def keep(self, page: VisitPage, *, about: UUID | None = None, sample: VisitSample | None = None) -> None:
        visits.note_look(
            visit=self.visit, person=self.person, page=page, about=about, sample=sample, at=self.now
        )

    def sample_of(self, attempt: Attempt) -> VisitSample:
        found: VisitSample = self.visit.sample.get(
            candidate=attempt.candidate_id, task=attempt.version.task_id
        )
        return found


class VisitDetail(AboutVisit, TemplateView):
    """What a visit is about, its portfolios and packs; for staff also what the visitor opened."""

    template_name = "assessments/visit-detail.html"

    @property
    def may_manage(self) -> bool:
        return Permission.VISIT_MANAGE in request_permissions(self.request)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        self.keep(VisitPage.INDEX)
        return super().get_context_data(
            sample=self.visit.sample.select_related("candidate", "task"),
            portfolios=visits.portfolios_of(self.visit).select_related("candidate").order_by("-issued_at"),
            packs=self.visit.packs.select_related("made_by"),
            looks=self._looks() if self.may_manage else (),
            is_over=self.visit.ended_at is not None or self.visit.ends_on < self.today,
            **context,
        )

    def _looks(self) -> QuerySet[Any]:
        found: QuerySet[Any] = self.visit.looks.select_related("sample__candidate", "sample__task")
        return found[:LOOKS_SHOWN]


class VisitTrail(AboutVisit, TrailPage):
    permission = Permission.VISIT_READ

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        chosen = self.visit.sample.select_related("candidate", "task")
        sample = get_object_or_404(chosen, pk=self.kwargs["sample"])
        self.keep(VisitPage.TRAIL, sample=sample)
        found = self.shown(candidate=sample.candidate, task=sample.task)
        return super().get_context_data(**context, trail=found, links=False)


class VisitAttempt(AboutVisit, TemplateView):
    """What was logged, what the marking made of it, and what was decided."""

    template_name = "assessments/visit-attempt.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        inside = visits.attempts_of(self.visit).exclude(status=AttemptStatus.OPEN).exclude(outcomes=None)
        found = inside.select_related("candidate", "rig__centre", "version__task", "session").distinct()
        attempt = get_object_or_404(found, pk=self.kwargs["pk"])
        sample = self.sample_of(attempt)
        self.keep(VisitPage.ATTEMPT, about=attempt.pk, sample=sample)
        if attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=attempt.rig, at=self.now)
        signed = signoff.current(attempt)
        marking = outcomes.marking_of(signed.outcome if signed else outcomes.latest(attempt))
        return super().get_context_data(
            sample=sample,
            attempt=attempt,
            signed=signed,
            marking=marking,
            sheet=shown(attempt=attempt, marking=marking, with_numbers=True),
            **context,
        )


class VisitFile(AboutVisit, View):
    """A file that belongs to the sample."""


class VisitPhoto(VisitFile):
    def get(self, request: HttpRequest, **_kwargs: Any) -> FileResponse:
        inside = visits.photos_of(self.visit).exclude(file="").select_related("attempt__version")
        photo = get_object_or_404(inside, pk=self.kwargs["pk"])
        self.keep(VisitPage.PHOTO, about=photo.pk, sample=self.sample_of(photo.attempt))
        return FileResponse(photo.file.open("rb"), content_type="image/jpeg")


class VisitCertificate(VisitFile):
    def get(self, request: HttpRequest, **_kwargs: Any) -> HttpResponse:
        inside = visits.certificates_of(self.visit).select_related("calibration__instrument")
        kept = get_object_or_404(inside, pk=self.kwargs["pk"])
        try:
            content = certificate_files.content_of(kept)
        except Refused as refusal:
            raise Http404(refusal.message) from refusal
        self.keep(VisitPage.CERTIFICATE, about=kept.pk)
        form = CertificateForm(kept.form)
        name = f"certificate-{kept.pk}.{ENDINGS[form]}"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return HttpResponse(content, content_type=str(form), headers=headers)


class VisitPortfolio(VisitFile):
    def get(self, request: HttpRequest, **_kwargs: Any) -> FileResponse:
        document = get_object_or_404(visits.portfolios_of(self.visit).exclude(file=""), pk=self.kwargs["pk"])
        try:
            content = document.file.open("rb")
        except FileNotFoundError:
            raise Http404("The file of this document is no longer in the store.") from None
        self.keep(VisitPage.PORTFOLIO, about=document.pk)
        name = f"portfolio-{document.issued_at:%Y-%m-%d}.pdf"
        return FileResponse(content, filename=name, content_type="application/pdf")


class Chooser(VerbFormView):
    """A form that chooses candidates and tasks of the centre, of those that were assessed."""

    permission = Permission.VISIT_MANAGE
    section = "visits"

    def get_form_kwargs(self) -> dict[str, Any]:
        assessed = Attempt.objects.visible_to(self.person).filter(purpose=Purpose.ASSESSMENT)
        return super().get_form_kwargs() | {
            "candidates": Person.objects.visible_to(self.person).filter(
                pk__in=assessed.values("candidate"), erased_at=None
            ),
            "tasks": Task.objects.filter(pk__in=assessed.values("version__task")),
        }


class VisitArrange(Chooser):
    form_class = VisitForm
    heading = "Open a visit"
    intro = (
        "An external verifier sees what is chosen here and nothing else, from the first day to the last. "
        "What they open is kept."
    )

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today, "ends_on": self.today}

    def get_form_kwargs(self) -> dict[str, Any]:
        external = Role.objects.filter(kind=Role.Kind.EXTERNAL_VERIFIER, ends_on__gte=self.today)
        plans = SamplingPlan.objects.visible_to(self.person).annotate(size=Count("sampled"))
        recent = plans.order_by("-made_at").values("pk")[:PLANS_OFFERED]
        return super().get_form_kwargs() | {
            "visitors": Person.objects.visible_to(self.person).filter(
                is_active=True, pk__in=external.values("person")
            ),
            "plans": plans.filter(pk__in=list(recent.values_list("pk", flat=True))).order_by("-made_at"),
        }

    def carry_out(self, form: forms.Form) -> Visit:
        return visits.arrange(**form.cleaned_data, by=self.person, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("visit-list"), **context)

    def get_success_url(self) -> str:
        return reverse("visit-detail", args=[self.done.pk])


class VisitExtend(AboutVisit, Chooser):
    permission = Permission.VISIT_MANAGE
    form_class = SampleForm
    heading = "Add to the sample"

    def carry_out(self, form: forms.Form) -> int:
        added = visits.extend(visit=self.visit, **form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, f"{added} added to the sample.")
        return added

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("visit-detail", args=[self.visit.pk])


class VisitEnd(AboutVisit, View):
    permission = Permission.VISIT_MANAGE
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            visits.end(visit=self.visit, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, "The visit is ended: nothing is open to the visitor any more.")
        return redirect("visit-detail", self.visit.pk)
