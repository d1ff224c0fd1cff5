from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property

from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from assessments import faults
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
        setting = faults.set_fault(
            rig=self.rig, fault=form.cleaned_data["fault"], by=self.person, at=self.now
        )
        messages.success(self.request, f"Recorded on {self.rig.tag}: {setting.fault.label.lower()}.")
        return setting

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), rig=self.rig, **context)

    def get_success_url(self) -> str:
        return reverse("rig-detail", args=[self.rig.pk])


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
