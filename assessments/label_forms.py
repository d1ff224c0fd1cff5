from typing import Any, cast

from django import forms

from academy.forms import SheetForm
from academy.models import Centre
from assessments.labels import LABELS_ON_A_SHEET
from rigs.models import Instrument, Rig


class LabelsForm(SheetForm):
    button = "Make the sheet"
    error_title = "Not made yet: put this right"

    rigs = forms.ModelMultipleChoiceField(
        Rig.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    instruments = forms.ModelMultipleChoiceField(
        Instrument.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    first = forms.IntegerField(
        label="First free label on the sheet",
        initial=1,
        min_value=1,
        max_value=LABELS_ON_A_SHEET,
        help_text="Counted along the rows from the top left, where some are used already.",
    )

    def __init__(self, *args: Any, centre: Centre, **options: Any) -> None:
        super().__init__(*args, **options)
        rigs = cast("forms.ModelMultipleChoiceField[Rig]", self.fields["rigs"])
        rigs.queryset = Rig.objects.filter(centre=centre).in_use().select_related("design")
        instruments = cast("forms.ModelMultipleChoiceField[Instrument]", self.fields["instruments"])
        instruments.queryset = Instrument.objects.filter(centre=centre).in_use().select_related("model")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors and not cleaned["rigs"] and not cleaned["instruments"]:
            raise forms.ValidationError("Tick what needs a label.")
        return cleaned

    @property
    def things(self) -> list[Rig | Instrument]:
        return [*self.cleaned_data["rigs"], *self.cleaned_data["instruments"]]
