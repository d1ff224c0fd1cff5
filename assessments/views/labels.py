"""Labels and hold notices to print."""

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.generic import FormView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from assessments import labels
from assessments.label_forms import LabelsForm
from assessments.labels import NoticeSize
from assessments.views.log_sheets import printed
from rigs.models import Hold, Instrument, Rig


def scan_address(thing: UUID) -> str:
    """Under the site's own address, whichever one the request came by: a label lasts for years."""
    return settings.SITE_ADDRESS.rstrip("/") + reverse("scan", args=[thing])


class LabelSheet(AccessMixin, FormView):
    """Labels on one or more sheets of A4, for the rigs and instruments that are ticked."""

    permission = Permission.RIG_MANAGE
    template_name = "assessments/label-sheet.html"
    form_class = LabelsForm
    section = "rigs"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"centre": self.centre}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        form = context.get("form") or self.get_form()
        is_empty = not form.fields["rigs"].queryset and not form.fields["instruments"].queryset
        return super().get_context_data(
            **context | {"form": form, "is_empty": is_empty, "site": settings.SITE_ADDRESS}
        )

    def form_valid(self, form: LabelsForm) -> HttpResponse:
        things = {thing: scan_address(thing.pk) for thing in form.things}
        first = form.cleaned_data["first"]
        made = labels.sheet(things=things, centre=self.centre, first=first, at=self.now)
        return printed(self.request, made, name="labels", back=reverse("label-sheet"))


class RigLabel(AccessMixin, View):
    permission = Permission.RIG_MANAGE

    def get(self, request: HttpRequest, rig: UUID) -> HttpResponseBase:
        found = Rig.objects.visible_to(self.person).select_related("centre", "design")
        thing = get_object_or_404(found, pk=rig)
        made = labels.one(thing=thing, address=scan_address(thing.pk), at=self.now)
        return printed(request, made, name=f"label-{thing.tag}", back=reverse("rig-detail", args=[rig]))


class InstrumentLabel(AccessMixin, View):
    permission = Permission.INSTRUMENT_MANAGE

    def get(self, request: HttpRequest, instrument: UUID) -> HttpResponseBase:
        found = Instrument.objects.visible_to(self.person).select_related("centre", "model")
        thing = get_object_or_404(found, pk=instrument)
        made = labels.one(thing=thing, address=scan_address(thing.pk), at=self.now)
        back = reverse("instrument-detail", args=[instrument])
        return printed(request, made, name=f"label-{thing.tag}", back=back)


class HoldNotice(AccessMixin, View):
    """What hangs on the thing while it is on hold; a hold that is released has none any more."""

    permission = Permission.HOLD_PLACE

    def get(self, request: HttpRequest, pk: UUID) -> HttpResponseBase:
        found = Hold.objects.visible_to(self.person).open()
        hold = get_object_or_404(
            found.select_related(
                "placed_by", "rig__centre", "rig__design", "instrument__centre", "instrument__model"
            ),
            pk=pk,
        )
        thing = hold.rig or hold.instrument
        size = NoticeSize.A5 if request.GET.get("size") == NoticeSize.A5 else NoticeSize.A6
        made = labels.hold_notice(hold=hold, address=scan_address(thing.pk), size=size, at=self.now)
        page = "rig-detail" if hold.rig else "instrument-detail"
        return printed(request, made, name=f"on-hold-{thing.tag}", back=reverse(page, args=[thing.pk]))
