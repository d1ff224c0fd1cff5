"""A session's rotation: planning it, planning it again, changing places, and its sheet."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, ListView, View

from academy.access import AccessMixin
from academy.models import Centre, Cohort, Membership, Person, Role
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import rotation_inputs, rotation_sheet, rotation_table, rotations
from assessments.models import PlanChange, SessionPlan, Task
from assessments.models.attempts import Purpose
from assessments.session_forms import ReplanForm, RotationForm, SwapForm, slot_choices
from assessments.views.log_sheets import printed
from rigs.models import Hold, Rig


def _held(centre: Centre) -> Any:
    """A query for the ids of the rigs that are on hold."""
    return Hold.objects.open().filter(rig__centre=centre).values("rig")


class RotationList(AccessMixin, ListView):
    """Rotations, the newest first."""

    permission = Permission.SESSION_READ
    template_name = "assessments/rotation-list.html"
    context_object_name = "plans"
    section = "session"
    paginate_by = 20

    def get_queryset(self) -> QuerySet[SessionPlan]:
        return SessionPlan.objects.visible_to(self.person)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        cohorts = Cohort.objects.filter(centre=self.centre, ends_on__gte=self.today)
        return super().get_context_data(cohorts=cohorts.order_by("starts_on", "name"), **context)


class RotationCreate(VerbFormView):
    """For the candidates of one cohort, with what the last rotation was made of filled in."""

    permission = Permission.SESSION_PLAN
    template_name = "assessments/rotation-create.html"
    form_class = RotationForm
    section = "session"
    heading = "Plan a rotation"

    @cached_property
    def cohort(self) -> Cohort:
        return get_object_or_404(Cohort, pk=self.kwargs["cohort"], centre=self.centre)

    @cached_property
    def candidates(self) -> QuerySet[Person]:
        members = Membership.objects.in_force(on=self.today).filter(cohort=self.cohort)
        return Person.objects.visible_to(self.person).filter(pk__in=members.values("person")).order_by("name")

    @cached_property
    def tasks(self) -> QuerySet[Task]:
        tasks = Task.objects.filter(centre=self.centre, versions__withdrawn_at=None, versions__isnull=False)
        return tasks.distinct().order_by("position", "title")

    @cached_property
    def rigs(self) -> QuerySet[Rig]:
        free = Rig.objects.visible_to(self.person).in_use().exclude(pk__in=_held(self.centre))
        return free.order_by("tag")

    @property
    def assessors(self) -> QuerySet[Person]:
        assessors = Person.objects.visible_to(self.person).holding(Role.Kind.ASSESSOR, on=self.today)
        return assessors.order_by("name")

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "candidates": self.candidates,
            "rigs": self.rigs,
            "tasks": self.tasks,
            "assessors": self.assessors,
        }

    def get_initial(self) -> dict[str, Any]:
        last = SessionPlan.objects.visible_to(self.person).order_by("-starts_at").first()
        planned = self.tasks.filter(planned_for__cohort=self.cohort)
        made = {
            "minutes": last.minutes if last else 180,
            "slots": last.slots if last else 6,
            "change_over": last.change_over if last else 4,
            "per_assessor": last.per_assessor if last else 6,
            "alone": last.alone.all() if last else (),
        }
        return made | {
            "starts_at": self.now,
            "purpose": Purpose.ASSESSMENT,
            "together": "2",
            "candidates": self.candidates,
            "rigs": self.rigs,
            "tasks": planned if planned.exists() else self.tasks,
            "assessors": self.assessors.filter(pk=self.person.pk),
        }

    def carry_out(self, form: forms.Form) -> SessionPlan:
        assert isinstance(form, RotationForm)
        return rotations.plan(centre=self.centre, wanted=form.wanted(), by=self.person, at=self.now)

    def get_success_url(self) -> str:
        return reverse("rotation-detail", args=[self.done.pk])


class RotationDetail(AccessMixin, DetailView):
    """Slots × rigs; on a phone each candidate's own way round."""

    permission = Permission.SESSION_READ
    template_name = "assessments/rotation-detail.html"
    context_object_name = "plan"
    section = "session"

    def get_queryset(self) -> QuerySet[SessionPlan]:
        return SessionPlan.objects.visible_to(self.person).prefetch_related("assessors")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        changes = PlanChange.objects.filter(plan=self.object).select_related("made_by").order_by("-number")
        return super().get_context_data(
            table=rotation_table.table(self.object, at=self.now),
            changes=changes,
            held=self._held_ahead(),
            **context,
        )

    def _held_ahead(self) -> QuerySet[Rig]:
        """Rigs on hold that slots of today, or of days to come, still count on."""
        current = self.object.slot_at(self.now)
        ahead = self.object.planned.standing().filter(slot__gte=current).values("rig")
        return Rig.objects.filter(pk__in=ahead).filter(pk__in=_held(self.centre)).order_by("tag")


class OfPlan(VerbFormView):
    """A page that changes a plan."""

    permission = Permission.SESSION_PLAN
    section = "session"

    @cached_property
    def plan(self) -> SessionPlan:
        return get_object_or_404(SessionPlan.objects.visible_to(self.person), pk=self.kwargs["pk"])

    @property
    def slots(self) -> list[tuple[int, str]]:
        return slot_choices((slot, self.plan.begins(slot)) for slot in range(1, self.plan.slots + 1))

    @property
    def next_slot(self) -> int:
        """The one that hasn't begun yet: what is under way is too late to plan."""
        return min(self.plan.slot_at(self.now) + 1, self.plan.slots)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("rotation-detail", args=[self.plan.pk])


class RotationReplan(OfPlan):
    form_class = ReplanForm
    heading = "Plan again"
    intro = "What was done stays. Take out what can’t be used, and whoever isn’t here."

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "slots": self.slots,
            "rigs": Rig.objects.filter(pk__in=self.plan.rigs.values("rig")).order_by("tag"),
            "present": Person.objects.filter(pk__in=self.plan.members.values("candidate")).order_by("name"),
        }

    def get_initial(self) -> dict[str, Any]:
        usable = self.plan.rigs.filter(out_from=None).exclude(rig__in=_held(self.centre))
        return {
            "from_slot": self.next_slot,
            "rigs": usable.values_list("rig", flat=True),
            "present": self.plan.members.filter(absent_from=None).values_list("candidate", flat=True),
        }

    def carry_out(self, form: forms.Form) -> SessionPlan:
        return rotations.replan(plan=self.plan, **form.cleaned_data, by=self.person, at=self.now)


class RotationSwap(OfPlan):
    form_class = SwapForm
    heading = "Let two change places"
    intro = "In one slot. Whoever has no place in it can change with somebody who has."

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"slots": self.slots, "teams": self.teams}

    @cached_property
    def teams(self) -> list[tuple[int, str]]:
        return [
            (int(key), " and ".join(str(person) for person in people))
            for key, people in rotation_inputs.teams_of(self.plan).items()
            if people
        ]

    def get_initial(self) -> dict[str, Any]:
        return {"slot": self.next_slot} | dict(
            zip(("first", "second"), (number for number, _ in self.teams), strict=False)
        )

    def carry_out(self, form: forms.Form) -> SessionPlan:
        return rotations.swap(plan=self.plan, **form.cleaned_data, by=self.person, at=self.now)


class RotationPrint(AccessMixin, View):
    """The session sheet, for the wall and for a day without a network."""

    permission = Permission.SESSION_READ

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        plans = SessionPlan.objects.visible_to(self.person).select_related("centre")
        plan = get_object_or_404(plans.prefetch_related("assessors"), pk=self.kwargs["pk"])
        sheet = rotation_sheet.sheet(plan=plan, at=self.now)
        name = f"session-{plan.on:%Y-%m-%d}-{plan.half}"
        return printed(request, sheet, name=name, back=reverse("rotation-detail", args=[plan.pk]))
