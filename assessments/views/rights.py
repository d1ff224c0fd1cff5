"""Rights and rules: scopes of assessors, conflicts of interest, resit rules, leave, adjustments."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Prefetch, Q, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import ListView

from academy.access import AccessMixin, request_permissions
from academy.models import Person, Role
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import adjustments, conflicts, resits, scopes
from assessments.models import Adjustment, AssessorScope, ConflictOfInterest, ResitLeave, Task
from assessments.rights_forms import (
    AdjustmentForm,
    ConflictForm,
    EndForm,
    LeaveForm,
    RuleForm,
    ScopeForm,
)


class RightsForm(VerbFormView):
    """A form that leads back to its list."""

    section = "cohorts"
    back_to = ""

    def holding(self, *kinds: str) -> QuerySet[Person]:
        roles = Role.objects.in_force(on=self.today).filter(kind__in=kinds)
        return Person.objects.visible_to(self.person).filter(is_active=True, pk__in=roles.values("person"))

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today, "ends_on": self.today}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse(self.back_to)


class BeginForm(RightsForm):
    """With no last day unless one is given."""

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today, "extra_percent": 0}

    @property
    def offers(self) -> dict[str, QuerySet[Any]]:
        raise NotImplementedError

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"offers": self.offers}


class ScopeList(AccessMixin, ListView):
    """What each assessor may decide on, those in force first."""

    permission = Permission.COHORT_READ
    template_name = "assessments/scope-list.html"
    context_object_name = "scopes"
    section = "cohorts"

    def get_queryset(self) -> QuerySet[AssessorScope]:
        found = AssessorScope.objects.visible_to(self.person).select_related("assessor", "recorded_by")
        tasks = Prefetch("tasks", Task.objects.order_by("position"))
        return found.prefetch_related(tasks).order_by("assessor__name", "-starts_on")


class ScopeRecord(BeginForm):
    permission = Permission.SCOPE_MANAGE
    form_class = ScopeForm
    heading = "What an assessor may decide on"
    intro = "From the first entry on, an assessor decides on what is recorded for them and on nothing else."
    back_to = "scope-list"

    @property
    def offers(self) -> dict[str, QuerySet[Any]]:
        assessors = self.holding(Role.Kind.ASSESSOR).exclude(pk=self.person.pk)
        return {"assessor": assessors, "tasks": Task.objects.filter(centre=self.centre).order_by("position")}

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        return scopes.record(
            assessor=given["assessor"],
            tasks=None if given["every_task"] else list(given["tasks"]),
            in_training=given["in_training"],
            starts_on=given["starts_on"],
            ends_on=given["ends_on"],
            by=self.person,
            at=self.now,
        )


class ScopeEnd(RightsForm):
    permission = Permission.SCOPE_MANAGE
    form_class = EndForm
    heading = "End it"
    back_to = "scope-list"

    @cached_property
    def scope(self) -> AssessorScope:
        found = AssessorScope.objects.visible_to(self.person).select_related("assessor")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.scope.assessor}. What was decided until then stays in order."

    def carry_out(self, form: forms.Form) -> object:
        return scopes.end(scope=self.scope, on=form.cleaned_data["ends_on"], by=self.person, at=self.now)


class ConflictList(AccessMixin, ListView):
    """The conflicts of interest of the centre for a manager; for anybody else their own."""

    permission = Permission.CONFLICT_DECLARE
    template_name = "assessments/conflict-list.html"
    context_object_name = "conflicts"
    section = "cohorts"

    def get_queryset(self) -> QuerySet[ConflictOfInterest]:
        return _conflicts(self).select_related("person", "candidate", "declared_by").order_by("-starts_on")


def _conflicts(view: AccessMixin) -> QuerySet[ConflictOfInterest]:
    """Those that a reader may know of: never what others declared about the reader as a candidate."""
    found = ConflictOfInterest.objects.visible_to(view.person).exclude(candidate=view.person)
    manages = Permission.SCOPE_MANAGE in request_permissions(view.request)
    return found if manages else found.filter(person=view.person)


class ConflictDeclare(BeginForm):
    permission = Permission.CONFLICT_DECLARE
    form_class = ConflictForm
    heading = "Declare a conflict of interest"
    intro = "The two are then kept apart: no decision, countersignature, verification or prior achievement."
    back_to = "conflict-list"

    def get_initial(self) -> dict[str, Any]:
        return super().get_initial() | {"person": self.person.pk}

    @property
    def offers(self) -> dict[str, QuerySet[Any]]:
        deciders = self.holding(Role.Kind.ASSESSOR, Role.Kind.VERIFIER, Role.Kind.MANAGER)
        if Permission.SCOPE_MANAGE not in request_permissions(self.request):
            deciders = deciders.filter(pk=self.person.pk)
        candidates = self.holding(Role.Kind.CANDIDATE).exclude(pk=self.person.pk)
        return {"person": deciders, "candidate": candidates}

    def carry_out(self, form: forms.Form) -> object:
        return conflicts.declare(**form.cleaned_data, by=self.person, at=self.now)


class ConflictEnd(RightsForm):
    permission = Permission.CONFLICT_DECLARE
    form_class = EndForm
    heading = "End it"
    back_to = "conflict-list"

    @cached_property
    def conflict(self) -> ConflictOfInterest:
        return get_object_or_404(_conflicts(self).select_related("person", "candidate"), pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.conflict.person} and {self.conflict.candidate}. It stays on record."

    def carry_out(self, form: forms.Form) -> object:
        return conflicts.end(
            conflict=self.conflict, on=form.cleaned_data["ends_on"], by=self.person, at=self.now
        )


class AdjustmentList(AccessMixin, ListView):
    """What is done otherwise, for whom, the newest first."""

    permission = Permission.ADJUSTMENT_AGREE
    template_name = "assessments/adjustment-list.html"
    context_object_name = "adjustments"
    section = "cohorts"
    paginate_by = 60

    def get_queryset(self) -> QuerySet[Adjustment]:
        found = Adjustment.objects.visible_to(self.person).select_related("candidate", "agreed_by")
        return found.order_by("-starts_on", "candidate__name")


class AdjustmentAgree(BeginForm):
    permission = Permission.ADJUSTMENT_AGREE
    form_class = AdjustmentForm
    heading = "Agree on an adjustment"
    intro = (
        "What is done otherwise for a candidate. Nothing of what is asked for changes, nor how it is marked."
    )
    back_to = "adjustment-list"

    @property
    def offers(self) -> dict[str, QuerySet[Any]]:
        return {"candidate": self.holding(Role.Kind.CANDIDATE).exclude(pk=self.person.pk)}

    def carry_out(self, form: forms.Form) -> object:
        return adjustments.agree(**form.cleaned_data, by=self.person, at=self.now)


class AdjustmentEnd(RightsForm):
    permission = Permission.ADJUSTMENT_AGREE
    form_class = EndForm
    heading = "End it"
    back_to = "adjustment-list"

    @cached_property
    def adjustment(self) -> Adjustment:
        found = Adjustment.objects.visible_to(self.person).select_related("candidate")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.adjustment.candidate}: {self.adjustment.what}"

    def carry_out(self, form: forms.Form) -> object:
        return adjustments.end(
            adjustment=self.adjustment, on=form.cleaned_data["ends_on"], by=self.person, at=self.now
        )


class ResitList(AccessMixin, ListView):
    """Every task with what it asks for before it is assessed again, and the leave that was given."""

    permission = Permission.COHORT_READ
    template_name = "assessments/resit-list.html"
    context_object_name = "tasks"
    section = "cohorts"

    def get_queryset(self) -> QuerySet[Task]:
        found = Task.objects.filter(centre=self.centre).filter(
            Q(versions__withdrawn_at=None) | Q(resit_rule__isnull=False)
        )
        return found.select_related("resit_rule").distinct().order_by("position")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        leaves = ResitLeave.objects.filter(task__centre=self.centre).exclude(candidate=self.person)
        return super().get_context_data(
            leaves=leaves.select_related("candidate", "task", "given_by", "used_by").order_by("-at")[:40],
            **context,
        )


class ResitRuleSet(RightsForm):
    permission = Permission.TASK_MANAGE
    form_class = RuleForm
    back_to = "resit-list"

    @cached_property
    def task(self) -> Task:
        found = Task.objects.filter(centre=self.centre).select_related("resit_rule")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def heading(self) -> str:
        return f"Resits: {self.task}"

    @property
    def intro(self) -> str:
        return "Your scheme’s rules come first. The first values here are common practice, with no source."

    def get_initial(self) -> dict[str, Any]:
        rule = getattr(self.task, "resit_rule", None)
        names = ("wait_days", "not_same_day", "other_rig", "most_attempts")
        return {name: getattr(rule, name) for name in names} if rule else {}

    def carry_out(self, form: forms.Form) -> object:
        return resits.set_rule(task=self.task, **form.cleaned_data, by=self.person, at=self.now)


class ResitLeaveGive(BeginForm):
    permission = Permission.RESIT_ALLOW
    form_class = LeaveForm
    heading = "Allow one more attempt"
    intro = "Whatever the task’s rule says, for one assessment. It stays on record with its reason."
    back_to = "resit-list"

    @property
    def offers(self) -> dict[str, QuerySet[Any]]:
        tasks = Task.objects.filter(centre=self.centre, resit_rule__isnull=False).order_by("position")
        return {"candidate": self.holding(Role.Kind.CANDIDATE).exclude(pk=self.person.pk), "task": tasks}

    def carry_out(self, form: forms.Form) -> object:
        leave = resits.give_leave(**form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, f"{leave.candidate} may be assessed once more in “{leave.task}”.")
        return leave
