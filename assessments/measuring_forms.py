"""The form of a step on which the candidate chooses what to measure, for a phone without JavaScript."""

from collections.abc import Sequence
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Field, Layout, Submit
from django import forms
from django.utils.functional import cached_property

from assessments.forms import NO_NUMBER, TONES, StepForm, display_field
from assessments.models import Step
from rigs.metrology.quantities import UNITS, Qualifier, Quantity
from rigs.metrology.readings import ReadingError, TypedReading, parse
from rigs.models import Condition, TestPoint

BUTTONS = NO_NUMBER | TONES


class PointSelect(forms.RadioSelect):
    """Test points as big choices. Each says what is read there, so that only its units need to be shown."""

    quantities: dict[str, str]

    def create_option(self, name: str, value: Any, *args: Any, **options: Any) -> dict[str, Any]:
        option = super().create_option(name, value, *args, **options)
        option["attrs"]["data-reads"] = self.quantities[str(value)]
        return option


class MeasurementForm(StepForm):
    """Where, in which condition, and what the display shows there. Cleans to ``typed``.

    Each quantity has a unit of its own, ``unit_pressure``, so that changing the test point changes no unit.
    """

    button = "Log the reading"
    qualifier = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        step: Step,
        test_points: Sequence[TestPoint],
        conditions: Sequence[Condition],
        **options: Any,
    ) -> None:
        super().__init__(*args, step=step, **options)
        self.known_points = {each.slug: each for each in test_points}
        self.known_conditions = {each.slug: each for each in conditions}
        self.quantities = list(dict.fromkeys(Quantity(each.quantity) for each in test_points))
        select = PointSelect()
        select.quantities = {slug: each.quantity for slug, each in self.known_points.items()}
        self.fields["test_point"] = forms.TypedChoiceField(
            label="Where",
            choices=[(slug, each.label) for slug, each in self.known_points.items()],
            coerce=self.known_points.get,
            widget=select,
            error_messages={
                "required": "Choose where you measured.",
                "invalid_choice": "Choose one of this task’s test points.",
            },
        )
        self.fields["condition"] = forms.TypedChoiceField(
            label="In which condition",
            choices=[(slug, each.label) for slug, each in self.known_conditions.items()],
            coerce=self.known_conditions.get,
            widget=forms.RadioSelect,
            error_messages={
                "required": "Choose the condition that the rig was in.",
                "invalid_choice": "Choose one of this task’s conditions.",
            },
        )
        self.fields["text"] = display_field(self.quantities)
        for quantity in self.quantities:
            self.fields[unit_of(quantity)] = forms.ChoiceField(
                label=f"Unit, {quantity.value}" if len(self.quantities) > 1 else "Unit",
                choices=[(unit, unit) for unit in UNITS[quantity]],
            )
        self.fields["why"] = forms.CharField(
            label="Why this test?",
            max_length=200,
            required=False,
            help_text="What you expect it to tell you.",
        )

    @property
    def buttons(self) -> list[tuple[str, str]]:
        offered = BUTTONS if Quantity.RESISTANCE in self.quantities else NO_NUMBER
        return [(str(value), label) for value, label in offered.items()]

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_error_title = self.error_title
        units = [
            Field(
                unit_of(each), wrapper_class=f"unit-of unit-of-{each.value}", template="makepoint/field.html"
            )
            for each in self.quantities
        ]
        reason = [Field("reason")] if "reason" in self.fields else []
        helper.layout = Layout(
            "id",
            "test_point",
            "condition",
            Div("text", *units, template="makepoint/layout/reading_entry.html"),
            HTML('{% include "_qualifiers.html" with qualifiers=form.buttons %}'),
            "why",
            *reason,
        )
        helper.add_input(Submit("log", self.button))
        return helper

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        point, qualifier = cleaned.get("test_point"), cleaned.get("qualifier")
        if qualifier:
            self.errors.pop("text", None)  # a button is the answer: nothing needs to be written
        quantity = None if point is None else Quantity(point.quantity)
        for other in self.quantities:
            if qualifier or other is not quantity:
                self.errors.pop(unit_of(other), None)  # no number is in that unit
        if quantity is not None:
            if qualifier:
                self._clean_qualifier(cleaned, quantity)
            elif "text" in cleaned and unit_of(quantity) in cleaned:
                self._clean_reading(cleaned, quantity)
        return cleaned

    def _clean_reading(self, cleaned: dict[str, Any], quantity: Quantity) -> None:
        try:
            cleaned["typed"] = parse(cleaned["text"], quantity=quantity, unit=cleaned[unit_of(quantity)])
        except ReadingError as error:
            self.add_error("text", str(error))

    def _clean_qualifier(self, cleaned: dict[str, Any], quantity: Quantity) -> None:
        qualifier = cleaned["qualifier"]
        offered = BUTTONS if quantity is Quantity.RESISTANCE else NO_NUMBER
        if qualifier in offered:
            kind = Qualifier(qualifier)
            cleaned["typed"] = TypedReading(text=BUTTONS[kind], quantity=quantity, qualifier=kind)
        elif qualifier in TONES:
            self.add_error(None, f"There is no tone to hear where {quantity.words} is read.")
        else:
            self.add_error(None, "Choose one of the buttons.")


def unit_of(quantity: Quantity) -> str:
    """The field that has the unit of a quantity."""
    return f"unit_{quantity.value}"
