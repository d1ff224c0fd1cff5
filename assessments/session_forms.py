"""Forms of a session: its rotation, stopping it, and what is written down at the bench."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, cast
from uuid import uuid4

from django import forms
from django.utils import timezone

from academy.forms import SheetForm
from academy.models import Person
from assessments import rotations
from assessments.models import Task
from assessments.models.attempts import Purpose
from assessments.models.observations import Seen
from assessments.models.prompts import PromptLevel
from rigs.models import Rig

LONGEST_NOTE = 1000
SAFE_TO_GO_ON = (
    ("cause", "What caused it is over, or its rig is on hold."),
    ("rigs", "Every rig that goes on was looked at, and its guard is on."),
    ("people", "Everybody has been told, and starts from isolated."),
)
"""Common practice, no source."""


class MinuteField(forms.DateTimeField):
    """A moment picked on the device's own calendar and clock, at the centre's time."""

    def __init__(self, **options: Any) -> None:
        layout = "%Y-%m-%dT%H:%M"
        widget = forms.DateTimeInput(format=layout, attrs={"type": "datetime-local"})
        super().__init__(widget=widget, input_formats=[layout, "%Y-%m-%dT%H:%M:%S"], **options)


def _ticked(queryset: Any, **options: Any) -> "forms.ModelMultipleChoiceField[Any]":
    return forms.ModelMultipleChoiceField(queryset, widget=forms.CheckboxSelectMultiple, **options)


class RotationForm(SheetForm):
    """What a rotation is made of. Ratios and minutes are the centre's own: common practice, no source."""

    button = "Plan the rotation"
    error_title = "Not planned yet: put this right"

    starts_at = MinuteField(label="First slot begins")
    minutes = forms.IntegerField(
        label="Minutes at the rigs",
        min_value=1,
        max_value=600,
        help_text="Without the briefing and the rig checks: 180 of three and a half hours, say.",
    )
    slots = forms.IntegerField(label="Slots", min_value=1, max_value=rotations.MOST_SLOTS)
    change_over = forms.IntegerField(label="Change-over in each, in minutes", min_value=0, max_value=60)
    purpose = forms.ChoiceField(label="This is", choices=Purpose.choices, widget=forms.RadioSelect)
    together = forms.ChoiceField(
        label="Candidates go round",
        choices=[("2", "In pairs"), ("1", "One by one")],
        widget=forms.RadioSelect,
    )
    candidates = _ticked(Person.objects.none())
    rigs = _ticked(Rig.objects.none())
    tasks = _ticked(Task.objects.none())
    assessors = _ticked(Person.objects.none())
    per_assessor = forms.IntegerField(
        label="Candidates to one assessor, at the most", min_value=1, max_value=40
    )
    alone = _ticked(
        Task.objects.none(),
        required=False,
        label="Tasks at which the assessor stays with the one candidate",
        help_text="Live tests, say.",
    )

    def __init__(
        self,
        *args: Any,
        candidates: Any,
        rigs: Any,
        tasks: Any,
        assessors: Any,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        given = {
            "candidates": candidates,
            "rigs": rigs,
            "tasks": tasks,
            "alone": tasks,
            "assessors": assessors,
        }
        for name, queryset in given.items():
            field = cast("forms.ModelMultipleChoiceField[Any]", self.fields[name])
            field.queryset = queryset
            field.error_messages["required"] = "Choose one at least."

    def wanted(self) -> rotations.Wanted:
        given = dict(self.cleaned_data)
        together, people = int(given.pop("together")), list(given.pop("candidates"))
        teams = [people[first : first + together] for first in range(0, len(people), together)]
        return rotations.Wanted(**{**given, "purpose": Purpose(given["purpose"]), "teams": teams})


class ReplanForm(SheetForm):
    button = "Plan again from there"
    error_title = "Not planned again yet: put this right"

    from_slot = forms.TypedChoiceField(label="From slot", coerce=int)
    rigs = _ticked(Rig.objects.none(), label="Rigs that can be used")
    present = _ticked(Person.objects.none(), label="Candidates who are here")
    reason = forms.CharField(
        label="What happened?",
        max_length=300,
        help_text="“VB-03: fan stopped”, say. It is kept with the plan.",
        error_messages={"required": "Say what happened: it is kept with the plan."},
    )

    def __init__(
        self, *args: Any, slots: Sequence[tuple[int, str]], rigs: Any, present: Any, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        cast("forms.TypedChoiceField", self.fields["from_slot"]).choices = slots
        cast("forms.ModelMultipleChoiceField[Any]", self.fields["rigs"]).queryset = rigs
        cast("forms.ModelMultipleChoiceField[Any]", self.fields["present"]).queryset = present


class SwapForm(SheetForm):
    button = "Change places"
    error_title = "Not changed yet: put this right"

    slot = forms.TypedChoiceField(label="In slot", coerce=int)
    first = forms.TypedChoiceField(label="Who", coerce=int)
    second = forms.TypedChoiceField(label="With whom", coerce=int)
    reason = forms.CharField(
        label="Reason", max_length=300, required=False, help_text="Needed only where it is asked for."
    )

    def __init__(
        self, *args: Any, slots: Sequence[tuple[int, str]], teams: Sequence[tuple[int, str]], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        for name, choices in (("slot", slots), ("first", teams), ("second", teams)):
            cast("forms.TypedChoiceField", self.fields[name]).choices = choices


class StopForm(SheetForm):
    """What is said in words first comes first on the page; the form asks for little."""

    button = "Stop the session"
    button_class = "danger"
    error_title = "Not stopped yet: put this right"

    reason = forms.CharField(
        label="Why, in a few words",
        max_length=300,
        error_messages={"required": "Say in a few words why it is stopped."},
    )


class ResumeForm(SheetForm):
    button = "Let it go on"
    error_title = "Still stopped: put this right"

    checked = forms.MultipleChoiceField(
        label="Made sure of",
        choices=SAFE_TO_GO_ON,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Go through the list first."},
    )
    words = forms.CharField(
        label="In your words",
        widget=forms.Textarea(attrs={"rows": 2}),
        max_length=LONGEST_NOTE,
        error_messages={"required": "Say what was made sure of before it goes on."},
    )

    def clean_checked(self) -> list[str]:
        given: list[str] = self.cleaned_data["checked"]
        if len(given) < len(SAFE_TO_GO_ON):
            raise forms.ValidationError("Go through the whole list first.")
        return given


class ObserveForm(SheetForm):
    """What was seen of one step; with the help that was given, if any."""

    button = "Keep it"
    error_title = "Not kept yet: put this right"

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    seen = forms.ChoiceField(
        label="What did you see?",
        choices=Seen.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it was met, not met, or not seen."},
    )
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=LONGEST_NOTE,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed where it was not met: what you saw instead.",
    )
    level = forms.TypedChoiceField(
        label="Help given",
        choices=[(level.value, f"{level.value} {level.label}") for level in PromptLevel],
        coerce=int,
        initial=0,
        required=False,
        empty_value="",
    )
    words = forms.CharField(
        label="What was said or done to help",
        required=False,
        max_length=LONGEST_NOTE,
        help_text="Needed from level 3 on.",
    )

    def __init__(self, *args: Any, correcting: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if correcting:
            self.fields["reason"] = _reason()


class OralForm(SheetForm):
    button = "Keep the answer"
    error_title = "Not kept yet: put this right"

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    answer = forms.CharField(
        label="Answer, in the candidate’s words",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=LONGEST_NOTE,
        error_messages={"required": "Write down what was answered, in the candidate’s words."},
    )
    met = forms.TypedChoiceField(
        label="Was that enough?",
        choices=[("yes", "Met"), ("no", "Not met")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the answer was enough."},
    )

    def __init__(self, *args: Any, correcting: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if correcting:
            self.fields["reason"] = _reason()


def _reason() -> forms.CharField:
    return forms.CharField(
        label="Why is it corrected?",
        max_length=200,
        help_text="What was written down before stays readable.",
        error_messages={"required": "Say why it is corrected."},
    )


def slot_choices(starts: Iterable[tuple[int, datetime]]) -> list[tuple[int, str]]:
    return [(slot, f"{slot}, {timezone.localtime(at):%H:%M}") for slot, at in starts]
