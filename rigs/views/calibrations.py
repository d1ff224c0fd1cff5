from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.views.generic import View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.refusals import Refused
from rigs import calibrations, certificate_files
from rigs.forms.instruments import CalibrationForm, CertificateFileForm
from rigs.models import Calibration, CertificateFile, Instrument
from rigs.models.certificate_files import ENDINGS, CertificateForm
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

    @transaction.atomic
    def carry_out(self, form: CalibrationForm) -> Calibration:
        """Record it with its file, if there is one: both or neither."""
        given = form.cleaned_data
        calibration = calibrations.record(
            instrument=self.instrument,
            certificate=given["certificate"],
            laboratory=given["laboratory"],
            calibrated_on=given["calibrated_on"],
            due_on=given["due_on"],
            points=form.points,
            as_found_in_tolerance=given["as_found_in_tolerance"],
            late_note=given["late_note"],
            by=self.person,
            at=self.now,
        )
        if given["file"] is not None:
            content = given["file"].read()
            certificate_files.attach(calibration=calibration, content=content, by=self.person, at=self.now)
        messages.success(self.request, f"Certificate {calibration.certificate} is on record.")
        if not calibration.as_found_in_tolerance:
            messages.warning(
                self.request,
                f"{self.instrument.tag} was out of tolerance as found: what was read with it since the "
                "certificate before is in doubt.",
            )
        return calibration


class CertificateAttach(AboutInstrumentView):
    """The file of a certificate that is on record already."""

    permission = Permission.INSTRUMENT_MANAGE
    form_class = CertificateFileForm
    heading = "Add the certificate’s file"

    @cached_property
    def calibration(self) -> Calibration:
        found = Calibration.objects.filter(instrument__centre=self.centre)
        related = found.select_related("instrument__centre", "instrument__model")
        return get_object_or_404(related, pk=self.kwargs["pk"])

    @property
    def instrument(self) -> Instrument:
        return self.calibration.instrument

    @property
    def intro(self) -> str:
        return f"{self.calibration.certificate} of {super().intro}"

    def carry_out(self, form: CertificateFileForm) -> CertificateFile:
        content = form.cleaned_data["file"].read()
        kept = certificate_files.attach(
            calibration=self.calibration, content=content, by=self.person, at=self.now
        )
        messages.success(self.request, f"The file of {self.calibration.certificate} is kept.")
        return kept


class CertificateFileShow(AccessMixin, View):
    """A certificate's file, as it came. A PDF is downloaded: it may hold more than a page shows."""

    permission = Permission.INSTRUMENT_READ

    def get(self, request: HttpRequest, **_kwargs: Any) -> HttpResponse:
        found = CertificateFile.objects.visible_to(self.person).select_related("calibration__instrument")
        kept = get_object_or_404(found, pk=self.kwargs["pk"])
        try:
            content = certificate_files.content_of(kept)
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect("instrument-detail", kept.calibration.instrument_id)
        form = CertificateForm(kept.form)
        how = "attachment" if form is CertificateForm.PDF else "inline"
        name = f"certificate-{kept.calibration.instrument.tag}-{kept.pk}.{ENDINGS[form]}"
        headers = {"Content-Disposition": f'{how}; filename="{ascii_name(name)}"'}
        return HttpResponse(content, content_type=str(form), headers=headers)


def ascii_name(name: str) -> str:
    """A file's name without what a header can't carry."""
    return "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in "-.") else "_" for letter in name
    )
