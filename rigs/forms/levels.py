from crispy_forms.bootstrap import AppendedText
from crispy_forms.helper import FormHelper
from crispy_forms.layout import Layout, Row
from django import forms
from django.utils.functional import cached_property

from academy.forms import SheetForm
from rigs.fields import FigureField
from rigs.levels import MOST_PERCENT


class LevelsForm(SheetForm):
    button = "Put these in force"

    drift_percent = FigureField(label="Drift, per √week", min_value=0, max_value=MOST_PERCENT)
    session_percent = FigureField(label="Effect of a session", min_value=0, max_value=MOST_PERCENT)
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text="What they rest on: a maker’s figure, rigs of the same kind, a guess on the safe side.",
    )

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        boxes = (AppendedText(name, "% of the baseline") for name in ("drift_percent", "session_percent"))
        helper.layout = Layout(Row(*boxes), "reason")
        return helper


class AdoptForm(forms.Form):
    """The number of checks behind the estimate that was looked at."""

    checks = forms.IntegerField(min_value=0)
