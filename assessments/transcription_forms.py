"""The form of a whole log sheet: every step that has no entry yet, in the order of the paper."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django import forms

from academy.forms import DayField, SheetForm
from assessments.forms import NO_NUMBER, TONES
from assessments.marking.parameters import free_measuring
from assessments.models import Step
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.transcription import Line
from rigs.metrology.quantities import UNITS, Qualifier, Quantity
from rigs.metrology.readings import ReadingError, TypedReading, parse
from rigs.models import Condition, TestPoint

LINES = 12
"""Lines for measurements of the candidate's own choice, as many as on the printed sheet."""
UNANSWERED = ("", "Nothing written")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One step, or one line of it, with its fields. ``has_entry`` where something stands already."""

    step: Step
    number: int | None
    fields: tuple[forms.BoundField, ...]
    has_entry: bool


class TranscriptionForm(SheetForm):
    """Cleans to ``lines``. ``standing`` are the steps, by id, with the id of the entry that they have.

    An entry that this form sent itself leaves its step in: the same sheet sent twice is the same sheet.
    """

    button = "Keep the log sheet"
    observed_on = DayField(
        label="Day of the work",
        help_text="As it is written on the sheet.",
        error_messages={"required": "Say on what day the work was done: it stands at the head of the sheet."},
    )

    def __init__(
        self,
        *args: Any,
        steps: Sequence[Step],
        standing: dict[int, UUID],
        test_points: Sequence[TestPoint],
        conditions: Sequence[Condition],
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.steps = steps
        self.test_points = {each.slug: each for each in test_points}
        self.conditions = {each.slug: each for each in conditions}
        self.standing = {step for step, entry in standing.items() if str(entry) not in self._sent_ids(steps)}
        for step, number, key in self._keys():
            self._add(step, number, key)

    def _sent_ids(self, steps: Sequence[Step]) -> Collection[str]:
        return {str(self.data.get(f"s{step.position}_id", "")) for step in steps}

    def _keys(self) -> Iterator[tuple[Step, int | None, str]]:
        """Every line with a field on the form: its step, its number in that, and its fields' prefix."""
        for step in self.steps:
            if step.kind == StepKind.MEASUREMENTS:
                for number in range(1, LINES + 1):
                    yield step, number, f"s{step.position}_{number}"
            elif step.pk not in self.standing and step.kind != StepKind.PHOTO:
                yield step, None, f"s{step.position}"

    def _add(self, step: Step, number: int | None, key: str) -> None:
        self.fields[f"{key}_id"] = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4, required=False)
        for name, field in self._fields_of(step):
            self.fields[f"{key}_{name}"] = field
        self.fields[f"{key}_written"] = forms.CharField(
            label="Time or order",
            required=False,
            max_length=5,
            widget=forms.TextInput(attrs={"autocomplete": "off", "size": 6}),
        )

    def _fields_of(self, step: Step) -> Iterator[tuple[str, forms.Field]]:
        match step.kind:
            case StepKind.ACTION:
                yield "done", forms.BooleanField(label="Ticked", required=False)
            case StepKind.READING:
                yield from _reading_fields(step)
            case StepKind.MEASUREMENTS:
                yield from self._measurement_fields(step)
            case _:
                choices = [UNANSWERED, *((each["value"], each["label"]) for each in step.choices)]
                yield "answer", forms.ChoiceField(label="Answer", choices=choices, required=False)
                if step.kind != StepKind.OBSERVATION:
                    yield (
                        "note",
                        forms.CharField(
                            label="Reason",
                            required=False,
                            max_length=1000,
                            widget=forms.Textarea(attrs={"rows": 2}),
                        ),
                    )

    def _measurement_fields(self, step: Step) -> Iterator[tuple[str, forms.Field]]:
        offered = free_measuring(step)
        points = [
            (pk, each.label) for pk, each in self.test_points.items() if offered.offers_test_point(each.slug)
        ]
        conditions = [
            (pk, each.label) for pk, each in self.conditions.items() if offered.offers_condition(each.slug)
        ]
        yield "test_point", forms.ChoiceField(label="Where", choices=[UNANSWERED, *points], required=False)
        yield (
            "condition",
            forms.ChoiceField(label="Condition", choices=[UNANSWERED, *conditions], required=False),
        )
        yield "text", _text_field()
        units = [unit for quantity in free_measuring(step).instruments for unit in UNITS[Quantity(quantity)]]
        yield (
            "unit",
            forms.ChoiceField(
                label="Unit",
                choices=[("", "None written"), *((each, each) for each in units)],
                required=False,
            ),
        )
        yield "qualifier", _qualifier_field(NO_NUMBER | TONES)

    @property
    def rows(self) -> Iterator[Row]:
        """Every step of the sheet, those with an entry and photos without a field."""
        fields: dict[tuple[int, int | None], list[forms.BoundField]] = {}
        for step, number, key in self._keys():
            found = [self[name] for name in self.fields if name.startswith(f"{key}_")]
            fields[step.position, number] = [each for each in found if number is not None or _own(each, key)]
        for step in self.steps:
            mine = {place: each for place, each in fields.items() if place[0] == step.position} or {
                (step.position, None): []
            }
            for (_, number), each in mine.items():
                yield Row(step=step, number=number, fields=tuple(each), has_entry=step.pk in self.standing)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        lines = [self._line(step, key, cleaned) for step, _number, key in self._keys()]
        cleaned["lines"] = [line for line in lines if line is not None]
        return cleaned

    def _line(self, step: Step, key: str, cleaned: dict[str, Any]) -> Line | None:
        """What stands there; None for a line left empty, or with something wrong that is said beside it."""
        given = {
            name.removeprefix(f"{key}_"): value
            for name, value in cleaned.items()
            if name.startswith(f"{key}_")
        }
        if not self._is_filled_in(step, key, given):
            return None
        common = {
            "key": key,
            "id": given.get("id") or uuid4(),
            "step": step,
            "written": given.get("written", ""),
        }
        match step.kind:
            case StepKind.READING:
                typed = self._typed(key, given, Quantity(step.quantity))
                return None if typed is None else Line(typed=typed, **common)
            case StepKind.MEASUREMENTS:
                return self._measurement(key, given, common)
        return Line(answer=given.get("answer", ""), note=given.get("note", ""), **common)

    def _is_filled_in(self, step: Step, key: str, given: dict[str, Any]) -> bool:
        main = ("done", "text", "qualifier", "answer", "note", "test_point", "condition")
        if any(given.get(name) for name in main):
            return True
        if given.get("written"):
            self.add_error(f"{key}_written", f"“{step.title}” has a time or number, but nothing beside it.")
        return False

    def _typed(self, key: str, given: dict[str, Any], quantity: Quantity) -> TypedReading | None:
        text, qualifier = given.get("text", ""), given.get("qualifier", "")
        if qualifier:
            if text:
                self.add_error(f"{key}_text", "Either a number or a word: leave one of the two empty.")
                return None
            words = (NO_NUMBER | TONES)[Qualifier(qualifier)]
            return TypedReading(text=words, quantity=quantity, qualifier=Qualifier(qualifier))
        try:
            return parse(text, quantity=quantity, unit=given.get("unit") or UNITS[quantity][0])
        except ReadingError as error:
            self.add_error(f"{key}_text", str(error))
            return None

    def _measurement(self, key: str, given: dict[str, Any], common: dict[str, Any]) -> Line | None:
        point = self.test_points.get(given.get("test_point", ""))
        condition = self.conditions.get(given.get("condition", ""))
        if point is None:
            self.add_error(f"{key}_test_point", "Choose where this was measured.")
        if condition is None:
            self.add_error(f"{key}_condition", "Choose the condition that the rig was in.")
        if point is None or condition is None:
            return None
        typed = self._typed(key, given, Quantity(point.quantity))
        if typed is None:
            return None
        if typed.value is not None and not given.get("unit") and typed.text.strip()[-1:].isdigit():
            self.add_error(f"{key}_unit", "Choose the unit that is written beside it.")
            return None
        return Line(typed=typed, test_point=point, condition=condition, **common)


def _own(field: forms.BoundField, key: str) -> bool:
    """Whether a field is a step's own, and not one of a numbered line of another step's."""
    return not field.name.removeprefix(f"{key}_")[:1].isdigit()


def _reading_fields(step: Step) -> Iterator[tuple[str, forms.Field]]:
    if step.judged_by == ReadingCheck.TONE:
        yield "qualifier", _qualifier_field(TONES)
        return
    yield "text", _text_field()
    units = [(unit, unit) for unit in UNITS[Quantity(step.quantity)]]
    yield "unit", forms.ChoiceField(label="Unit", choices=units, required=False)
    yield "qualifier", _qualifier_field(NO_NUMBER)


def _text_field() -> forms.CharField:
    return forms.CharField(
        label="Reading",
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


def _qualifier_field(offered: dict[Qualifier, str]) -> forms.ChoiceField:
    words = [(str(value), label) for value, label in offered.items()]
    return forms.ChoiceField(label="Or in words", choices=[("", "–"), *words], required=False)
