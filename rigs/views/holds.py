from typing import Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property

from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from rigs import holds
from rigs.forms.rigs import HoldForm, ReleaseForm
from rigs.models import Hold
from rigs.models.checks import CheckVerdict
from rigs.views.about import AboutInstrumentView, AboutRigView


class RigHoldPlace(AboutRigView):
    permission = Permission.HOLD_PLACE
    form_class = HoldForm
    heading = "Take a rig out of use"

    def get_initial(self) -> dict[str, Any]:
        """Give the reason where the rig's latest check proposes a hold: without a reading of the rig."""
        check = self.rig.checks.select_related("session").first()
        if check is None or check.verdict != CheckVerdict.HOLD:
            return {}
        said = f"The check of {check.session} didn’t agree with the baseline."
        return {"reason": " ".join([said, *check.words])[: HoldForm.MOST]}

    def carry_out(self, form: forms.Form) -> Hold:
        hold = holds.place(on=self.rig, reason=form.cleaned_data["reason"], by=self.person, at=self.now)
        messages.success(self.request, f"{self.rig.tag} is on hold. Put a tag on it that says so.")
        return hold


class InstrumentHoldPlace(AboutInstrumentView):
    permission = Permission.HOLD_PLACE
    form_class = HoldForm
    heading = "Take an instrument out of use"

    def carry_out(self, form: forms.Form) -> Hold:
        reason = form.cleaned_data["reason"]
        hold = holds.place(on=self.instrument, reason=reason, by=self.person, at=self.now)
        messages.success(self.request, f"{self.instrument.tag} is on hold. Put a tag on it that says so.")
        return hold


class HoldRelease(VerbFormView):
    permission = Permission.HOLD_PLACE
    form_class = ReleaseForm
    heading = "Give back for use"

    @cached_property
    def hold(self) -> Hold:
        visible = Hold.objects.visible_to(self.person)
        found = visible.select_related("rig__centre", "instrument__centre", "placed_by")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    @property
    def section(self) -> str:
        return "rigs" if self.hold.rig_id else "instruments"

    @property
    def intro(self) -> str:
        return f"{self.hold.rig or self.hold.instrument}, on hold: {self.hold.reason}"

    def carry_out(self, form: forms.Form) -> Hold:
        held = holds.release(
            hold=self.hold, evidence=form.cleaned_data["evidence"], by=self.person, at=self.now
        )
        messages.success(self.request, f"{self.hold.rig or self.hold.instrument} is back in service.")
        return held

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(**{"back": self.get_success_url()} | context)

    def get_success_url(self) -> str:
        if self.hold.rig_id:
            return reverse("rig-detail", args=[self.hold.rig_id])
        return reverse("instrument-detail", args=[self.hold.instrument_id])
