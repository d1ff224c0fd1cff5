"""Forms of practising on a virtual rig. Steps are entered as on the bench, by the same forms."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, cast
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.utils.functional import cached_property

from academy.forms import SheetForm
from assessments.forms import AnswerForm, ReadingForm, StepForm
from assessments.models import Step
from assessments.models.tasks import StepKind
from assessments.models.virtual import Draw
from assessments.virtual_boards import Offer
from rigs.metrology.quantities import Quantity
from rigs.models import TestPoint


class VirtualStartForm(SheetForm):
    button = "Draw a virtual rig and start"
    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(self, *args: Any, draws: Sequence[Draw], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["draw"] = forms.ChoiceField(
            label="What may be wrong with it",
            choices=[(each.value, each.label) for each in draws],
            initial=draws[0],
            widget=forms.RadioSelect if len(draws) > 1 else forms.HiddenInput,
            error_messages={"required": "Choose what may be wrong with the rig."},
        )
        self.fields["cautions_read"] = forms.BooleanField(
            label="I have read the cautions",
            error_messages={"required": "Read the cautions and confirm them first."},
        )


class DiagnosisForm(AnswerForm):
    """A diagnosis with its reason. It is final: the answer is shown with it."""

    button = "State it and see the answer"

    def __init__(self, *args: Any, step: Step, **options: Any) -> None:
        super().__init__(*args, step=step, **options)
        self.fields["answer"].label = "What is wrong?"
        self.fields["note"] = forms.CharField(
            label="Why? In a sentence from your own readings",
            widget=forms.Textarea(attrs={"rows": 3}),
            max_length=1000,
            error_messages={"required": "Give the reason, in a sentence from your own readings."},
        )
        self.order_fields(["answer", "note"])


class ChooseForm(SheetForm):
    """Where to measure next, and with the board in which condition. Sent as a question: it logs nothing."""

    button = "Look at the display"
    error_title = "Nothing to see there"
    n = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=9_999)

    def __init__(self, *args: Any, offer: Offer, **options: Any) -> None:
        super().__init__(*args, **options)
        self.offer = offer
        self.fields["at"] = forms.ChoiceField(
            label="Test point", choices=[(each.slug, each.label) for each in offer.test_points]
        )
        self.fields["condition"] = forms.ChoiceField(
            label="Condition of the board", choices=[(each.slug, each.label) for each in offer.conditions]
        )

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        helper.form_method = "get"
        helper.inputs = []
        helper.add_input(Submit("", self.button, css_class="plain"))
        return helper

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        at, condition = cleaned.get("at"), cleaned.get("condition")
        if at and condition and (at, condition) not in _pairs(self.offer.tests):
            raise forms.ValidationError(
                "Nothing can be measured at that test point in that condition. Choose another of the two."
            )
        return cleaned


@dataclass(frozen=True, slots=True, kw_only=True)
class _ReadAt:
    """What a reading's form asks of a step, for a test point of one's own choice."""

    quantity: str
    judged_by: str = ""


class MeasurementForm(ReadingForm):
    """A reading at a test point of one's own choice, which the address names."""

    def __init__(self, *args: Any, test_point: TestPoint, **options: Any) -> None:
        step = cast("Step", _ReadAt(quantity=test_point.quantity))
        super().__init__(*args, step=step, correcting=False, **options)


FORMS: dict[str, type[StepForm]] = {
    StepKind.ACTION: StepForm,
    # There is nothing to photograph: the step is ticked, in its place.
    StepKind.PHOTO: StepForm,
    StepKind.READING: ReadingForm,
    StepKind.OBSERVATION: AnswerForm,
    StepKind.DIAGNOSIS: DiagnosisForm,
    StepKind.CONCLUSION: AnswerForm,
}


def unit_shown(quantity: str) -> str:
    """The unit on the display of the instrument that reads a quantity."""
    return "mbar" if quantity == Quantity.PRESSURE else "Ω"


def _pairs(tests: Collection[Any]) -> set[tuple[str, str]]:
    return {(str(test.at), str(test.condition)) for test in tests}
