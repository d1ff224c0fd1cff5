"""The review page, where an assessor decides; verifiers and managers read the same page."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property

from academy.access import request_permissions
from academy.permissions import Permission
from academy.views.confirming import ConfirmedFormView
from assessments import (
    decision_times,
    disclosure,
    judgements,
    observing,
    outcomes,
    phrases,
    rights,
    signoff,
    whose,
)
from assessments.around import around_attempt
from assessments.marking.plausibility import Flag
from assessments.marking.points import left_to_assessor
from assessments.marking.results import Marking, ProposedDecision
from assessments.models import Attempt, Outcome, Phrase, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.review_forms import DecideForm
from assessments.risks import Known, Told
from assessments.showing import shown
from assessments.views import review_order


class ReviewDetail(ConfirmedFormView):
    """Everything about one attempt on one page, with the decision beside it."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/review-detail.html"
    form_class = DecideForm
    section = "review"
    left = 0

    @cached_property
    def attempt(self) -> Attempt:
        found = (
            Attempt.objects.visible_to(self.person)
            .marked()
            .exclude(status=AttemptStatus.OPEN)
            .select_related(
                "candidate",
                "rig__centre",
                "version__task",
                "session",
                "sheet__baseline",
                "sheet__rig_check",
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
    def is_own(self) -> bool:
        return self.attempt.candidate_id == self.person.pk

    @cached_property
    def why_not(self) -> str | None:
        """Why there is no form; None where the person may decide now."""
        if self.is_own:
            return "Nobody signs off their own attempt."
        if Permission.ATTEMPT_DECIDE not in request_permissions(self.request):
            return "Waiting for an assessor."
        if self.attempt.status != AttemptStatus.SUBMITTED:
            return f"{self.attempt.get_status_display()}."
        return rights.why_not(attempt=self.attempt, person=self.person, at=self.now)

    @property
    def may_decide(self) -> bool:
        return self.why_not is None

    @property
    def to_confirm(self) -> str:
        decision = Decision(self.request.POST["decision"]).label.lower()
        return f"{self.attempt.candidate}, {self.attempt.version.task}: {decision}."

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=self.attempt.rig, at=self.now)
        if self.may_decide:
            decision_times.note_opened(attempt=self.attempt, assessor=self.person, at=self.now)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if Permission.ATTEMPT_DECIDE not in request_permissions(request):
            raise PermissionDenied
        return super().post(request, *args, **kwargs)

    def get_initial(self) -> dict[str, Any]:
        return {"outcome": self.outcome.pk}

    def get_form_kwargs(self) -> dict[str, Any]:
        marking = self.marking
        always = [{each.key for each in judgements.needed(marking, decision)} for decision in Decision]
        task = self.attempt.version.task_id
        return super().get_form_kwargs() | {
            "hint": self._hint(),
            "expects_reason": marking.proposal == ProposedDecision.NOT_YET_COMPETENT,
            "points": left_to_assessor(marking),
            "required": frozenset.intersection(*map(frozenset, always)),
            "book": list(Phrase.objects.of(self.person).for_task(task)),
        }

    def _hint(self) -> str:
        if self.marking.proposal == ProposedDecision.ASSESSOR:
            return "Only where your decision isn’t what you judged above."
        return "Only where your decision isn’t what the marking proposes."

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        known = Known.of([self.attempt])
        context.setdefault("typed", ())
        return super().get_context_data(
            attempt=self.attempt,
            outcome=self.outcome,
            signed=self.signed,
            why_not=self.why_not,
            observed=observing.compared(self.attempt),
            answers=observing.answers_of([self.attempt])[self.attempt.pk],
            sheet=shown(attempt=self.attempt, marking=self.marking, with_numbers=True),
            marking=self.marking,
            chance=round(100 * self.marking.chance_outside),
            taken=self.attempt.instruments.select_related("instrument__model", "calibration"),
            history=self._history(),
            flags=self._flags(known),
            judging=self.may_decide,
            in_training=self.may_decide and self._in_training(),
            around=around_attempt(
                self.attempt, person=self.person, may=request_permissions(self.request), at=self.now
            ),
            told=self._told(known),
            lag=decision_times.lag(
                attempt=self.attempt, at=self.signed.at if self.signed else self.now, centre=self.centre
            ),
            place=self._place(),
            impact=self.attempt.impact_items.affected().select_related("review__instrument", "review__rig"),
            whose=None if self.is_own else whose.of_attempt(self.attempt),
            **context,
        )

    def _in_training(self) -> bool:
        """Whether what they decide waits for a second signature."""
        standing = rights.standing_to(attempt=self.attempt, person=self.person, at=self.now)
        return standing == rights.Standing.IN_TRAINING

    def _flags(self, known: Known) -> tuple[Flag, ...]:
        """Never to the candidate, who may read this page in another role."""
        return () if self.is_own else known.flags.get(self.attempt.pk, ())

    def _told(self, known: Known) -> tuple[Told, ...]:
        return () if self.is_own or self.signed else known.told(self.attempt, at=self.now)

    def _place(self) -> review_order.Place | None:
        if not self.may_decide:
            return None
        return review_order.place_of(
            self.request, self.attempt, assessor=self.person, centre=self.centre, at=self.now
        )

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
        signed = signoff.sign_off(
            attempt=self.attempt,
            outcome=get_object_or_404(self.attempt.outcomes, pk=given["outcome"]),
            assessor=self.person,
            decision=Decision(given["decision"]),
            feedback=given["feedback"],
            reason=given["reason"],
            judged=given["judged"],
            visible_seconds=given["visible_seconds"],
            confirmed_at=self.confirmed_at,
            at=self.now,
        )
        if given["keep"]:
            task = self.attempt.version.task
            phrases.keep(assessor=self.person, text=given["typed"], task=task, at=self.now)
        return signed

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Refused, it may be because the page was stale: what was decided meanwhile is shown as it is."""
        for name in ("attempt", "signed", "outcome", "marking", "why_not"):
            self.__dict__.pop(name, None)
        if self.may_decide:
            return super().form_invalid(form)
        # Without a form on the page, what was refused is said at its head, and what was written is shown.
        refused = form.non_field_errors() or [signoff.why_settled(self.attempt) or self.why_not]
        for error in refused:
            messages.error(self.request, str(error))
        texts = [bound for bound in form if isinstance(bound.field.widget, forms.Textarea)]
        typed = [(bound.label, bound.value()) for bound in texts if bound.value()]
        return self.render_to_response(self.get_context_data(form=form, typed=typed))

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        if self.done is not None:
            self._say_so(self.done)
        return response

    def _say_so(self, signed: SignOff) -> None:
        attempt = f"{self.attempt.candidate}, {self.attempt.version.task}"
        left = f" {self.left} still to decide." if self.left else ""
        decision = signed.get_decision_display().lower()
        if signed.is_provisional:
            decision += ", awaiting countersignature"
        messages.success(self.request, f"Signed off {attempt}: {decision}.{left}")
        times = phrases.times_today(signed=signed, centre=self.centre)
        if times >= self.centre.same_words_times:
            messages.info(
                self.request,
                f"You have given these very words {times} times today. A verifier is told of it.",
            )

    def get_success_url(self) -> str:
        """The next one in the order; the list when none waits."""
        following, self.left = review_order.next_after(
            self.request, self.attempt, assessor=self.person, centre=self.centre, at=self.now
        )
        return reverse("review-detail", args=[following]) if following else reverse("review-list")
