"""The assessor's list and review page; verifiers and managers read the same pages."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import OuterRef, QuerySet, Subquery
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import disclosure, flags, outcomes, signoff, whose
from assessments.forms import SignOffForm
from assessments.marking.plausibility import Flag
from assessments.marking.results import Marking, ProposedDecision
from assessments.models import Attempt, Outcome, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.showing import shown


class ReviewList(AccessMixin, ListView):
    """Attempts waiting, the oldest first; or those signed off, the newest first."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/review-list.html"
    context_object_name = "attempts"
    section = "review"
    paginate_by = 40

    @property
    def show(self) -> str:
        return "decided" if self.request.GET.get("show") == "decided" else "waiting"

    def get_queryset(self) -> QuerySet[Attempt]:
        latest = Outcome.objects.filter(attempt=OuterRef("pk")).order_by("-number")
        if self.show == "waiting":
            found = Attempt.objects.awaiting(self.person)
        else:
            found = (
                Attempt.objects.visible_to(self.person)
                .filter(status=AttemptStatus.SIGNED_OFF)
                .order_by("-submitted_at")
            )
        return (
            found.with_decision()
            .select_related("candidate", "rig", "version__task")
            .annotate(proposal=Subquery(latest.values("proposal")[:1]))
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = super().get_context_data(show=self.show, **context)
        if self.show == "waiting":
            shown = list(found["attempts"])
            raised = flags.of_attempts([attempt.pk for attempt in shown])
            found["attempts"] = [(attempt, len(raised.get(attempt.pk, ()))) for attempt in shown]
        else:
            found["attempts"] = [(attempt, 0) for attempt in found["attempts"]]
        return found


class ReviewDetail(VerbFormView):
    """Everything about one attempt on one page, with the decision beside it."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/review-detail.html"
    form_class = SignOffForm
    section = "review"

    @cached_property
    def attempt(self) -> Attempt:
        found = (
            Attempt.objects.visible_to(self.person)
            .exclude(status=AttemptStatus.OPEN)
            .select_related(
                "candidate",
                "rig__centre",
                "version__task",
                "session",
                "sheet__baseline",
                "fault__fault",
                "transcribed_by",
            )
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @cached_property
    def outcome(self) -> Outcome:
        """The marking that was decided on; while nothing is, the latest."""
        return self.signed.outcome if self.signed else outcomes.latest(self.attempt)

    @cached_property
    def marking(self) -> Marking:
        return outcomes.marking_of(self.outcome)

    @cached_property
    def signed(self) -> SignOff | None:
        return signoff.current(self.attempt)

    @property
    def may_decide(self) -> bool:
        return (
            Permission.ATTEMPT_DECIDE in request_permissions(self.request)
            and self.attempt.status == AttemptStatus.SUBMITTED
            and self.attempt.candidate_id != self.person.pk
        )

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=self.attempt.rig, at=self.now)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if Permission.ATTEMPT_DECIDE not in request_permissions(request):
            raise PermissionDenied
        return super().post(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        hint = "Only where your decision isn’t what the marking proposes."
        if self.marking.proposal == ProposedDecision.ASSESSOR:
            hint = signoff.reason_needed(self.marking, Decision.COMPETENT) or hint
        return super().get_form_kwargs() | {"hint": hint}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            attempt=self.attempt,
            outcome=self.outcome,
            signed=self.signed,
            may_decide=self.may_decide,
            sheet=shown(attempt=self.attempt, marking=self.marking, with_numbers=True),
            marking=self.marking,
            chance=round(100 * self.marking.chance_outside),
            taken=self.attempt.instruments.select_related("instrument__model", "calibration"),
            history=self._history(),
            flags=self._flags(),
            impact=self.attempt.impact_items.affected().select_related("review__instrument", "review__rig"),
            whose=self._whose(),
            **context,
        )

    def _flags(self) -> tuple[Flag, ...]:
        """Never to the candidate, who may read this page in another role."""
        return () if self.attempt.candidate_id == self.person.pk else flags.of_attempt(self.attempt)

    def _whose(self) -> whose.Whose | None:
        return None if self.attempt.candidate_id == self.person.pk else whose.of_attempt(self.attempt)

    def _history(self) -> QuerySet[Attempt]:
        """The candidate's other attempts at this task."""
        return (
            Attempt.objects.filter(candidate=self.attempt.candidate, version__task=self.attempt.version.task)
            .exclude(pk=self.attempt.pk)
            .exclude(status=AttemptStatus.OPEN)
            .with_decision()
            .select_related("rig")
            .order_by("-submitted_at")
        )

    def carry_out(self, form: forms.Form) -> SignOff:
        given = form.cleaned_data
        return signoff.sign_off(
            attempt=self.attempt,
            outcome=self._seen_outcome(),
            assessor=self.person,
            decision=given["decision"],
            feedback=given["feedback"],
            reason=given["reason"],
            at=self.now,
        )

    def _seen_outcome(self) -> Outcome:
        """The marking that the page showed, which may not be the latest any more."""
        return get_object_or_404(
            self.attempt.outcomes, pk=self.request.POST.get("outcome") or self.outcome.pk
        )

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        if not self.may_decide:
            # Without a form on the page, what was refused is said at its head.
            for error in form.non_field_errors():
                messages.error(self.request, str(error))
        return super().form_invalid(form)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        if self.done is not None:
            decision = self.done.get_decision_display().lower()
            messages.success(self.request, f"{self.attempt.candidate}: {decision}, signed off.")
        return response

    def get_success_url(self) -> str:
        """The next one that waits; the list when none does."""
        following = Attempt.objects.awaiting(self.person).first()
        return reverse("review-detail", args=[following.pk]) if following else reverse("review-list")
