from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any
from uuid import uuid4

from crispy_forms.bootstrap import AppendedText
from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, LayoutObject, Row
from django import forms
from django.utils.functional import cached_property

from academy.forms import SheetForm
from academy.models import Centre
from rigs.fields import TypedReadingField
from rigs.forms.layout import ConditionBanner, More
from rigs.forms.room import RoomFields
from rigs.instruments import choices
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading
from rigs.models import Instrument, Measurand
from rigs.models.designs import MeasurandKind
from rigs.models.instruments import InstrumentKind
from rigs.repeats import field_name, kinds_needed, unfit


class ReferenceReadingsForm(RoomFields, SheetForm):
    """Runs with reference instruments: one reading of every measurand in each, by condition.

    `measurands` come with their test point and condition. `remembered` are the instruments used last, by
    kind; with all of them there the choice is folded away. `asks_for_room` where the room's air isn't known
    yet, with the `accuracies` that were given last.
    """

    def __init__(
        self,
        *args: Any,
        centre: Centre,
        measurands: Sequence[Measurand],
        repeats: Sequence[int],
        remembered: Mapping[str, str],
        asks_for_room: bool = True,
        accuracies: Mapping[str, float] | None = None,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.measurands = measurands
        self.repeats = repeats
        self.kinds = kinds_needed(measurands)
        for kind in self.kinds:
            self.fields[kind] = _reference_field(centre, kind, remembered.get(kind))
        for repeat in repeats:
            for measurand in measurands:
                field = _reading_field(measurand)
                if len(repeats) > 1:
                    field.label = f"{field.label}, run {repeat}"
                self.fields[field_name(measurand, repeat=repeat)] = field
        if asks_for_room:
            self.add_room(initial=accuracies)

    @property
    def instruments(self) -> dict[str, Instrument]:
        return {kind: self.cleaned_data[kind] for kind in self.kinds if kind in self.cleaned_data}

    @property
    def runs(self) -> list[dict[Measurand, TypedReading]]:
        return [
            {each: self.cleaned_data[field_name(each, repeat=repeat)] for each in self.measurands}
            for repeat in self.repeats
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        instruments = self.instruments
        if len(instruments) < len(self.kinds):
            return cleaned
        for repeat in self.repeats:
            for measurand in self.measurands:
                name = field_name(measurand, repeat=repeat)
                why = unfit(measurand, cleaned[name], instruments=instruments) if name in cleaned else None
                if why is not None:
                    self.add_error(name, why)
        return cleaned

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        room = [self.room_layout()] if self.asks_for_room else []
        helper.layout = Layout(self._instrument_fields(), *room, *self._run_fields())
        return helper

    def _instrument_fields(self) -> LayoutObject:
        chosen = [self.fields[kind].initial for kind in self.kinds]
        is_wrong = any(kind in self.errors for kind in self.kinds)
        if not all(chosen):
            return Fieldset("Reference instruments", *self.kinds)
        tags = " and ".join(instrument.tag for instrument in chosen)
        return More(f"Reference instruments: {tags}", *self.kinds, is_open=is_wrong)

    def _run_fields(self) -> Iterator[LayoutObject]:
        for repeat in self.repeats:
            legend = f"Run {repeat}" if len(self.repeats) > 1 else ""
            yield Fieldset(legend, *self._conditions(repeat))

    def _conditions(self, repeat: int) -> Iterator[LayoutObject]:
        for condition, measurands in groupby(self.measurands, key=lambda each: each.condition):
            yield ConditionBanner(condition)
            yield Row(
                *(AppendedText(field_name(each, repeat=repeat), each.test_point.unit) for each in measurands)
            )


class BaselineRunForm(ReferenceReadingsForm):
    """One run. It carries its number, so that sending it twice records it once."""

    button = "Save this run"

    run = forms.IntegerField(widget=forms.HiddenInput)

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        helper.layout.insert(0, "run")
        return helper


class CheckForm(ReferenceReadingsForm):
    """The runs of one check. It carries the check's id, so that sending it twice records it once."""

    button = "Judge the check"

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4, required=False)

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        helper.layout.insert(0, "id")
        return helper


def _reference_field(
    centre: Centre, kind: InstrumentKind, remembered: str | None
) -> "forms.ModelChoiceField[Any]":
    references = choices(centre=centre, kinds=(kind,)).references()
    name = kind.label.lower()
    field = forms.ModelChoiceField(
        references,
        label=f"Reference {name}",
        empty_label="Pick one",
        error_messages={"required": f"Choose the {name} that was used."},
    )
    known = list(references)
    field.initial = next((each for each in known if str(each.pk) == remembered), None)
    if not known:
        field.help_text = f"No reference {name} is in use: a technician adds one under Instruments."
    return field


def _reading_field(measurand: Measurand) -> TypedReadingField:
    point = measurand.test_point
    is_state = measurand.kind == MeasurandKind.STATE
    return TypedReadingField(
        label=point.label,
        quantity=Quantity(point.quantity),
        unit=point.unit,
        # Near zero a reading may be below it.
        letters=is_state or measurand.tolerance_floor > 0,
    )
