"""The verifier's pages: plans, a sample worked through one by one, and actions. Others read them."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, ListView

from academy.access import AccessMixin, request_permissions
from academy.models import Person, Role
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import decision_times, disclosure, outcomes, verification
from assessments.models import (
    SampledDecision,
    SamplingPlan,
    SignOff,
    Verification,
    VerifierAction,
)
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement
from assessments.sampling.selection import Coverage, Risk
from assessments.showing import shown
from assessments.verification_forms import ActionCloseForm, ActionForm, BlindForm, CompareForm, DrawForm

RISKS = {
    Risk.OVERRIDE: "decided against the marking",
    Risk.FLAGGED: "flagged",
    Risk.BREACH: "a safety-critical step not met",
    Risk.NEW_ASSESSOR: "a new assessor",
    Risk.NEW_TASK: "a new task or version",
    Risk.NEW_RIG: "a new rig or baseline",
    Risk.BORDERLINE: "left to the assessor by the marking",
    Risk.NOT_YET: "not yet competent",
    Risk.HASTY: "decided in under a minute",
    Risk.SAME_WORDS: "the same feedback again and again on one day",
    Risk.LATE: "signed long after the work",
}
TELLING = frozenset({Risk.OVERRIDE, Risk.NOT_YET})
"""From these the assessor's decision can be read: not before the verifier's own."""
UNTOLD = "a risk told after your own decision"

COVERS = {
    Coverage.ASSESSOR: "this assessor",
    Coverage.TASK: "this task",
    Coverage.RIG: "this rig",
    Coverage.COHORT: "this cohort",
}


class SamplingList(AccessMixin, ListView):
    """Samples, the newest first, and the actions that are still open."""

    permission = Permission.VERIFICATION_READ
    template_name = "assessments/sampling-list.html"
    context_object_name = "plans"
    section = "verification"
    paginate_by = 20

    def get_queryset(self) -> QuerySet[SamplingPlan]:
        compared = Q(sampled__verification__compared_at__isnull=False)
        return (
            SamplingPlan.objects.visible_to(self.person)
            .select_related("made_by")
            .annotate(size=Count("sampled"), done=Count("sampled", filter=compared))
            .order_by("-made_at")
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        actions = VerifierAction.objects.visible_to(self.person).open()
        return super().get_context_data(
            actions=actions.select_related("owner", "verification__sampled"), **context
        )


class SamplingDraw(VerbFormView):
    permission = Permission.VERIFICATION_DO
    form_class = DrawForm
    section = "verification"
    heading = "Draw a sample"
    intro = (
        "Some decisions are taken for their risk, some so that every assessor, task, rig and cohort "
        "is in it, and some at random."
    )

    def get_initial(self) -> dict[str, Any]:
        today = self.today
        return {
            "starts_on": today.replace(day=1),
            "ends_on": today,
            "seed": int(f"{today:%Y%m%d}"),
            "wrong_percent": 10,
            "chance_percent": 80,
        }

    def carry_out(self, form: forms.Form) -> SamplingPlan:
        return verification.draw_plan(centre=self.centre, **form.cleaned_data, by=self.person, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("sampling-list"), **context)

    def get_success_url(self) -> str:
        return reverse("sampling-detail", args=[self.done.pk])


class SamplingDetail(AccessMixin, DetailView):
    """One sample: what it can find, what it covers, and how far it has been worked through."""

    permission = Permission.VERIFICATION_READ
    template_name = "assessments/sampling-detail.html"
    context_object_name = "plan"
    section = "verification"

    def get_queryset(self) -> QuerySet[SamplingPlan]:
        return SamplingPlan.objects.visible_to(self.person).select_related("made_by")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        sampled = list(
            self.object.sampled.select_related(
                "sign_off__attempt__candidate",
                "sign_off__attempt__rig",
                "sign_off__attempt__version__task",
                "sign_off__assessor",
                "verification__verifier",
            )
        )
        rows = [(each, reasons(each), verification_of(each)) for each in sampled]
        compared = [made for _, _, made in rows if made is not None and made.agreement]
        return super().get_context_data(
            rows=sorted(rows, key=lambda row: row[2] is not None and bool(row[2].agreement)),
            done=len(compared),
            coverage=coverage_of(sampled),
            chance=round(100 * self.object.stated["chance"]),
            found=Counter(made.agreement for made in compared),
            **context,
        )


class SampledDetail(VerbFormView):
    """A decision to verify: blind first, then beside the assessor's, then as it was found."""

    permission = Permission.VERIFICATION_READ
    template_name = "assessments/sampled-detail.html"
    section = "verification"

    @cached_property
    def sampled(self) -> SampledDecision:
        found = SampledDecision.objects.visible_to(self.person).select_related(
            "plan__centre",
            "verification__verifier",
            "sign_off__assessor",
            "sign_off__outcome",
            "sign_off__look",
            "sign_off__attempt__candidate",
            "sign_off__attempt__rig__centre",
            "sign_off__attempt__version__task",
            "sign_off__attempt__fault__fault",
            "sign_off__attempt__sheet",
        )
        judged = ("sign_off__judgements__step", "sign_off__judgements__reading")
        return get_object_or_404(found.prefetch_related(*judged), pk=self.kwargs["pk"])

    @property
    def sign_off(self) -> SignOff:
        return self.sampled.sign_off

    @property
    def verification(self) -> Verification | None:
        return verification_of(self.sampled)

    @property
    def may_verify(self) -> bool:
        may = Permission.VERIFICATION_DO in request_permissions(self.request)
        return may and verification.may_verify(sign_off=self.sign_off, person=self.person, on=self.today)

    @property
    def stage(self) -> str:
        """“blind”, “compare” or “done”; “waiting” for whoever only reads, or had part in it."""
        made = self.verification
        if made is not None and made.agreement:
            return "done"
        mine = self.may_verify and (made is None or made.verifier_id == self.person.pk)
        if not mine:
            return "waiting"
        return "blind" if made is None else "compare"

    def get_form_class(self) -> type[forms.Form]:
        return CompareForm if self.stage == "compare" else BlindForm

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.sign_off.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=self.sign_off.attempt.rig, at=self.now)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if Permission.VERIFICATION_DO not in request_permissions(request):
            raise PermissionDenied
        return super().post(request, *args, **kwargs)

    def carry_out(self, form: forms.Form) -> Verification:
        given, made = form.cleaned_data, self.verification
        if made is None:
            return verification.decide_blind(
                sampled=self.sampled,
                verifier=self.person,
                decision=Decision(given["decision"]),
                note=given["note"],
                at=self.now,
            )
        return verification.compare(
            verification=made,
            verifier=self.person,
            agreement=Agreement(given["agreement"]),
            note=given["note"],
            at=self.now,
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        attempt = self.sign_off.attempt
        marking = outcomes.marking_of(self.sign_off.outcome)
        made = self.verification
        return super().get_context_data(
            sampled=self.sampled,
            attempt=attempt,
            reasons=reasons(self.sampled),
            stage=self.stage,
            made=made,
            actions=made.actions.select_related("owner", "closed_by") if made else (),
            sheet=shown(attempt=attempt, marking=marking, with_numbers=True),
            lag=decision_times.lag(attempt=attempt, at=self.sign_off.at, centre=self.centre),
            **context,
        )

    def get_success_url(self) -> str:
        return reverse("sampled-detail", args=[self.sampled.pk])


class ActionRaise(VerbFormView):
    permission = Permission.VERIFICATION_DO
    form_class = ActionForm
    section = "verification"
    heading = "Raise an action"

    @cached_property
    def verification(self) -> Verification:
        found = Verification.objects.filter(sampled__plan__centre=self.centre).exclude(agreement="")
        return get_object_or_404(found.select_related("sampled__plan__centre"), sampled=self.kwargs["pk"])

    def get_form_kwargs(self) -> dict[str, Any]:
        self.verification  # noqa: B018 (a decision that isn't compared yet has no such page)
        staff = (Role.Kind.ASSESSOR, Role.Kind.TECHNICIAN, Role.Kind.MANAGER, Role.Kind.VERIFIER)
        held = Role.objects.in_force(on=self.today).filter(kind__in=staff)
        people = Person.objects.visible_to(self.person).filter(pk__in=held.values("person"), is_active=True)
        return super().get_form_kwargs() | {"people": people}

    def carry_out(self, form: forms.Form) -> VerifierAction:
        return verification.raise_action(
            verification=self.verification, **form.cleaned_data, by=self.person, at=self.now
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("sampled-detail", args=[self.kwargs["pk"]])


class ActionClose(VerbFormView):
    permission = Permission.VERIFICATION_DO
    form_class = ActionCloseForm
    section = "verification"
    heading = "Close an action"

    @cached_property
    def action(self) -> VerifierAction:
        found = VerifierAction.objects.visible_to(self.person).select_related("owner", "verification")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.action.owner.name}: {self.action.text}"

    def carry_out(self, form: forms.Form) -> VerifierAction:
        closed = verification.close_action(
            action=self.action, **form.cleaned_data, by=self.person, at=self.now
        )
        messages.success(self.request, "The action is closed.")
        return closed

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("sampled-detail", args=[self.action.verification.sampled_id])


def verification_of(sampled: SampledDecision) -> Verification | None:
    return getattr(sampled, "verification", None)


def reasons(sampled: SampledDecision) -> str:
    """Why it is in the sample, in words; what would tell the assessor's decision waits for the verifier's."""
    risks = [Risk(risk) for risk in sampled.risks]
    told = [risk for risk in risks if risk not in TELLING or verification_of(sampled) is not None]
    found = [RISKS[risk] for risk in told] + [UNTOLD] * (len(told) < len(risks))
    found += [f"to cover {COVERS[Coverage(part)]}" for part in sampled.covers]
    return ", ".join(found + ["at random"] * sampled.is_random)


def coverage_of(sampled: Iterable[SampledDecision]) -> list[tuple[str, list[tuple[str, int]]]]:
    """How many of the sample are of each assessor, task and rig: all of the period have at least one."""
    attempts = [each.sign_off for each in sampled]
    return [
        ("Assessor", _counts(each.assessor.name for each in attempts)),
        ("Task", _counts(str(each.attempt.version.task) for each in attempts)),
        ("Rig", _counts(each.attempt.rig.tag for each in attempts)),
    ]


def _counts(names: Iterable[str]) -> list[tuple[str, int]]:
    return sorted(Counter(names).items())
