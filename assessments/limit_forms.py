"""The form by which a centre puts a limit of its tasks in use."""

from django import forms

from academy.forms import SheetForm

COMPARE_FIRST = "Compare it with the current edition first, and say so."


class LimitForm(SheetForm):
    button = "Confirm this limit"
    error_title = "Not confirmed yet: put this right"

    compared = forms.BooleanField(
        label="I have compared it with the current edition",
        error_messages={"required": COMPARE_FIRST},
    )
