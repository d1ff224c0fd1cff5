"""Forms of the bench and of the review. What a person types is kept whatever is wrong with it."""

from collections.abc import Collection, Sequence
from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Field, Layout, Submit
from django import forms
from django.db.models import QuerySet
from django.utils.functional import cached_property

from academy.forms import DayField, SheetForm
from academy.models import Centre
from assessments.models import Step, Task
from assessments.models.attempts import Purpose
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.instruments import choices
from rigs.metrology.quantities import UNITS, Qualifier, Quantity
from rigs.metrology.readings import ReadingError, TypedReading, parse
from rigs.models.instruments import InstrumentKind

NO_NUMBER = {
    Qualifier.OVER_LIMIT: "OL",
    Qualifier.UNSTABLE: "Unstable",
    Qualifier.NOT_OBTAINED: "Couldn’t get it",
}
TONES = {Qualifier.TONE: "Tone", Qualifier.NO_TONE: "No tone"}


class StartForm(SheetForm):
    button = "Start"
    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)

    def __init__(
        self, *args: Any, centre: Centre, kinds: Sequence[str], purposes: Sequence[Purpose], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.fields["purpose"] = forms.ChoiceField(
            label="This is",
            choices=[(each.value, each.label) for each in purposes],
            initial=purposes[0] if len(purposes) == 1 else None,
            widget=forms.RadioSelect,
            error_messages={"required": "Say whether this is practice or an assessment."},
        )
        known = {str(each.pk): each for each in choices(centre=centre, kinds=kinds)}
        for kind in kinds:
            mine = [(pk, each.tag) for pk, each in known.items() if each.model.kind == kind]
            self.fields[kind] = forms.TypedChoiceField(
                label=InstrumentKind(kind).label,
                choices=[("", "Pick one"), *mine],
                coerce=known.get,
                error_messages={"required": "Pick the instrument that you will use."},
            )
        self.fields["cautions_read"] = forms.BooleanField(
            label="I have read the cautions",
            error_messages={"required": "Read the cautions and confirm them first."},
        )


class StepForm(SheetForm):
    """The entry of one step. ``reason`` is asked for only where an entry stands already."""

    button = "Done"
    id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, step: Step, correcting: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        self.step = step
        if correcting:
            self.button = "Strike out and log again"
            self.fields["reason"] = forms.CharField(
                label="Why is it corrected?",
                max_length=200,
                help_text="The old entry stays readable, struck out.",
                error_messages={"required": "Say why it is corrected."},
            )


QUESTIONS = {
    StepKind.OBSERVATION: "What do you see?",
    StepKind.DIAGNOSIS: "What is wrong?",
    StepKind.CONCLUSION: "What do you conclude?",
}


class AnswerForm(StepForm):
    """An observation, or with its reason a diagnosis or a conclusion."""

    button = "Log it"

    def __init__(self, *args: Any, step: Step, **options: Any) -> None:
        super().__init__(*args, step=step, **options)
        self.fields["answer"] = forms.ChoiceField(
            label=QUESTIONS[StepKind(step.kind)],
            choices=[(choice["value"], choice["label"]) for choice in step.choices],
            widget=forms.RadioSelect,
            error_messages={"required": "Choose one of the answers."},
        )
        if step.kind != StepKind.OBSERVATION:
            self.fields["note"] = forms.CharField(
                label="Why? In a sentence from your own readings",
                widget=forms.Textarea(attrs={"rows": 3}),
                max_length=1000,
                error_messages={"required": "Give the reason, in a sentence from your own readings."},
            )
        self.order_fields(["answer", "note", "reason"])


class PhotoForm(StepForm):
    button = "Keep the photo"
    photo = forms.FileField(
        label="Photo",
        widget=forms.ClearableFileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"required": "Take or choose a photo first."},
    )


def display_field(quantities: Collection[Quantity]) -> forms.CharField:
    """Where what a display shows is typed.

    A decimal keypad has no minus sign, and a crossed pair of hoses reads below zero.
    """
    keypad = "text" if Quantity.PRESSURE in quantities else "decimal"
    return forms.CharField(
        label="Reading",
        max_length=60,
        widget=forms.TextInput(attrs={"inputmode": keypad, "autocomplete": "off", "enterkeyhint": "done"}),
        error_messages={"required": "Nothing is written here. Type what the display shows."},
    )


class ReadingForm(StepForm):
    """A reading as it stands on the display, or why there is no number. Cleans to ``typed``."""

    button = "Log the reading"
    qualifier = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, step: Step, **options: Any) -> None:
        super().__init__(*args, step=step, **options)
        self.quantity = Quantity(step.quantity)
        self.fields["text"] = display_field([self.quantity])
        units = [(unit, unit) for unit in UNITS[self.quantity]]
        self.fields["unit"] = forms.ChoiceField(label="Unit", choices=units)

    @property
    def asks_tone(self) -> bool:
        return self.step.judged_by == ReadingCheck.TONE

    @property
    def buttons(self) -> list[tuple[str, str]]:
        return [(str(value), label) for value, label in (TONES if self.asks_tone else NO_NUMBER).items()]

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        entry = Div("text", "unit", template="makepoint/layout/reading_entry.html")
        reason = [Field("reason")] if "reason" in self.fields else []
        buttons = HTML('{% include "_qualifiers.html" with qualifiers=form.buttons %}')
        if self.asks_tone:
            helper.layout = Layout("id", *reason, buttons)
        else:
            helper.layout = Layout("id", entry, *reason, buttons)
            helper.add_input(Submit("log", self.button))
        return helper

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("qualifier") or self.asks_tone:
            for name in ("text", "unit"):
                self.errors.pop(name, None)  # a button is the answer: nothing needs to be written
        if cleaned.get("qualifier"):
            self._clean_qualifier(cleaned)
        elif self.asks_tone:
            raise forms.ValidationError("Choose whether there was a tone.")
        elif "text" in cleaned and "unit" in cleaned:
            try:
                cleaned["typed"] = parse(cleaned["text"], quantity=self.quantity, unit=cleaned["unit"])
            except ReadingError as error:
                self.add_error("text", str(error))
        return cleaned

    def _clean_qualifier(self, cleaned: dict[str, Any]) -> None:
        offered = TONES if self.asks_tone else NO_NUMBER
        qualifier = cleaned["qualifier"]
        if qualifier not in offered:
            self.add_error(None, "Choose one of the buttons.")
            return
        cleaned["typed"] = TypedReading(
            text=offered[Qualifier(qualifier)], quantity=self.quantity, qualifier=Qualifier(qualifier)
        )


class TakeBackForm(SheetForm):
    """Strikes out a step that was logged by mistake."""

    button = "Take it back"
    id = forms.UUIDField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label="Why is it taken back?",
        max_length=200,
        error_messages={"required": "Say why it is taken back."},
    )


FORMS: dict[str, type[StepForm]] = {
    StepKind.ACTION: StepForm,
    StepKind.READING: ReadingForm,
    StepKind.OBSERVATION: AnswerForm,
    StepKind.DIAGNOSIS: AnswerForm,
    StepKind.CONCLUSION: AnswerForm,
    StepKind.PHOTO: PhotoForm,
}


class PlanForm(SheetForm):
    button = "Plan it"

    def __init__(self, *args: Any, tasks: QuerySet[Task], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["task"] = forms.ModelChoiceField(tasks, empty_label=None)
        self.order_fields(["task"])


class PriorForm(PlanForm):
    button = "Record it"
    achieved_on = DayField(label="Found competent on")
    evidence = forms.CharField(
        label="What shows it",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Where the record is, who assessed it, its reference.",
    )
