from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from academy.forms import DayField, SheetForm
from academy.models import Person
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement


class DrawForm(SheetForm):
    button = "Draw the sample"
    error_title = "Not drawn yet: put this right"

    starts_on = DayField(label="Decisions from")
    ends_on = DayField(label="To")
    wrong_percent = forms.FloatField(
        label="Wrong decisions worth finding, in % of all",
        min_value=0.1,
        max_value=100,
        initial=10,
        help_text="If so many were wrong, the part drawn at random is large enough to find one.",
    )
    chance_percent = forms.FloatField(
        label="Chance of finding one, in %", min_value=1, max_value=99.9, initial=80
    )
    seed = forms.IntegerField(
        label="Seed",
        min_value=0,
        max_value=2**62,
        help_text="Any whole number. The same one draws the same sample again.",
    )


class BlindDecisionForm(SheetForm):
    """One's own decision on an attempt, before anybody else's is shown. A subclass adds its `grounds`."""

    button = "Keep my decision"
    error_title = "Not kept yet: put this right"

    decision = forms.ChoiceField(
        label="Your decision",
        choices=Decision.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Decide first."},
    )


def grounds() -> forms.CharField:
    return forms.CharField(
        label="What did you decide it by?",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say in a sentence what you decided it by."},
    )


class BlindForm(BlindDecisionForm):
    """A verifier's."""

    note = grounds()


class CompareForm(SheetForm):
    button = "Keep the comparison"
    error_title = "Not kept yet: put this right"

    agreement = forms.ChoiceField(
        label="The assessor’s decision",
        choices=Agreement.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether you agree."},
    )
    note = forms.CharField(
        label="Why?",
        widget=forms.Textarea(attrs={"rows": 3}),
        required=False,
        help_text="Needed where you don’t agree, or decided otherwise yourself.",
    )


class ActionForm(SheetForm):
    button = "Raise the action"

    text = forms.CharField(label="What is to be put right?", widget=forms.Textarea(attrs={"rows": 3}))
    owner = forms.ModelChoiceField(Person.objects.none(), label="By whom", empty_label="Pick somebody")
    due_on = DayField(label="By when")

    def __init__(self, *args: Any, people: QuerySet[Person], **options: Any) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelChoiceField[Person]", self.fields["owner"]).queryset = people


class ActionCloseForm(SheetForm):
    button = "Close the action"

    closure = forms.CharField(
        label="What was done, and what did you see of it?", widget=forms.Textarea(attrs={"rows": 3})
    )
