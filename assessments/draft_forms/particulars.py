"""What a task is called, is for and needs; and the short forms about a draft or a version."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from academy.forms import SheetForm
from assessments.draft_checks import LONGEST_MINUTES
from assessments.expansion import MOST_REPEATS
from assessments.surroundings import Surroundings
from assessments.task_files import LARGEST, TITLE_LENGTH, TaskFileError, read


class DesignsField(forms.MultipleChoiceField):
    """The rig designs that a task is done on. One that the centre lacks stays to be seen, and taken off."""

    def __init__(self, *, known: Surroundings, kept: Sequence[str] = ()) -> None:
        names = {slug: each.name for slug, each in known.designs.items()}
        names |= {slug: f"{slug} (not at this centre)" for slug in kept if slug not in names}
        super().__init__(
            label="Done on",
            choices=list(names.items()),
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": "Choose at least one rig design."},
        )


class RevisionForm(SheetForm):
    """A form that knows which revision of the draft it was opened on."""

    revision = forms.IntegerField(widget=forms.HiddenInput, min_value=1)


class NewTaskForm(SheetForm):
    button = "Begin the draft"

    title = forms.CharField(
        max_length=TITLE_LENGTH,
        help_text="As candidates will see it.",
        error_messages={"required": "Give the task a title."},
    )

    def __init__(self, *args: Any, known: Surroundings, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["designs"] = DesignsField(known=known)


class ParticularsForm(RevisionForm):
    """Everything of a task but its steps."""

    button = "Save the particulars"

    title = forms.CharField(max_length=TITLE_LENGTH, error_messages={"required": "Give the task a title."})
    purpose = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What it shows, in a sentence for the candidate.",
        error_messages={"required": "Say what the task is for."},
    )
    cautions = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="One a line. Candidates confirm them before they start.",
        error_messages={"required": "Write at least one caution."},
    )
    guide_minutes = forms.IntegerField(
        label="Minutes",
        min_value=1,
        max_value=LONGEST_MINUTES,
        help_text="How long it takes, as a guide.",
    )
    position = forms.IntegerField(
        label="Place among the tasks",
        min_value=1,
        max_value=9999,
        help_text="Tasks are listed from the lowest number to the highest.",
    )

    def __init__(self, *args: Any, known: Surroundings, task: Mapping[str, Any], **options: Any) -> None:
        standing = {**task, "cautions": "\n".join(task["cautions"])}
        options["initial"] = standing | (options.get("initial") or {})
        super().__init__(*args, **options)
        self.fields["designs"] = DesignsField(known=known, kept=task["designs"])
        titles = {slug: each.title for slug, each in known.tasks.items() if slug != task["slug"]}
        self.fields["requires"] = _several("Comes after", titles, task["requires"], "no version in force")
        criteria = {code: f"{code}: {text}" for code, text in known.criteria.items()}
        self.fields["criteria"] = _several("Criteria", criteria, task["criteria"], "not at this centre")
        self.order_fields(["title", "purpose", "designs", "cautions", "guide_minutes", "requires"])

    def particulars(self) -> dict[str, Any]:
        """What was given, as task data."""
        given = self.cleaned_data
        cautions = [each.strip() for each in given["cautions"].splitlines() if each.strip()]
        names = ("title", "purpose", "designs", "guide_minutes", "position", "requires", "criteria")
        return {**{name: given[name] for name in names}, "cautions": cautions}


def _several(
    label: str, known: Mapping[str, str], kept: Sequence[str], why_not: str
) -> forms.MultipleChoiceField:
    gone = {each: f"{each} ({why_not})" for each in kept if each not in known}
    return forms.MultipleChoiceField(
        label=label,
        choices=[*known.items(), *gone.items()],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class RepeatForm(RevisionForm):
    button = "Save"

    repeat = forms.IntegerField(
        label="How many times over?",
        min_value=1,
        max_value=MOST_REPEATS,
        help_text="In its steps’ texts, {n} becomes the number of the time, {of} how many times there are.",
    )


class PublishForm(RevisionForm):
    button = "Publish"


class SetAsideForm(SheetForm):
    button = "Set the draft aside"
    button_class = "danger"


class RemovalForm(RevisionForm):
    button = "Take it out"
    button_class = "danger"


class WithdrawForm(SheetForm):
    button = "Withdraw it"
    button_class = "danger"

    because = forms.CharField(
        label="Why?",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=1000,
        help_text="Whoever looks at this version reads it.",
        error_messages={"required": "Say why it is withdrawn."},
    )


class ImportForm(SheetForm):
    """A task file. Cleans to ``task``, its data."""

    button = "Read the file"

    file = forms.FileField(
        label="Task file",
        widget=forms.ClearableFileInput(attrs={"accept": ".json,application/json"}),
        help_text="JSON, as a version’s page gives it.",
        error_messages={"required": "Choose a file first.", "empty": "That file is empty."},
    )

    def clean_file(self) -> object:
        file = self.cleaned_data["file"]
        try:
            self.cleaned_data["task"] = read(file.read(LARGEST + 1))
        except TaskFileError as error:
            raise forms.ValidationError(str(error)) from error
        return file
