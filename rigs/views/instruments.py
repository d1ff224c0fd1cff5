from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.urls import reverse
from django.views.generic import DetailView, ListView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView
from rigs import references, register, suitability
from rigs.forms.instruments import InstrumentForm, InstrumentModelForm
from rigs.forms.rigs import RetireForm
from rigs.models import Instrument, InstrumentModel
from rigs.models.instruments import InstrumentKind
from rigs.views.about import AboutInstrumentView


class InstrumentList(AccessMixin, ListView):
    permission = Permission.INSTRUMENT_READ
    template_name = "rigs/instrument-list.html"
    section = "instruments"
    paginate_by = 50

    def get_queryset(self) -> QuerySet[Instrument]:
        found = Instrument.objects.visible_to(self.person).with_state().by_due_date()
        return found.select_related("model")


class InstrumentDetail(AccessMixin, DetailView):
    permission = Permission.INSTRUMENT_READ
    template_name = "rigs/instrument-detail.html"
    context_object_name = "instrument"
    section = "instruments"

    def get_queryset(self) -> QuerySet[Instrument]:
        found = Instrument.objects.visible_to(self.person).with_state()
        return found.select_related("model", "centre").prefetch_related("model__ranges")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        instrument = self.object
        calibration, corrections = references.corrections(instrument=instrument, on=self.today)
        holds = list(instrument.holds.select_related("placed_by", "released_by"))
        return super().get_context_data(
            ranges=instrument.model.ranges.all(),
            calibrations=instrument.calibrations.select_related("recorded_by").prefetch_related(
                "points", "files"
            ),
            decides=suitability.decided_by(instrument),
            correcting=calibration,
            corrections=corrections,
            holds=holds,
            hold=next((each for each in holds if each.released_at is None), None),
            **context,
        )


class InstrumentCreate(VerbFormView):
    permission = Permission.INSTRUMENT_MANAGE
    form_class = InstrumentForm
    section = "instruments"
    heading = "Add an instrument"
    intro = "Its model comes first: the maker’s type with its specification."

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"centre": self.centre}

    def get_initial(self) -> dict[str, Any]:
        return {"model": self.request.GET.get("model")}

    def carry_out(self, form: forms.Form) -> Instrument:
        return register.add_instrument(**form.cleaned_data, by=self.person, at=self.now)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("instrument-list"), **context)

    def get_success_url(self) -> str:
        return reverse("instrument-detail", args=[self.done.pk])


class InstrumentModelCreate(VerbFormView):
    """The maker's type first; the instrument of it is next."""

    permission = Permission.INSTRUMENT_MANAGE
    form_class = InstrumentModelForm
    section = "instruments"
    heading = "Add an instrument model"
    intro = (
        "Copy the ranges that are used here from the maker’s specification. They can’t be changed afterwards."
    )

    def carry_out(self, form: InstrumentModelForm) -> InstrumentModel:
        model = register.add_instrument_model(
            centre=self.centre,
            kind=InstrumentKind(form.cleaned_data["kind"]),
            name=form.cleaned_data["name"],
            ranges=form.range_lines,
            by=self.person,
            at=self.now,
        )
        messages.success(self.request, f"{model.name} is added. Add the instrument itself next.")
        return model

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("instrument-list"), **context)

    def get_success_url(self) -> str:
        return reverse("instrument-create", query={"model": self.done.pk})


class InstrumentRetire(AboutInstrumentView):
    permission = Permission.INSTRUMENT_MANAGE
    form_class = RetireForm
    heading = "Retire an instrument"

    def carry_out(self, form: forms.Form) -> None:
        register.retire(thing=self.instrument, why=form.cleaned_data["why"], by=self.person, at=self.now)
        messages.success(self.request, f"{self.instrument.tag} is retired.")
