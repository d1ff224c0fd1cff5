from typing import Any

from django import forms

from academy.forms import SheetForm
from assessments.models.appeals import AppealResult
from assessments.models.decisions import Decision


class AppealForm(SheetForm):
    button = "Appeal"
    error_title = "Not sent yet: put this right"

    grounds = forms.CharField(
        label="What don’t you agree with, and why?",
        widget=forms.Textarea(attrs={"rows": 5}),
        error_messages={"required": "Say what you don't agree with, and why."},
    )


class AppealForCandidateForm(AppealForm):
    button = "Open the appeal"
    grounds = forms.CharField(
        label="What doesn’t the candidate agree with, and why?",
        widget=forms.Textarea(attrs={"rows": 5}),
        error_messages={"required": "Say what the candidate doesn't agree with, and why."},
    )


class AppealAnswerForm(SheetForm):
    button = "Answer the appeal"
    error_title = "Not answered yet: put this right"

    result = forms.ChoiceField(
        label="Having looked at everything again",
        choices=[(each.value, each.label) for each in (AppealResult.UPHELD, AppealResult.CHANGED)],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the decision stands."},
    )
    reason = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="The candidate reads this.",
        error_messages={"required": "Say why: the candidate reads it."},
    )
    feedback = forms.CharField(
        label="Feedback to the candidate, with a changed decision",
        widget=forms.Textarea(attrs={"rows": 3}),
        required=False,
    )

    def __init__(self, *args: Any, other: Decision, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["result"].choices = [  # type: ignore[attr-defined]
            (AppealResult.UPHELD.value, AppealResult.UPHELD.label),
            (AppealResult.CHANGED.value, f"It is changed to: {other.label.lower()}"),
        ]
