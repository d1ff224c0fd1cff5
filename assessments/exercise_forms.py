from collections.abc import Iterable
from textwrap import shorten
from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from academy.forms import DayField, SheetForm
from academy.models import Person
from assessments.models import Criterion, SignOff
from assessments.verification_forms import BlindDecisionForm, grounds


class ExerciseForm(SheetForm):
    button = "Ask them to decide"
    error_title = "Not opened yet: put this right"

    title = forms.CharField(label="Title", max_length=120)
    due_on = DayField(label="Decide by")
    assessors = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label="Assessors",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose two assessors at least."},
    )
    sign_offs = forms.MultipleChoiceField(
        label="Attempts",
        widget=forms.CheckboxSelectMultiple,
        help_text="Some that were clear and some that weren’t: if all are clear, agreement says little.",
        error_messages={"required": "Choose two attempts at least."},
    )

    def __init__(
        self, *args: Any, people: QuerySet[Person], decided: Iterable[SignOff], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelMultipleChoiceField[Person]", self.fields["assessors"]).queryset = people
        self.decided = {str(each.pk): each for each in decided}
        offered = cast("forms.MultipleChoiceField", self.fields["sign_offs"])
        offered.choices = [(key, _label(each)) for key, each in self.decided.items()]

    def clean_sign_offs(self) -> list[SignOff]:
        return [self.decided[key] for key in self.cleaned_data["sign_offs"]]


def _label(signed: SignOff) -> str:
    attempt = signed.attempt
    return (
        f"{attempt.candidate}, {attempt.version.task} on {attempt.rig.tag}: "
        f"{signed.get_decision_display().lower()}, {signed.assessor.name}, {signed.at:%-d %b %Y}"
    )


class ExerciseDecisionForm(BlindDecisionForm):
    reason = grounds()


class ExerciseCloseForm(SheetForm):
    button = "Close and compare"


class CriterionField(forms.ModelChoiceField):  # type: ignore[type-arg]  # not subscriptable when run
    def label_from_instance(self, obj: Criterion) -> str:
        return shorten(f"{obj.code}: {obj.text}", width=100, placeholder="…")


class RulingForm(SheetForm):
    button = "Keep the ruling"

    text = forms.CharField(
        label="How is such an attempt decided from now on, and why?",
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": "Say how such an attempt is to be decided, and why."},
    )
    criterion = CriterionField(
        Criterion.objects.none(), label="Criterion", required=False, empty_label="The task as a whole"
    )

    def __init__(self, *args: Any, criteria: QuerySet[Criterion], **options: Any) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelChoiceField[Criterion]", self.fields["criterion"]).queryset = criteria
