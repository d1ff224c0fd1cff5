"""A file of rows: sent to see what would come of them, then carried along to bring them in."""

import base64
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.core import signing
from django.utils.functional import cached_property

from academy.forms import SheetForm
from academy.models import Person
from academy.transfer.tables import LARGEST_BYTES

SALT = "academy.transfer"
CARRIED_FOR = 60 * 60  # seconds


class RowsFileForm(SheetForm):
    button = "See what would come of it"
    error_title = "Nothing is brought in"

    file = forms.FileField(
        label="CSV file or XLSX workbook",
        help_text=f"At most {LARGEST_BYTES // 1024 // 1024} MB. Nothing is brought in yet.",
        error_messages={"empty": "The file is empty."},
    )


class RowsCarriedForm(SheetForm):
    """The file that was looked at, sealed, so that it is the same one that is brought in."""

    carried = forms.CharField(widget=forms.HiddenInput)
    leave_broken = forms.BooleanField(
        label="Import the sound rows and leave the others",
        required=False,
        error_messages={"required": "Tick this, or put the file right and send it again."},
    )

    def __init__(
        self, *args: Any, person: Person, kind: str, broken: int = 0, new: int = 0, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.sealed_for = [str(person.pk), kind]
        self.new = new
        if not self.is_bound and not broken:
            del self.fields["leave_broken"]
        elif broken:
            self.fields["leave_broken"].required = True

    @cached_property
    def helper(self) -> FormHelper:
        self.button = f"Bring in {self.new} row{'' if self.new == 1 else 's'}"
        return super().helper

    def clean_carried(self) -> bytes:
        try:
            sealed_for, content = signing.loads(self.cleaned_data["carried"], salt=SALT, max_age=CARRIED_FOR)
        except signing.BadSignature:
            sealed_for, content = None, ""
        if sealed_for != self.sealed_for:
            raise forms.ValidationError("It is too long since this file was looked at. Send it again.")
        return base64.b64decode(content)


def sealed(content: bytes, *, person: Person, kind: str) -> str:
    """A file's content as a text for a hidden field, which nobody else can send and none can change."""
    text = base64.b64encode(content).decode()
    return signing.dumps([[str(person.pk), kind], text], salt=SALT, compress=True)
