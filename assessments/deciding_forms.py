"""Forms of what an assessor does with an attempt besides deciding on it."""

from collections.abc import Iterable, Sequence
from typing import Any, cast

from django import forms

from academy.forms import SheetForm
from assessments.models import Step
from assessments.models.decisions import Decision
from assessments.models.prompts import PromptLevel
from assessments.models.returns import VoidCause
from rigs.models import Instrument, Rig


class ReturnForm(SheetForm):
    button = "Return it to the candidate"
    error_title = "Not returned yet: put this right"

    steps = forms.ModelMultipleChoiceField(
        Step.objects.none(),
        label="What to do again",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose the step to read again."},
    )
    words = forms.CharField(
        label="To the candidate",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What to mind this time. Write nothing of what the rig should read: they can see it.",
        error_messages={"required": "Write to the candidate which reading to take again, and what to mind."},
    )

    def __init__(self, *args: Any, steps: Sequence[Step], **options: Any) -> None:
        super().__init__(*args, **options)
        field = cast("forms.ModelMultipleChoiceField[Step]", self.fields["steps"])
        field.queryset = Step.objects.filter(pk__in=[step.pk for step in steps])


class VoidForm(SheetForm):
    """``hold`` cleans to the rig or the instrument to be taken out of use, or None."""

    button = "Make it void"
    button_class = "danger"
    error_title = "Not void yet: put this right"

    cause = forms.ChoiceField(
        label="What was wrong?",
        choices=VoidCause.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what was wrong."},
    )
    reason = forms.CharField(
        label="What happened, for the record",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say what was wrong."},
    )
    words = forms.CharField(
        label="To the candidate",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="They read this, and that the attempt doesn’t count.",
        error_messages={"required": "Write to the candidate why it doesn't count."},
    )

    def __init__(self, *args: Any, rig: Rig, instruments: Iterable[Instrument], **options: Any) -> None:
        super().__init__(*args, **options)
        things: dict[str, Rig | Instrument] = {str(rig.pk): rig} | {
            str(each.pk): each for each in instruments
        }
        self.fields["hold"] = forms.TypedChoiceField(
            label="Take out of use",
            required=False,
            choices=[("", "Nothing"), *((pk, thing.tag) for pk, thing in things.items())],
            coerce=things.get,
            empty_value=None,
            help_text="It is put on hold with the reason above, until somebody releases it.",
        )


class PromptForm(SheetForm):
    button = "Note it"

    level = forms.TypedChoiceField(
        label="How much help was it?",
        choices=[(level.value, f"{level.value}: {level.label}") for level in PromptLevel],
        coerce=int,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the levels, 0 to 4."},
    )
    step = forms.ModelChoiceField(
        Step.objects.none(), label="On which step", required=False, empty_label="The whole attempt"
    )
    words = forms.CharField(
        label="What was said or done",
        widget=forms.Textarea(attrs={"rows": 2}),
        required=False,
        help_text="Needed for a hint and for stepping in.",
    )

    def __init__(self, *args: Any, steps: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelChoiceField[Step]", self.fields["step"]).queryset = steps


AGREE = "agree"


class CountersignForm(SheetForm):
    """Agreeing, or a decision of one's own with its feedback and reason."""

    button = "Sign"
    error_title = "Not signed yet: put this right"

    answer = forms.ChoiceField(
        label="Having seen the evidence",
        choices=[
            (AGREE, "I agree with the decision"),
            *((value, f"A decision of my own: {label.lower()}") for value, label in Decision.choices),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether you agree."},
    )
    reason = forms.CharField(
        label="Reason, or a note to the colleague in training",
        widget=forms.Textarea(attrs={"rows": 2}),
        required=False,
        help_text="A decision of your own needs a reason.",
    )
    feedback = forms.CharField(
        label="Feedback to the candidate, for a decision of your own",
        widget=forms.Textarea(attrs={"rows": 3}),
        required=False,
    )
