from typing import Any

from django.contrib import messages
from django.shortcuts import get_object_or_404
from django.utils.functional import cached_property

from academy.permissions import Permission
from rigs import calibrations
from rigs.forms.instruments import CalibrationForm
from rigs.models import Calibration, Instrument
from rigs.models.instruments import CALIBRATED_KINDS
from rigs.views.about import AboutInstrumentView


class CalibrationRecord(AboutInstrumentView):
    permission = Permission.INSTRUMENT_MANAGE
    form_class = CalibrationForm
    heading = "Record a certificate"

    @cached_property
    def instrument(self) -> Instrument:
        calibrated = Instrument.objects.visible_to(self.person).filter(model__kind__in=CALIBRATED_KINDS)
        found = calibrated.select_related("centre", "model").prefetch_related("model__ranges")
        return get_object_or_404(found, pk=self.kwargs["instrument"])

    @property
    def intro(self) -> str:
        return f"{super().intro}. An error is what it indicates minus the reference."

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"instrument": self.instrument}

    def carry_out(self, form: CalibrationForm) -> Calibration:
        given = form.cleaned_data
        calibration = calibrations.record(
            instrument=self.instrument,
            certificate=given["certificate"],
            laboratory=given["laboratory"],
            calibrated_on=given["calibrated_on"],
            due_on=given["due_on"],
            points=form.points,
            as_found_in_tolerance=given["as_found_in_tolerance"],
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, f"Certificate {calibration.certificate} is on record.")
        if not calibration.as_found_in_tolerance:
            messages.warning(
                self.request,
                f"{self.instrument.tag} was out of tolerance as found: what was read with it since the "
                "certificate before is in doubt.",
            )
        return calibration
