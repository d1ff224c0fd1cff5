"""The form that sends a copy of a document to be compared."""

from django import forms

from academy.forms import SheetForm


class CopyForm(SheetForm):
    button = "Compare"
    error_title = "Not compared"

    file = forms.FileField(
        label="A copy to compare",
        help_text="The PDF as you were given it. It is looked at here and not kept.",
        error_messages={"required": "Choose the file first.", "empty": "This file is empty."},
        widget=forms.FileInput(attrs={"accept": "application/pdf"}),
    )
