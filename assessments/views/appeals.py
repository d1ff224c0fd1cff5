"""Appeals: the candidate's page, and the staff's list and detail."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.confirming import ConfirmedFormView
from academy.views.verb_form import VerbFormView
from assessments import appeals, signoff
from assessments.appeal_forms import AppealAnswerForm, AppealForCandidateForm, AppealForm
from assessments.models import Appeal, SignOff
from assessments.models.appeals import AppealResult, AppealStage
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.views.steps import OwnAttempt

SIGNED = ("assessor", "outcome", "attempt__candidate", "attempt__rig__centre", "attempt__version__task")


class AppealOwn(OwnAttempt, VerbFormView):
    """A candidate appeals against their own decision, and sees how far it is."""

    template_name = "assessments/appeal-own.html"
    form_class = AppealForm
    section = "evidence"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.attempt.status != AttemptStatus.SIGNED_OFF:
            return redirect("attempt-overview", self.attempt.pk)
        return super().get(request, *args, **kwargs)

    @cached_property
    def signed(self) -> SignOff:
        found = SignOff.objects.current().filter(attempt=self.attempt).select_related(*SIGNED)
        return get_object_or_404(found)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        mine = Appeal.objects.filter(sign_off__attempt=self.attempt).select_related("decided_by")
        return super().get_context_data(
            attempt=self.attempt,
            signed=self.signed,
            appeals=mine.order_by("-opened_at"),
            why_not=appeals.why_not(signed=self.signed, at=self.now),
            last_day=appeals.last_day(self.signed),
            **context,
        )

    def carry_out(self, form: forms.Form) -> object:
        appeal = appeals.open_appeal(
            signed=self.signed, grounds=form.cleaned_data["grounds"], by=self.person, at=self.now
        )
        messages.success(
            self.request, "Your appeal is on record. Nothing of it changes until it is answered."
        )
        return appeal

    def get_success_url(self) -> str:
        return reverse("appeal-own", args=[self.attempt.pk])


class AppealOwnStep(OwnAttempt):
    """What a candidate does with an open appeal, at the press of a button."""

    http_method_names = ("post",)
    said = ""

    def carry_out(self, appeal: Appeal) -> object:
        raise NotImplementedError

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        mine = Appeal.objects.open().filter(sign_off__attempt=self.attempt)
        try:
            self.carry_out(get_object_or_404(mine))
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, self.said)
        return redirect("appeal-own", self.attempt.pk)


class AppealOwnFurther(AppealOwnStep):
    said = "A written answer is asked for."

    def carry_out(self, appeal: Appeal) -> object:
        return appeals.take_further(appeal=appeal, by=self.person, at=self.now)


class AppealOwnWithdraw(AppealOwnStep):
    said = "Your appeal is taken back."

    def carry_out(self, appeal: Appeal) -> object:
        return appeals.withdraw(appeal=appeal, by=self.person, at=self.now)


class AppealList(AccessMixin, ListView):
    """The centre's appeals: those that wait for an answer first, by its last day."""

    permission = Permission.APPEAL_READ
    template_name = "assessments/appeal-list.html"
    context_object_name = "appeals"
    section = "review"
    paginate_by = 40

    def get_queryset(self) -> QuerySet[Appeal]:
        found = Appeal.objects.visible_to(self.person).exclude(sign_off__attempt__candidate=self.person)
        return found.select_related(
            "sign_off__assessor",
            "sign_off__attempt__candidate",
            "sign_off__attempt__rig",
            "sign_off__attempt__version__task",
            "decided_by",
        ).order_by(F("decided_at").desc(nulls_first=True), "due_on", "pk")


class AppealPage(AccessMixin, View):
    """One appeal of the centre; never one's own, which has a page of its own."""

    permission = Permission.APPEAL_READ
    section = "review"

    @cached_property
    def appeal(self) -> Appeal:
        found = Appeal.objects.visible_to(self.person).exclude(sign_off__attempt__candidate=self.person)
        related = [f"sign_off__{each}" for each in SIGNED]
        return get_object_or_404(
            found.select_related(*related, "opened_by", "decided_by", "changed_to__assessor"),
            pk=self.kwargs["pk"],
        )


class AppealDetail(AppealPage, ConfirmedFormView):
    """Grounds, the decision, what was frozen and whether it still is; and the answer."""

    template_name = "assessments/appeal-detail.html"
    form_class = AppealAnswerForm

    @property
    def other(self) -> Decision:
        """The decision that it would be changed to."""
        was = self.appeal.sign_off.decision
        return Decision.NOT_YET_COMPETENT if was == Decision.COMPETENT else Decision.COMPETENT

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"other": self.other}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        appeal = self.appeal
        return super().get_context_data(
            appeal=appeal,
            attempt=appeal.sign_off.attempt,
            decisions=signoff.history(appeal.sign_off.attempt),
            changed=appeals.changed_since(appeal),
            why_not=appeals.why_not_decided(appeal=appeal, person=self.person, at=self.now),
            overdue=appeal.decided_at is None and appeal.due_on < self.today,
            may_take_further=appeal.decided_at is None and appeal.stage == AppealStage.INFORMAL,
            **context,
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if Permission.APPEAL_DECIDE not in request_permissions(request):
            messages.error(request, "A verifier or a manager decides an appeal.")
            return redirect("appeal-detail", self.appeal.pk)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        if self.done is not None:
            messages.success(
                self.request, f"Answered: the appeal of {self.appeal.sign_off.attempt.candidate}."
            )
        return response

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        if given["result"] == AppealResult.UPHELD:
            return appeals.uphold(
                appeal=self.appeal,
                reason=given["reason"],
                by=self.person,
                confirmed_at=self.confirmed_at,
                at=self.now,
            )
        return appeals.change(
            appeal=self.appeal,
            decision=self.other,
            feedback=given["feedback"],
            reason=given["reason"],
            by=self.person,
            confirmed_at=self.confirmed_at,
            at=self.now,
        )

    @property
    def to_confirm(self) -> str:
        return f"The answer to the appeal of {self.appeal.sign_off.attempt.candidate}."

    def get_success_url(self) -> str:
        return reverse("appeal-detail", args=[self.appeal.pk])


class AppealFurther(AppealPage):
    """Staff ask for the written answer, for the candidate."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            appeals.take_further(appeal=self.appeal, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        return redirect("appeal-detail", self.appeal.pk)


class AppealOpen(VerbFormView):
    """Open an appeal for a candidate who said so, or wrote."""

    permission = Permission.APPEAL_READ
    form_class = AppealForCandidateForm
    section = "review"

    @cached_property
    def signed(self) -> SignOff:
        found = SignOff.objects.filter(attempt__candidate__centre=self.person.centre_id)
        found = found.exclude(attempt__candidate=self.person).select_related(*SIGNED)
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def heading(self) -> str:
        return f"Appeal of {self.signed.attempt.candidate}"

    @property
    def intro(self) -> str:
        decision = self.signed.get_decision_display().lower()
        return f"{self.signed.attempt}: {decision}, by {self.signed.assessor}."

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        back = reverse("review-detail", args=[self.signed.attempt_id])
        return super().get_context_data(back=back, **context)

    def carry_out(self, form: forms.Form) -> object:
        return appeals.open_appeal(
            signed=self.signed, grounds=form.cleaned_data["grounds"], by=self.person, at=self.now
        )

    def get_success_url(self) -> str:
        return reverse("appeal-detail", args=[self.done.pk])
