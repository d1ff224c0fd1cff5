from collections.abc import Iterable
from typing import Any, cast

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms

from academy.models import Cohort
from assessments.models import Task
from assessments.stuck import WORDS

EVERYBODY = "all"
SHOW = (
    ("", "Everybody"),
    ("stuck", "Those who are stuck"),
    ("near-end", "Those near the end date"),
    ("Stuck because", [(str(why), words) for why, words in WORDS.items()]),
)


class FilterForm(forms.Form):
    @property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_method, helper.form_class = "get", "filters"
        helper.add_input(Submit("", "Show", css_class="plain"))
        return helper


class MatrixForm(FilterForm):
    cohort = forms.ChoiceField(required=False)
    show = forms.ChoiceField(choices=SHOW, required=False)
    task = forms.ChoiceField(label="Task left", required=False)

    def __init__(self, data: Any, *, cohorts: Iterable[Cohort], tasks: Iterable[Task]) -> None:
        super().__init__(data)
        offered = [(str(each.pk), each.name) for each in cohorts]
        every = [(EVERYBODY, "All at work")] if len(offered) > 1 else []
        cast("forms.ChoiceField", self.fields["cohort"]).choices = [*offered, *every]
        cast("forms.ChoiceField", self.fields["task"]).choices = [
            ("", "Any"),
            *((str(each.pk), each.title) for each in tasks),
        ]


class TimeForm(FilterForm):
    """What is assumed of the time that is left, and of how long evidence counts."""

    sessions = forms.IntegerField(label="Sessions left", min_value=0, max_value=2000)
    minutes = forms.IntegerField(label="Minutes a session on the rigs", min_value=1, max_value=720)
    months = forms.IntegerField(label="Evidence counts for, in months", min_value=1, max_value=120)
