"""How long records are kept, what is due to go, and what holds it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse, reverse_lazy
from django.utils.functional import cached_property
from django.views.generic import ListView, TemplateView

from academy import retention
from academy.access import AccessMixin
from academy.forms import DisposeForm, RecordHoldForm, RecordHoldLiftForm, RetentionPeriodForm
from academy.models import Disposal, RecordHold, RetentionPeriod
from academy.permissions import Permission
from academy.personal import RecordKind
from academy.refusals import Refused
from academy.views.people import AboutPersonView
from academy.views.verb_form import VerbFormView


class RetentionList(AccessMixin, TemplateView):
    """Every kind of record with its period, and how much of it is due."""

    permission = Permission.CENTRE_MANAGE
    template_name = "academy/retention-list.html"
    section = "people"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = [retention.due(centre=self.centre, kind=kind, at=self.now) for kind in retention.kinds()]
        holds = RecordHold.objects.visible_to(self.person).open().select_related("person", "placed_by")
        return super().get_context_data(found=found, holds=holds, **context)


class OfAKind(VerbFormView):
    permission = Permission.CENTRE_MANAGE
    section = "people"
    success_url = reverse_lazy("retention-list")

    @cached_property
    def kind(self) -> RecordKind:
        try:
            return retention.kind_named(self.kwargs["kind"])
        except Refused:
            raise Http404 from None

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(kind=self.kind, back=reverse("retention-list"), **context)


class RetentionPeriodSet(OfAKind):
    form_class = RetentionPeriodForm
    heading = "Change a period"

    @property
    def intro(self) -> str:
        return f"{self.kind.title}, counted from {self.kind.counted_from}."

    def get_initial(self) -> dict[str, Any]:
        period = retention.period_of(centre=self.centre, kind=self.kind)
        return {"months": period.months, "source": period.own.source if period.own else ""}

    def carry_out(self, form: forms.Form) -> RetentionPeriod:
        return retention.set_period(
            centre=self.centre, kind=self.kind, **form.cleaned_data, by=self.person, at=self.now
        )


class RetentionDispose(OfAKind):
    """What would go, and, once that is confirmed, going."""

    form_class = DisposeForm
    template_name = "academy/retention-dispose.html"
    heading = "Dispose of records"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = retention.due(centre=self.centre, kind=self.kind, at=self.now)
        return super().get_context_data(found=found, **context)

    def carry_out(self, form: forms.Form) -> int:
        count = retention.dispose(centre=self.centre, kind=self.kind, by=self.person, at=self.now)
        if not count:
            raise Refused("Nothing of this kind is due.")
        records = "1 record is" if count == 1 else f"{count} records are"
        messages.success(self.request, f"{records} disposed of.")
        return count


class DisposalList(AccessMixin, ListView):
    """What was disposed of, by whom, and under which period."""

    permission = Permission.LEDGER_READ
    template_name = "academy/disposal-list.html"
    section = "people"
    paginate_by = 50

    def get_queryset(self) -> QuerySet[Disposal]:
        return Disposal.objects.filter(centre=self.centre).select_related("by")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        titles = {kind.slug: kind.title for kind in retention.kinds()}
        given = super().get_context_data(**context)
        return given | {"rows": [(one, titles.get(one.kind, one.kind)) for one in given["page_obj"]]}


class RecordHoldPlace(AboutPersonView):
    form_class = RecordHoldForm
    heading = "Put records on hold"

    def carry_out(self, form: forms.Form) -> RecordHold:
        return retention.place_hold(person=self.shown, **form.cleaned_data, by=self.person, at=self.now)


class RecordHoldLift(AboutPersonView):
    form_class = RecordHoldLiftForm
    heading = "Lift a hold on records"

    @cached_property
    def hold(self) -> RecordHold:
        mine = RecordHold.objects.select_related("person__centre").filter(person=self.shown)
        return get_object_or_404(mine, pk=self.kwargs["hold"])

    @property
    def intro(self) -> str:
        return f"{self.shown.name}: {self.hold.get_cause_display().lower()}"

    def carry_out(self, form: forms.Form) -> RecordHold:
        why = form.cleaned_data["why"]
        return retention.lift_hold(hold=self.hold, why=why, by=self.person, at=self.now)
