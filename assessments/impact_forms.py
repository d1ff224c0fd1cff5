from collections.abc import Sequence
from math import inf, isfinite
from typing import Any, cast

from django import forms

from academy.forms import DayField, SheetForm
from assessments.impact.opening import ErrorLine, Told
from assessments.models.impact import Resolution


class OpenForm(SheetForm):
    """What a person knows besides what is on record."""

    button = "Open the review"
    error_title = "Not opened yet: put this right"

    good_on = DayField(
        label="Last day on which somebody saw it read right",
        required=False,
        help_text="A cross-check, say. Left empty, what is on record counts: the last certificate or check.",
    )
    evidence = forms.CharField(
        label="What showed that?", widget=forms.Textarea(attrs={"rows": 2}), required=False
    )

    @property
    def told(self) -> Told:
        given = self.cleaned_data
        return Told(
            good_on=given["good_on"],
            evidence=given["evidence"],
            event_on=given.get("event_on"),
            event=given.get("event", ""),
        )


class InstrumentOpenForm(OpenForm):
    event_on = DayField(
        label="Day on which something happened to it",
        required=False,
        help_text="If somebody knows of a fall or a knock: the error may then be there only since that day.",
    )
    event = forms.CharField(label="What happened?", max_length=200, required=False)


class RigByHandForm(OpenForm):
    field_order = ("finding", "found_on", "good_on", "evidence")

    finding = forms.CharField(label="What was found?", widget=forms.Textarea(attrs={"rows": 2}))
    found_on = DayField(label="On which day?")


class InstrumentByHandForm(InstrumentOpenForm):
    """Errors are typed a line each: what it should have shown, and what it showed."""

    field_order = ("finding", "found_on", "unit", "shown", "good_on", "evidence", "event_on", "event")

    finding = forms.CharField(label="What was found?", widget=forms.Textarea(attrs={"rows": 2}))
    found_on = DayField(label="On which day?")
    unit = forms.ChoiceField(label="Unit")
    shown = forms.CharField(
        label="What it should have shown, and what it showed",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="One value a line: 1.50 1.39",
    )

    def __init__(self, *args: Any, units: Sequence[str], **options: Any) -> None:
        super().__init__(*args, **options)
        cast("forms.ChoiceField", self.fields["unit"]).choices = [(unit, unit) for unit in units]

    def clean_shown(self) -> list[ErrorLine]:
        unit = self.cleaned_data.get("unit")
        if unit is None:
            return []
        lines = [line for line in self.cleaned_data["shown"].splitlines() if line.strip()]
        return [_error_of(line, unit=unit) for line in lines]


def _error_of(line: str, *, unit: str) -> ErrorLine:
    try:
        should, showed = (float(text.replace(",", ".")) for text in line.split())
    except ValueError:
        should = showed = inf
    if not isfinite(should) or not isfinite(showed):
        raise forms.ValidationError(
            f"“{line.strip()}” isn’t two numbers: what it should have shown, then what it showed."
        )
    return ErrorLine(unit=unit, nominal=should, error=showed - should)


class ResolveForm(SheetForm):
    button = "Keep this"
    error_title = "Not kept yet: put this right"

    resolution = forms.ChoiceField(
        label="The result",
        choices=(
            (Resolution.UPHELD, "Is upheld"),
            (Resolution.REASSESS, "Is to be assessed again"),
        ),
        widget=forms.RadioSelect,
        error_messages={"required": "Decide first."},
    )
    reason = forms.CharField(
        label="Why?",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Did the decision rest on these readings, or on the method?",
        error_messages={"required": "Say why: what the result rests on, or why it doesn’t any more."},
    )


class CloseForm(SheetForm):
    button = "Close the review"
    error_title = "Not closed yet: put this right"

    closure = forms.CharField(
        label="What was the cause, and what is done about it?",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Say whether it is calibrated or checked more often from now on.",
    )
