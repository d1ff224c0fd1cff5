from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.urls import reverse
from django.views.generic import DetailView

from academy.access import AccessMixin, request_permissions
from academy.models import Centre
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from rigs import board, charts, faults, register, sessions, thresholds
from rigs.forms.rigs import RetireForm, RigChangeForm, RigForm, ThresholdForm
from rigs.models import Rig
from rigs.views.about import AboutRigView

CHECKS_ON_A_PAGE = 20


class RigDetail(AccessMixin, DetailView):
    """How a rig stands, without a number: what it reads is on pages of its own, and seeing those counts."""

    permission = Permission.RIG_READ
    template_name = "rigs/rig-detail.html"
    context_object_name = "rig"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Rig]:
        session = sessions.current(centre=self.centre, at=self.now)
        found = Rig.objects.visible_to(self.person).with_board(session=session)
        return found.select_related("design", "centre")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        rig = self.object
        checks = rig.checks.select_related("session", "made_by", "baseline")
        known = rig.baselines.select_related("made_by", "decided_by").order_by("-number")
        holds = list(rig.holds.select_related("placed_by", "released_by"))
        may_set_faults = Permission.FAULT_SET in request_permissions(self.request)
        hold = float(rig.centre.hold_percent)
        state = board.states(rigs=[rig], centre=rig.centre, on=self.today).get(rig.pk)
        levels = state.levels if state else ()
        return super().get_context_data(
            state=state,
            lines=[(each, charts.sparkline(each, hold_percent=hold)) for each in levels],
            last=checks.first(),
            baselines=known,
            unfinished=next((each for each in known if not each.is_decided), None),
            page_obj=Paginator(checks, CHECKS_ON_A_PAGE).get_page(self.request.GET.get("page")),
            holds=holds,
            hold=next((each for each in holds if each.released_at is None), None),
            fault=faults.set_on(rig=rig) if may_set_faults else None,
            **context,
        )


class RigCreate(VerbFormView):
    permission = Permission.RIG_MANAGE
    form_class = RigForm
    section = "rigs"
    heading = "Add a rig"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"centre": self.centre}

    def carry_out(self, form: forms.Form) -> Rig:
        rig = register.add_rig(**form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, f"{rig.tag} is on the bench. It needs a baseline next.")
        return rig

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("rig-list"), **context)

    def get_success_url(self) -> str:
        return reverse("rig-detail", args=[self.done.pk])


class RigChange(AboutRigView):
    permission = Permission.RIG_MANAGE
    form_class = RigChangeForm
    heading = "Where it stands, and its inspection"

    def get_initial(self) -> dict[str, Any]:
        return {
            "place": self.rig.place,
            "electrical_inspection_due": self.rig.electrical_inspection_due,
        }

    def carry_out(self, form: forms.Form) -> Rig:
        return register.change_rig(rig=self.rig, **form.cleaned_data, by=self.person, at=self.now)


class ThresholdChange(VerbFormView):
    """When a rig of the centre is watched, taken out of use, and due for a new baseline."""

    permission = Permission.CENTRE_MANAGE
    form_class = ThresholdForm
    section = "rigs"
    heading = "When a rig is watched or held"
    intro = "They count from the next check on. The weighted average of the checks has limits of its own."

    def get_initial(self) -> dict[str, Any]:
        return {name: getattr(self.centre, name) for name in ThresholdForm.base_fields}

    def carry_out(self, form: forms.Form) -> Centre:
        return thresholds.change(centre=self.centre, **form.cleaned_data, by=self.person, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("rig-list"), **context)

    def get_success_url(self) -> str:
        messages.success(self.request, "The values are saved. Verdicts given before stand.")
        return reverse("rig-list")


class RigRetire(AboutRigView):
    permission = Permission.RIG_MANAGE
    form_class = RetireForm
    heading = "Retire a rig"

    def carry_out(self, form: forms.Form) -> None:
        register.retire(thing=self.rig, why=form.cleaned_data["why"], by=self.person, at=self.now)
        messages.success(self.request, f"{self.rig.tag} is retired.")
