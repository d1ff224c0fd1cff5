"""The form of the assessor's decision, the filters of what waits, and the phrase book."""

from collections.abc import Sequence
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Fieldset, Layout, Submit
from django import forms
from django.db.models import QuerySet
from django.utils.functional import cached_property
from django.utils.html import escape

from academy.forms import SheetForm
from assessments import phrases
from assessments.judgements import Judged
from assessments.marking.points import Point
from assessments.models import Phrase, Task
from assessments.models.decisions import Decision, Strand
from assessments.queue import Filters, Offered

EVERY = ("", "All")


class DecideForm(SheetForm):
    """Cleans to ``decision``, ``feedback`` with the chosen phrases in it, ``reason`` and ``judged``.

    ``required`` are the points that are to be judged whatever the decision. The reason is folded away where
    none is to be expected.
    """

    button = "Sign off"
    outcome = forms.UUIDField(widget=forms.HiddenInput)
    visible_seconds = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0)
    decision = forms.ChoiceField(
        label="Your decision",
        choices=Decision.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Decide first."},
    )
    feedback = forms.CharField(
        label="Feedback to the candidate",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write feedback: what was good, what to do next."},
    )
    keep = forms.BooleanField(label="Keep what I typed as a phrase", required=False)
    reason = forms.CharField(label="Your reason", widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(
        self,
        *args: Any,
        hint: str,
        expects_reason: bool,
        points: Sequence[Point],
        required: frozenset[str],
        book: Sequence[Phrase],
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.expects_reason = expects_reason
        self.points, self.book = points, {str(phrase.pk): phrase for phrase in book}
        self.fields["reason"].help_text = hint
        for point in points:
            self._add_point(point, is_required=point.key in required)
        if book:
            self.fields["phrases"] = forms.MultipleChoiceField(
                label="Your phrases",
                choices=[(key, phrase.text) for key, phrase in self.book.items()],
                widget=forms.CheckboxSelectMultiple(attrs={"data-phrase": ""}),
                required=False,
                help_text="Those ticked are added to what you write.",
            )

    def _add_point(self, point: Point, *, is_required: bool) -> None:
        self.fields[f"met-{point.key}"] = forms.ChoiceField(
            label=point.title,
            choices=[(Strand.MET.value, Strand.MET.label), (Strand.NOT_MET.value, Strand.NOT_MET.label)],
            widget=forms.RadioSelect,
            required=is_required,
            help_text=escape(point.sentence),
            error_messages={"required": "Decide whether it is met."},
        )
        self.fields[f"why-{point.key}"] = forms.CharField(
            label="What you decided it by",
            widget=forms.Textarea(attrs={"rows": 1}),
            required=is_required,
            error_messages={"required": "Say what you decided it by."},
        )

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_error_title = "Not signed off yet"
        helper.form_class = "decide"
        judging = [name for point in self.points for name in (f"met-{point.key}", f"why-{point.key}")]
        left = [Fieldset("Left to you by the marking", *judging, css_class="points")] if judging else []
        book = [Div("phrases", css_class="phrases")] if self.book else []
        is_open = " open" if self.errors or self.expects_reason else ""
        why = [
            HTML(f'<details class="more"{is_open}><summary>Your reason</summary>'),
            "reason",
            HTML("</details>"),
        ]
        helper.layout = Layout(
            "outcome", "visible_seconds", *left, "decision", "feedback", *book, "keep", *why
        )
        helper.add_input(Submit("submit", self.button))
        return helper

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        chosen = [self.book[key] for key in cleaned.get("phrases", ())]
        typed = cleaned.get("feedback", "")
        if chosen:
            self.errors.pop("feedback", None)  # a phrase is feedback: nothing more needs to be typed
            cleaned["feedback"] = phrases.joined(typed=typed, chosen=chosen)
        if cleaned.get("keep") and not typed.strip():
            self.add_error("keep", "Nothing is typed that could be kept.")
        cleaned["typed"] = typed
        cleaned["judged"] = {point.key: self._judged(point, cleaned) for point in self.points}
        return cleaned

    def _judged(self, point: Point, cleaned: dict[str, Any]) -> Judged:
        said = cleaned.get(f"met-{point.key}")
        return Judged(
            met=None if not said else said == Strand.MET, reason=cleaned.get(f"why-{point.key}") or ""
        )


class QueueForm(forms.Form):
    """Which of what waits is shown. Cleans to ``filters``; what isn't on offer any more filters nothing."""

    mine = forms.BooleanField(label="Mine today", required=False)

    def __init__(self, *args: Any, offered: Offered, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, label, found in (
            ("task", "Task", offered.tasks),
            ("cohort", "Cohort", offered.cohorts),
            ("rig", "Rig", offered.rigs),
        ):
            choices = [EVERY, *((str(pk), words) for pk, words in found)]
            self.fields[name] = forms.ChoiceField(label=label, choices=choices, required=False)
        self.order_fields(["task", "cohort", "rig", "mine"])

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_class = "filters"
        helper.form_method = "get"
        helper.add_input(Submit("", "Show", css_class="plain"))
        return helper

    @property
    def filters(self) -> Filters:
        if not self.is_valid():
            return Filters()
        given = self.cleaned_data
        return Filters(
            mine=given["mine"],
            **{name: given[name] or None for name in ("task", "cohort", "rig")},
        )


class PhraseForm(SheetForm):
    button = "Keep it"
    text = forms.CharField(
        label="Sentence",
        max_length=phrases.LONGEST,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write the sentence."},
    )

    def __init__(self, *args: Any, tasks: QuerySet[Task], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["task"] = forms.ModelChoiceField(
            tasks, label="For the task", required=False, empty_label="Any task"
        )
