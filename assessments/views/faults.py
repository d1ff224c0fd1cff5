from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, ListView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import disclosure, faults
from assessments.rig_forms import FaultForm, FaultRemovalForm
from rigs.models import Fault, FaultSetting, Rig


class FaultSet(VerbFormView):
    permission = Permission.FAULT_SET
    form_class = FaultForm
    template_name = "assessments/fault-set.html"
    section = "rigs"
    heading = "Set a fault"

    @cached_property
    def rig(self) -> Rig:
        found = Rig.objects.visible_to(self.person).select_related("centre", "design")
        return get_object_or_404(found, pk=self.kwargs["rig"])

    @property
    def intro(self) -> str:
        return f"{self.rig.tag}, {self.rig.design.name.lower()}. Candidates aren’t told."

    @cached_property
    def choices(self) -> QuerySet[Fault]:
        return self.rig.design.faults.all()

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"choices": self.choices}

    def carry_out(self, form: forms.Form) -> FaultSetting:
        setting = faults.set_fault(rig=self.rig, by=self.person, at=self.now, **form.cleaned_data)
        messages.success(self.request, f"Recorded on {self.rig.tag}: {setting.fault.label.lower()}.")
        return setting

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        back = reverse("rig-detail", args=[self.rig.pk])
        return super().get_context_data(back=back, rig=self.rig, **context)

    def get_success_url(self) -> str:
        return reverse("fault-detail", args=[self.done.pk])


class FaultDetail(AccessMixin, DetailView):
    """One fault that was set: what it should do to the rig's readings, who worked on it, who took it off."""

    permission = Permission.FAULT_SET
    template_name = "assessments/fault-detail.html"
    context_object_name = "setting"
    section = "rigs"

    def get_queryset(self) -> QuerySet[FaultSetting]:
        visible = FaultSetting.objects.visible_to(self.person)
        return visible.select_related("rig", "fault", "set_by", "removed_by")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        setting = self.object
        if setting.pattern:
            disclosure.note_seen(person=self.person, rig=setting.rig, at=self.now)
        worked = setting.attempts.select_related("candidate", "version__task").order_by("started_at")
        return super().get_context_data(
            attempts=worked, lookalikes=_labels(setting), is_set=setting.removed_at is None, **context
        )


class FaultList(AccessMixin, ListView):
    """Every fault that was ever set on a rig, the latest first."""

    permission = Permission.FAULT_SET
    template_name = "assessments/fault-list.html"
    context_object_name = "settings"
    section = "rigs"
    paginate_by = 40

    @cached_property
    def rig(self) -> Rig:
        return get_object_or_404(Rig.objects.visible_to(self.person), pk=self.kwargs["rig"])

    def get_queryset(self) -> QuerySet[FaultSetting]:
        found = FaultSetting.objects.filter(rig=self.rig).select_related("fault", "set_by", "removed_by")
        return found.annotate(worked=Count("attempts")).order_by("-set_at")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(rig=self.rig, **context)


def _labels(setting: FaultSetting) -> list[str]:
    """What the setting can't be told from, in the words of the design."""
    known = Fault.objects.filter(design=setting.rig.design_id, slug__in=setting.lookalikes)
    labels = dict(known.values_list("slug", "label"))
    return [labels.get(slug, "Nothing is wrong") for slug in setting.lookalikes]


class FaultRemove(VerbFormView):
    permission = Permission.FAULT_SET
    form_class = FaultRemovalForm
    section = "rigs"
    heading = "Remove a fault"

    @cached_property
    def setting(self) -> FaultSetting:
        visible = FaultSetting.objects.visible_to(self.person)
        return get_object_or_404(visible.select_related("rig__centre", "fault"), pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return f"{self.setting.rig.tag}: {self.setting.fault.label.lower()}"

    def carry_out(self, form: forms.Form) -> FaultSetting:
        removed = faults.remove(setting=self.setting, by=self.person, at=self.now)
        messages.success(
            self.request, f"The fault is off {self.setting.rig.tag}. Check the rig before it is used."
        )
        return removed

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("rig-detail", args=[self.setting.rig_id])
