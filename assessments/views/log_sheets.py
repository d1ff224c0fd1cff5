"""Log sheets on paper: printing one, and typing it in afterwards."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import attempts, evidence, log_sheets, transcription
from assessments.models import Attempt, Step, TaskVersion
from assessments.models.attempts import AttemptStatus
from assessments.pdf.document import Document, PdfUnavailable, pdf_of
from assessments.transcription_forms import TranscriptionForm
from rigs.models import Rig


class SheetAttempt(AccessMixin, View):
    """An attempt whose log sheet is this person's to print or type in; any other isn't there."""

    permission = Permission.SIGNED_IN

    @cached_property
    def attempt(self) -> Attempt:
        found = transcription.visible_to(self.person, on=self.today).select_related(
            "rig__centre", "version__task", "version__design", "candidate", "transcribed_by"
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def is_own(self) -> bool:
        return self.attempt.candidate_id == self.person.pk

    @property
    def section(self) -> str:
        return "bench" if self.is_own else "sheets"

    @property
    def back(self) -> str:
        """Where somebody comes from: the candidate's list of steps, or everybody's sheets."""
        return reverse("attempt-overview", args=[self.attempt.pk]) if self.is_own else reverse("sheet-list")


class SheetPrint(SheetAttempt):
    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        address = request.build_absolute_uri(reverse("sheet-transcribe", args=[self.attempt.pk]))
        sheet = log_sheets.of_attempt(attempt=self.attempt, address=address, at=self.now)
        return printed(request, sheet, name=f"log-sheet-{self.attempt.rig.tag}", back=self.back)


class SheetBlank(AccessMixin, View):
    """A sheet of a task for a rig, without a name. The address on it is where the attempt is started.

    For whoever works at the bench or reads there: to a visitor it isn't there.
    """

    permission = Permission.SIGNED_IN

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request_permissions(request).isdisjoint({Permission.ATTEMPT_WORK, Permission.RIG_READ}):
            raise Http404
        rigs = Rig.objects.visible_to(self.person).select_related("centre")
        rig = get_object_or_404(rigs, pk=self.kwargs["rig"])
        versions = TaskVersion.objects.visible_to(self.person).in_force().filter(design=rig.design_id)
        version = get_object_or_404(versions.select_related("task", "design"), pk=self.kwargs["version"])
        start = reverse("attempt-start", args=[rig.pk, version.pk])
        sheet = log_sheets.blank(
            version=version,
            rig=rig,
            kinds=attempts.kinds_needed(version),
            address=request.build_absolute_uri(start),
            at=self.now,
        )
        may_start = Permission.ATTEMPT_WORK in request_permissions(request)
        back = start if may_start else reverse("home")
        return printed(request, sheet, name=f"log-sheet-{rig.tag}-blank", back=back)


def printed(request: HttpRequest, sheet: Document, *, name: str, back: str) -> HttpResponse:
    try:
        content = pdf_of(sheet)
    except PdfUnavailable as unavailable:
        messages.error(request, str(unavailable))
        return redirect(back)
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


class SheetTranscribe(SheetAttempt, VerbFormView):
    """A whole log sheet on one page, typed in as it is written."""

    template_name = "assessments/sheet-transcribe.html"
    form_class = TranscriptionForm

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return redirect(self.back) if self.is_closed else super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.is_closed:
            messages.error(request, evidence.CLOSED)
            return redirect(self.back)
        return super().post(request, *args, **kwargs)

    @property
    def is_closed(self) -> bool:
        return self.attempt.status != AttemptStatus.OPEN

    @cached_property
    def steps(self) -> list[Step]:
        return list(self.attempt.version.steps.select_related("condition").order_by("position"))

    @cached_property
    def standing(self) -> dict[int, UUID]:
        return {step: entry.pk for step, entry in evidence.standing(self.attempt).items()}

    def get_initial(self) -> dict[str, Any]:
        return {"observed_on": self.attempt.observed_on}

    def get_form_kwargs(self) -> dict[str, Any]:
        design = self.attempt.version.design
        return super().get_form_kwargs() | {
            "steps": self.steps,
            "standing": self.standing,
            "test_points": list(design.test_points.all()),
            "conditions": list(design.conditions.all()),
        }

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(attempt=self.attempt, is_own=self.is_own, back=self.back, **context)

    def carry_out(self, form: forms.Form) -> Attempt:
        return transcription.transcribe(
            attempt=self.attempt,
            lines=form.cleaned_data["lines"],
            observed_on=form.cleaned_data["observed_on"],
            by=self.person,
            at=self.now,
        )

    def get_success_url(self) -> str:
        then = "Look it over, add the photos and hand it in." if self.is_own else "The candidate hands it in."
        messages.success(self.request, f"The log sheet is kept. {then}")
        return self.back


class SheetList(AccessMixin, ListView):
    """Attempts at work, whose sheets can be printed and typed in; the newest first."""

    permission = Permission.ATTEMPT_TRANSCRIBE
    template_name = "assessments/sheet-list.html"
    context_object_name = "attempts"
    section = "sheets"
    paginate_by = 40

    def get_queryset(self) -> Any:
        return (
            Attempt.objects.visible_to(self.person)
            .filter(status=AttemptStatus.OPEN)
            .select_related("candidate", "rig", "version__task", "transcribed_by")
            .order_by("-started_at", "pk")
        )
