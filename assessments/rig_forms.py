"""Forms of the pages that have a rig's answers or its faults on them."""

from typing import Any, cast

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.db.models import QuerySet
from django.utils.functional import cached_property

from academy.forms import SheetForm
from rigs.models import Fault
from rigs.models.baselines import Outlier


class FaultForm(SheetForm):
    """The faults of the rig's design: which of them is set is what the form is for."""

    button = "Record it as set"

    fault = forms.ModelChoiceField(
        Fault.objects.none(),
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the fault that you set."},
    )
    practice_only = forms.BooleanField(
        label="For practice only: nobody is assessed on this rig while it is set", required=False
    )

    def __init__(self, *args: Any, choices: QuerySet[Fault], **options: Any) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelChoiceField[Fault]", self.fields["fault"]).queryset = choices


class FaultRemovalForm(SheetForm):
    button = "Record it as removed"

    removed = forms.BooleanField(
        label="I took it off, and the rig is as it should be",
        error_messages={"required": "Confirm that you took it off."},
    )


class DecisionForm(SheetForm):
    """A second person's decision on a baseline. One that isn't handed over yet can only be set aside."""

    note = forms.CharField(
        widget=forms.Textarea,
        required=False,
        max_length=1000,
        help_text="Needed when it is sent back: what is wrong with it.",
        error_messages={"required": "Say what is wrong with it."},
    )

    def __init__(self, *args: Any, approvable: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        self.approvable = approvable
        if not approvable:
            self.fields["note"].required = True
            self.fields["note"].help_text = "Why it won’t be finished."

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        if self.approvable:
            helper.add_input(Submit("approve", "Approve the baseline"))
        send_back = "Send it back" if self.approvable else "Set it aside"
        helper.add_input(Submit("send_back", send_back, css_class="plain" if self.approvable else ""))
        return helper


class OutlierForm(SheetForm):
    button = "Keep this decision"

    outlier = forms.ChoiceField(
        label="This reading is",
        choices=Outlier.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what becomes of it."},
    )
    reason = forms.CharField(
        label="Why?",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=500,
        help_text="What happened at that run, or why nothing did. It stays on record either way.",
        error_messages={"required": "Say why: what happened at that run, or why nothing did."},
    )
