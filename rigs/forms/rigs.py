from typing import Any, cast

from django import forms

from academy.forms import DayField, SheetForm
from academy.models import Centre
from rigs.models import RigDesign


class RigForm(SheetForm):
    button = "Add the rig"

    design = forms.ModelChoiceField(RigDesign.objects.none(), empty_label="Pick one")
    tag = forms.CharField(max_length=20, help_text="As on its label, such as VB-07.")
    place = forms.CharField(max_length=80, required=False, help_text="Where it stands.")
    electrical_inspection_due = DayField(label="Electrical inspection due", required=False)

    def __init__(self, *args: Any, centre: Centre, **options: Any) -> None:
        super().__init__(*args, **options)
        design = cast("forms.ModelChoiceField[RigDesign]", self.fields["design"])
        design.queryset = RigDesign.objects.filter(centre=centre)


class RigChangeForm(SheetForm):
    button = "Save"

    place = forms.CharField(max_length=80, required=False, help_text="Where it stands.")
    electrical_inspection_due = DayField(label="Electrical inspection due", required=False)


class RetireForm(SheetForm):
    button = "Retire it for good"
    button_class = "danger"

    why = forms.CharField(
        label="Why?",
        widget=forms.Textarea,
        max_length=500,
        help_text="Its records stay. What has been begun on it or with it can still be finished.",
        error_messages={"required": "Say why it is retired."},
    )


class ThresholdForm(SheetForm):
    """The centre's values for its rigs. What the verdicts so far went by stays in them."""

    watch_percent = forms.DecimalField(
        label="Watch a rig from",
        max_digits=5,
        decimal_places=2,
        help_text="Percent away from its baseline.",
    )
    hold_percent = forms.DecimalField(
        label="Propose a hold from",
        max_digits=5,
        decimal_places=2,
        help_text="Percent away from its baseline. A person places the hold.",
    )
    least_margin = forms.DecimalField(
        label="Least running Δp for the make point",
        max_digits=4,
        decimal_places=2,
        help_text="So many times the make point. Below it a hold is proposed.",
    )
    baseline_months = forms.IntegerField(
        label="Months between baselines", max_value=600, help_text="From the approval of the last one."
    )


class HoldForm(SheetForm):
    button = "Take out of use"
    MOST = 500

    reason = forms.CharField(
        label="Why?",
        widget=forms.Textarea,
        max_length=MOST,
        help_text="Whoever picks it up reads this: say what is wrong, without readings of the rig.",
        error_messages={"required": "Say why it is taken out of use."},
    )


class ReleaseForm(SheetForm):
    button = "Give back for use"

    evidence = forms.CharField(
        label="What was done, and what shows that it is right again?",
        widget=forms.Textarea,
        max_length=500,
        error_messages={"required": "Say what was done, and what shows that it is right again."},
    )
