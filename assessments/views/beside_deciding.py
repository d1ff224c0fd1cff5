"""What an assessor does besides deciding: return an attempt, make it void, note a prompt, countersign."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.confirming import ConfirmedFormView
from academy.views.verb_form import VerbFormView
from assessments import countersigning, disclosure, outcomes, prompts, returns, signoff, voids
from assessments.deciding_forms import AGREE, CountersignForm, PromptForm, ReturnForm, VoidForm
from assessments.models import Attempt, AttemptInstrument, SignOff
from assessments.models.decisions import Decision
from assessments.models.returns import VoidCause


class BesideDeciding(VerbFormView):
    """A form about one attempt of the centre, which leads back to where it came from."""

    permission = Permission.ATTEMPT_DECIDE
    section = "review"

    @cached_property
    def attempt(self) -> Attempt:
        found = Attempt.objects.visible_to(self.person).select_related(
            "candidate", "rig__centre", "version__task"
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.attempt.candidate}, {self.attempt}"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.back, **context)

    @property
    def back(self) -> str:
        """The review page; of an attempt that is still being worked on, the list of attempts on its rig."""
        if self.attempt.outcomes.exists():
            return reverse("review-detail", args=[self.attempt.pk])
        return reverse("rig-attempts", args=[self.attempt.rig_id])

    def get_success_url(self) -> str:
        return self.back


class AttemptGiveBack(BesideDeciding):
    form_class = ReturnForm
    template_name = "assessments/attempt-return.html"
    heading = "Return for one more reading"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"steps": self.offered}

    @cached_property
    def offered(self) -> list[Any]:
        return returns.returnable(self.attempt, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        goes_on = returns.session_goes_on(self.attempt, at=self.now)
        return super().get_context_data(offered=self.offered, session_over=not goes_on, **context)

    def carry_out(self, form: forms.Form) -> object:
        returned = returns.give_back(
            attempt=self.attempt,
            outcome=outcomes.latest(self.attempt),
            steps=list(form.cleaned_data["steps"]),
            words=form.cleaned_data["words"],
            assessor=self.person,
            at=self.now,
        )
        messages.success(self.request, f"Returned to {self.attempt.candidate}.")
        return returned

    def get_success_url(self) -> str:
        return reverse("review-list")


class AttemptMakeVoid(BesideDeciding):
    form_class = VoidForm
    heading = "Make it void"

    @property
    def intro(self) -> str:
        return f"{super().intro}. It then counts nowhere, and stays readable."

    def get_initial(self) -> dict[str, Any]:
        return {"words": "Something was wrong that isn’t your doing. You can do this task again."}

    def get_form_kwargs(self) -> dict[str, Any]:
        taken = AttemptInstrument.objects.filter(attempt=self.attempt).select_related("instrument")
        return super().get_form_kwargs() | {
            "rig": self.attempt.rig,
            "instruments": [each.instrument for each in taken],
        }

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        void = voids.make_void(
            attempt=self.attempt,
            cause=VoidCause(given["cause"]),
            reason=given["reason"],
            words=given["words"],
            hold=given["hold"],
            by=self.person,
            at=self.now,
        )
        held = f" {given['hold'].tag} is on hold." if given["hold"] else ""
        messages.success(self.request, f"Void: {self.attempt.candidate}, {self.attempt}.{held}")
        return void


class PromptGive(BesideDeciding):
    form_class = PromptForm
    heading = "Note a prompt"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"steps": self.attempt.version.steps.all()}

    def get_initial(self) -> dict[str, Any]:
        position = self.request.GET.get("step", "")
        if not position.isdecimal():
            return {}
        return {"step": self.attempt.version.steps.filter(position=int(position)).first()}

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        prompt = prompts.give(
            attempt=self.attempt,
            step=given["step"],
            level=given["level"],
            words=given["words"],
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, f"Noted: {prompt.get_level_display().lower()}.")
        return prompt


class CountersignList(AccessMixin, ListView):
    """The provisional decisions that wait for this assessor, the oldest first."""

    permission = Permission.ATTEMPT_DECIDE
    template_name = "assessments/countersign-list.html"
    context_object_name = "waiting"
    section = "review"
    paginate_by = 40

    def get_queryset(self) -> QuerySet[SignOff]:
        return countersigning.waiting(person=self.person, at=self.now).select_related(
            "assessor", "attempt__candidate", "attempt__rig", "attempt__version__task"
        )


class Countersign(ConfirmedFormView):
    """A provisional decision with what it was made on a link away, and the second signature."""

    permission = Permission.ATTEMPT_DECIDE
    template_name = "assessments/countersign.html"
    form_class = CountersignForm
    section = "review"
    heading = "Countersign"

    @cached_property
    def signed(self) -> SignOff:
        found = SignOff.objects.filter(
            attempt__in=Attempt.objects.visible_to(self.person), is_provisional=True
        ).exclude(attempt__candidate=self.person)
        return get_object_or_404(
            found.select_related(
                "assessor",
                "outcome",
                "attempt__candidate",
                "attempt__rig__centre",
                "attempt__version__task",
            ),
            pk=self.kwargs["pk"],
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        signed = self.signed
        if signed.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=signed.attempt.rig, at=self.now)
        waiting = signoff.provisional(signed.attempt)
        reason = (
            countersigning.why_not(signed=signed, person=self.person, at=self.now)
            if waiting is not None and waiting.pk == signed.pk
            else signoff.why_settled(signed.attempt)
        )
        return super().get_context_data(
            signed=signed,
            attempt=signed.attempt,
            marking=outcomes.marking_of(signed.outcome),
            reason=reason,
            **context,
        )

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        if given["answer"] == AGREE:
            done: object = countersigning.agree(
                signed=self.signed,
                by=self.person,
                note=given["reason"],
                confirmed_at=self.confirmed_at,
                at=self.now,
            )
        else:
            done = countersigning.decide_otherwise(
                signed=self.signed,
                decision=Decision(given["answer"]),
                feedback=given["feedback"],
                reason=given["reason"],
                by=self.person,
                confirmed_at=self.confirmed_at,
                at=self.now,
            )
        messages.success(self.request, f"Signed: {self.signed.attempt.candidate}, {self.signed.attempt}.")
        return done

    @property
    def to_confirm(self) -> str:
        return f"{self.signed.attempt.candidate}, {self.signed.attempt}: your countersignature."

    def get_success_url(self) -> str:
        following = countersigning.waiting(person=self.person, at=self.now).first()
        return reverse("countersign", args=[following.pk]) if following else reverse("review-list")
