"""Forms of scopes, conflicts of interest, resit rules and adjustments."""

from collections.abc import Mapping
from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from academy.forms import DayField, SheetForm
from academy.models import Person
from assessments.models import Task
from assessments.models.rights import ConflictKind


class PeriodForm(SheetForm):
    """From a first day to a last one, if there is one; and who or what it is about, from what is offered."""

    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day", required=False)

    def __init__(self, *args: Any, offers: Mapping[str, QuerySet[Any]], **options: Any) -> None:
        super().__init__(*args, **options)
        for name, found in offers.items():
            cast("forms.ModelChoiceField[Any]", self.fields[name]).queryset = found


class ScopeForm(PeriodForm):
    button = "Record it"
    field_order = ("assessor", "every_task", "tasks", "in_training", "starts_on", "ends_on")

    assessor = forms.ModelChoiceField(Person.objects.none(), empty_label="Choose")
    every_task = forms.BooleanField(label="Every task", required=False)
    tasks = forms.ModelMultipleChoiceField(
        Task.objects.none(),
        label="Or only these",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    in_training = forms.BooleanField(
        label="In training: each decision waits for a countersignature", required=False
    )


class ConflictForm(PeriodForm):
    button = "Declare it"
    field_order = ("person", "candidate", "kind", "words", "starts_on", "ends_on")

    person = forms.ModelChoiceField(Person.objects.none(), label="Assessor or verifier", empty_label="Choose")
    candidate = forms.ModelChoiceField(Person.objects.none(), empty_label="Choose")
    kind = forms.ChoiceField(label="What kind", choices=ConflictKind.choices, widget=forms.RadioSelect)
    words = forms.CharField(
        label="In a few words",
        required=False,
        max_length=400,
        help_text="Only managers and the person themselves read this.",
    )


class AdjustmentForm(PeriodForm):
    button = "Agree on it"
    field_order = ("candidate", "what", "extra_percent", "starts_on", "ends_on")

    candidate = forms.ModelChoiceField(Person.objects.none(), empty_label="Choose")
    what = forms.CharField(
        label="What to do",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=(
            "Such as: instructions read out; a seat at the bench; larger text. Never why: no diagnosis and "
            "nothing of anybody’s health belongs here. The standard stays the same."
        ),
        error_messages={"required": "Say what is to be done, such as “instructions read out”."},
    )
    extra_percent = forms.IntegerField(
        label="Extra time, in percent of the guide minutes", min_value=0, max_value=200, initial=0
    )


class EndForm(SheetForm):
    button = "End it"
    ends_on = DayField(label="Last day")


class RuleForm(SheetForm):
    button = "Set the rule"

    wait_days = forms.IntegerField(
        label="Days to wait after not yet competent", min_value=0, max_value=365, initial=0
    )
    not_same_day = forms.BooleanField(
        label="Not on the same day where a safety-critical step was missed", required=False, initial=True
    )
    other_rig = forms.BooleanField(label="On another rig than last time, where there is one", required=False)
    most_attempts = forms.IntegerField(
        label="Attempts before somebody must allow another",
        min_value=1,
        max_value=50,
        required=False,
        help_text="Left empty: any number.",
    )


class LeaveForm(SheetForm):
    button = "Allow one more attempt"

    candidate = forms.ModelChoiceField(Person.objects.none(), empty_label="Choose")
    task = forms.ModelChoiceField(Task.objects.none(), empty_label="Choose")
    reason = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say why another attempt is allowed."},
    )

    def __init__(self, *args: Any, offers: Mapping[str, QuerySet[Any]], **options: Any) -> None:
        super().__init__(*args, **options)
        for name, found in offers.items():
            cast("forms.ModelChoiceField[Any]", self.fields[name]).queryset = found
