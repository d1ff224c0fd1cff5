"""The form of one step of a draft, with the fields of the kind, check and calculator chosen so far."""

from collections.abc import Mapping, Sequence
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Div, Fieldset, Layout, Row, Submit
from django import forms
from django.utils.functional import cached_property
from django.utils.text import slugify

from assessments.draft_checks import ANSWERED, OF_THE_RIG, SHORT_NAME, STATES
from assessments.draft_forms.checks import WORKED_OUT, Asked, fields_of, initial_of, parameters_from
from assessments.draft_forms.particulars import RevisionForm
from assessments.draft_steps import SLUG_LENGTH, Node, Place, earlier_readings, new_slug, plain_steps
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.surroundings import Surroundings
from assessments.task_files import TITLE_LENGTH
from rigs.metrology.quantities import Quantity
from rigs.models.instruments import InstrumentKind

USES_AN_INSTRUMENT = frozenset({StepKind.ACTION, StepKind.READING, StepKind.OBSERVATION})
LEAST_CHOICES, SPARE_CHOICES = 4, 2
MOST_CHOICES = 12
STATE_WORDS = {"closed": "Closed", "open": "Open", "tone": "A tone", "no-tone": "No tone"}
REFRESH = "refresh"
"""The button that shows the fields of what was chosen, and saves nothing."""


class DraftStepForm(RevisionForm):
    """``node`` is the step as it stands, empty for a new one. Gives it back by `node_given`."""

    button = "Save the step"

    was = forms.CharField(required=False, widget=forms.HiddenInput)
    title = forms.CharField(max_length=TITLE_LENGTH, error_messages={"required": "Give the step a title."})
    instruction = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What to do, as the candidate reads it at the bench.",
        error_messages={"required": "Say what to do."},
    )
    why = forms.CharField(
        label="Why it matters",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="A safety-critical step must say it.",
    )
    safety_critical = forms.BooleanField(label="Safety-critical", required=False)
    required = forms.BooleanField(label="Must be done", required=False, initial=True)
    slug = forms.CharField(
        label="Short name",
        max_length=SLUG_LENGTH,
        required=False,
        help_text="By this the checks of other steps name it. Left empty, it is made from the title.",
    )

    def __init__(
        self,
        *args: Any,
        node: Node,
        task: Mapping[str, Any],
        place: Place,
        known: Surroundings,
        **options: Any,
    ) -> None:
        options["initial"] = _initial(node) | (options.get("initial") or {})
        super().__init__(*args, **options)
        self.node, self.task, self.place = node, task, place
        self.designs = known.of(task["designs"])
        self.kind = self._chosen("kind", StepKind.values, StepKind.ACTION)
        self.check = self._chosen("judged_by", ReadingCheck.values, "") if self._is_reading else ""
        self.fields["kind"] = forms.ChoiceField(
            label="Kind of step", choices=[(value, label.capitalize()) for value, label in StepKind.choices]
        )
        self.fields["condition"] = self._condition()
        if self.kind in USES_AN_INSTRUMENT:
            self.fields["instrument_kind"] = self._instrument()
        if self._is_reading:
            self._add_reading()
        if self.kind in ANSWERED:
            self._add_choices()
        if self.kind == StepKind.MEASUREMENTS:
            self._add_measuring()

    @property
    def _is_reading(self) -> bool:
        return self.kind == StepKind.READING

    def _chosen(self, name: str, known: list[str], otherwise: str) -> str:
        """What is chosen for a field that decides on others: as sent, or as it stands."""
        value = str((self.data if self.is_bound else self.initial).get(name, ""))
        return value if value in known else otherwise

    def _condition(self) -> forms.ChoiceField:
        known = {slug: label for design in self.designs for slug, label in design.conditions.items()}
        return forms.ChoiceField(
            label="Condition of the rig",
            choices=[("", "None in particular"), *_kept(known, self.node.get("condition"))],
            required=False,
        )

    def _instrument(self) -> forms.ChoiceField:
        return forms.ChoiceField(
            label="Instrument",
            choices=[("", "None"), *InstrumentKind.choices],
            required=self._is_reading,
            error_messages={"required": "Say with which instrument it is read."},
        )

    def _add_reading(self) -> None:
        named = self.node.get("measurand")
        known = {"/".join(key): label for each in self.designs for key, label in each.measurands.items()}
        self.fields["judged_by"] = forms.ChoiceField(
            label="How the reading is judged",
            choices=[("", "Pick one"), *((each.value, each.label.capitalize()) for each in ReadingCheck)],
            error_messages={"required": "Say how the reading is judged."},
        )
        self.fields["quantity"] = forms.ChoiceField(
            label="What is read",
            choices=[("", "Pick one"), *((each.value, each.words.capitalize()) for each in Quantity)],
            error_messages={"required": "Say what is read."},
        )
        self.fields["measurand"] = forms.ChoiceField(
            label="Test point and condition",
            choices=[("", "None of the rig’s own"), *_kept(known, "/".join(named) if named else None)],
            required=self.check in OF_THE_RIG,
            error_messages={"required": "Choose the test point and the condition that are read."},
        )
        if self.check in STATES:
            self.fields["state"] = forms.ChoiceField(
                label="What is right", choices=[(each, STATE_WORDS[each]) for each in STATES[self.check]]
            )
        self.parameter_fields = list(self._parameter_fields())

    def _parameter_fields(self) -> dict[str, forms.Field]:
        source = self.data if self.is_bound else self.initial
        asked = Asked(
            check=self.check,
            parameters=self.node.get("parameters", {}),
            readings=earlier_readings(self.task["steps"], self.place),
            quantity=str(source.get("quantity", "")),
            calculator=str(source.get("calculator", "")) if self.check in WORKED_OUT else "",
        )
        fields = fields_of(asked)
        self.fields.update(fields)
        return fields

    def _add_choices(self) -> None:
        given = self.data if self.is_bound else self.initial
        rows = range(1, MOST_CHOICES + 1)
        filled = max((row for row in rows if given.get(f"label_{row}")), default=0)
        standing = max(filled, len(self.node.get("choices", ())))
        self.choice_rows = max(standing, min(standing + SPARE_CHOICES, MOST_CHOICES), LEAST_CHOICES)
        for row in range(1, self.choice_rows + 1):
            self.fields[f"label_{row}"] = forms.CharField(
                label=f"Answer {row}", max_length=TITLE_LENGTH, required=False
            )
            self.fields[f"value_{row}"] = forms.CharField(
                label=f"Short name {row}", max_length=SLUG_LENGTH, required=False
            )
            self.fields[f"right_{row}"] = forms.BooleanField(label=f"Answer {row} is right", required=False)

    def _add_measuring(self) -> None:
        points = {slug: each for design in self.designs for slug, each in design.points.items()}
        conditions = {slug: label for each in self.designs for slug, label in each.conditions.items()}
        written = self.node.get("parameters", {}).get("instruments", {})
        read = {each.quantity for each in points.values()} | set(written)
        self.measured = sorted(read & set(Quantity))
        for quantity in self.measured:
            self.fields[f"reads_{quantity}"] = forms.ChoiceField(
                label=f"{Quantity(quantity).words.capitalize()} is read with",
                choices=[("", "Nothing"), *InstrumentKind.choices],
                required=False,
            )
        labels = {slug: each.label for slug, each in points.items()}
        for name, label, known in (
            ("test_points", "Test points on offer", labels),
            ("conditions", "Conditions on offer", conditions),
        ):
            self.fields[name] = forms.MultipleChoiceField(
                label=label,
                choices=_all_kept(known, self.node.get("parameters", {}).get(name, ())),
                widget=forms.CheckboxSelectMultiple,
                required=False,
                help_text="None ticked: all of the design’s.",
            )

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_error_title = self.error_title
        helper.layout = Layout(
            # The first button is the one that Enter presses.
            HTML('<button class="offscreen" type="submit" tabindex="-1" aria-hidden="true">Save</button>'),
            "revision",
            "was",
            "kind",
            *(["judged_by"] if self._is_reading else []),
            *(["calculator"] if "calculator" in self.fields else []),
            Div(HTML(_SHOW), css_class="buttons"),
            "title",
            "instruction",
            "why",
            "safety_critical",
            "required",
            "condition",
            *self._groups(),
            "slug",
        )
        helper.add_input(Submit("save", self.button))
        helper.add_input(Submit("next", "Save and go on to the next", css_class="plain"))
        return helper

    def _groups(self) -> list[Any]:
        groups: list[Any] = ["instrument_kind"] if "instrument_kind" in self.fields else []
        if self._is_reading:
            state = ["state"] if "state" in self.fields else []
            figures = [name for name in self.parameter_fields if name != "calculator"]
            groups += ["quantity", "measurand", *state]
            if figures:
                groups.append(Fieldset("Figures of the check", *figures, css_id="div_id_parameters"))
        if self.kind in ANSWERED:
            rows = [
                Row(f"label_{row}", f"value_{row}", f"right_{row}") for row in range(1, self.choice_rows + 1)
            ]
            groups.append(Fieldset("Answers to choose from", *rows, css_id="div_id_choices"))
        if self.kind == StepKind.MEASUREMENTS:
            reads = [f"reads_{each}" for each in self.measured]
            fields = (*reads, "test_points", "conditions")
            groups.append(Fieldset("What may be measured", *fields, css_id="div_id_parameters"))
        return groups

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("safety_critical") and not cleaned.get("why", "").strip():
            self.add_error("why", "It is safety-critical: say why.")
        self._clean_slug(cleaned)
        measurand = cleaned.get("measurand", "")
        if measurand and cleaned.get("condition") not in {"", measurand.partition("/")[2]}:
            self.add_error("condition", "The test point is read in another condition: choose that, or none.")
        limits = (cleaned.get("lower"), cleaned.get("upper"))
        if self.check == ReadingCheck.CONFORMS and limits == (None, None):
            self.add_error("lower", "Give a lower or an upper limit, or both.")
        if self.kind in ANSWERED:
            self._clean_choices(cleaned)
        return cleaned

    def _clean_slug(self, cleaned: dict[str, Any]) -> None:
        taken = {str(node.get("slug", "")) for _, node in plain_steps(self.task["steps"])}
        taken.discard(str(self.data.get("was", "")))
        slug = cleaned.get("slug", "")
        if not slug:
            cleaned["slug"] = new_slug(cleaned.get("title", ""), taken=taken)
        elif not SHORT_NAME.fullmatch(slug):
            self.add_error("slug", "Use small letters, digits and hyphens, such as “leads-together”.")
        elif slug in taken:
            self.add_error("slug", "Another step has this short name.")

    def _clean_choices(self, cleaned: dict[str, Any]) -> None:
        taken: set[str] = set()
        for row in range(1, self.choice_rows + 1):
            label, value = cleaned.get(f"label_{row}", ""), cleaned.get(f"value_{row}", "")
            if not label:
                if value or cleaned.get(f"right_{row}"):
                    self.add_error(f"label_{row}", "Write the answer, or leave the whole row empty.")
                continue
            value = cleaned[f"value_{row}"] = value or slugify(label)[:SLUG_LENGTH]
            if not SHORT_NAME.fullmatch(value):
                self.add_error(f"value_{row}", "Use small letters, digits and hyphens.")
            elif value in taken:
                self.add_error(f"value_{row}", "Another answer has this short name.")
            taken.add(value)
        rows = self._rows(cleaned)
        if len(rows) < 2:
            self.add_error("label_1" if not rows else "label_2", "Give at least two answers to choose from.")
        elif not any(right for _, _, right in rows) and (
            self.kind == StepKind.CONCLUSION or cleaned.get("safety_critical")
        ):
            self.add_error("right_1", "Tick the answer that is right.")

    def _rows(self, cleaned: Mapping[str, Any]) -> list[tuple[str, str, bool]]:
        return [
            (cleaned.get(f"value_{row}", ""), cleaned[f"label_{row}"], bool(cleaned.get(f"right_{row}")))
            for row in range(1, self.choice_rows + 1)
            if cleaned.get(f"label_{row}")
        ]

    def node_given(self) -> dict[str, Any]:
        """The step as it was given, with nothing in it that goes without saying."""
        given = self.cleaned_data
        node = {name: given[name] for name in ("slug", "kind", "title")}
        for name in ("instrument_kind", "quantity", "judged_by"):
            node |= {name: given[name]} if given.get(name) else {}
        node |= {"safety_critical": True} if given["safety_critical"] else {}
        node |= {} if given["required"] else {"required": False}
        measurand = given.get("measurand", "")
        if measurand:
            node["measurand"] = measurand.split("/")
        elif given["condition"]:
            node["condition"] = given["condition"]
        parameters = self._parameters()
        node |= {"parameters": parameters} if parameters else {}
        node["instruction"] = given["instruction"]
        node |= {"why": given["why"]} if given["why"].strip() else {}
        return node | self._answers()

    def _answers(self) -> dict[str, Any]:
        given = self.cleaned_data
        if self.kind in ANSWERED:
            rows = self._rows(given)
            choices = [{"value": value, "label": label} for value, label, _ in rows]
            right = [value for value, _, is_right in rows if is_right]
            return {"choices": choices} | ({"expected": right} if right else {})
        if given.get("state"):
            return {"expected": [given["state"]]}
        # What this form doesn't ask for stays as it is written.
        is_same = self.kind == self.node.get("kind") and self.check == self.node.get("judged_by", "")
        return {name: self.node[name] for name in ("choices", "expected") if is_same and name in self.node}

    def _parameters(self) -> dict[str, Any]:
        given = self.cleaned_data
        if self.kind == StepKind.MEASUREMENTS:
            instruments = {each: given[f"reads_{each}"] for each in self.measured if given[f"reads_{each}"]}
            offered = {name: given[name] for name in ("test_points", "conditions") if given[name]}
            return ({"instruments": instruments} if instruments else {}) | offered
        if not self._is_reading:
            return {}
        found = parameters_from(self.parameter_fields, given)
        # What a check can be told besides, and this form doesn't ask for, stays as it is written.
        asked = {*self.parameter_fields, "inputs", "calculator"}
        kept = self.node.get("parameters", {}) if self.check == self.node.get("judged_by") else {}
        return {name: value for name, value in kept.items() if name not in asked} | found


_SHOW = f'<button class="button plain" type="submit" name="{REFRESH}" value="1">Show its fields</button>'


def _kept(known: Mapping[str, str], value: str | None) -> list[tuple[str, str]]:
    """The options, with what is chosen already though no design has it."""
    gone = [(value, f"{value} (on none of its designs)")] if value and value not in known else []
    return [*known.items(), *gone]


def _all_kept(known: Mapping[str, str], values: Sequence[str]) -> list[tuple[str, str]]:
    return [*known.items(), *(_kept({}, value)[0] for value in values if value not in known)]


def _initial(node: Node) -> dict[str, Any]:
    parameters = node.get("parameters", {})
    initial = {name: value for name, value in node.items() if name not in {"parameters", "choices"}}
    initial |= {"was": node.get("slug", ""), "required": node.get("required", True)}
    initial.setdefault("kind", str(StepKind.ACTION))
    initial["measurand"] = "/".join(node.get("measurand", ()))
    expected = node.get("expected", ())
    initial["state"] = next(iter(expected), "")
    for row, choice in enumerate(node.get("choices", ()), start=1):
        initial |= {
            f"label_{row}": choice["label"],
            f"value_{row}": choice["value"],
            f"right_{row}": choice["value"] in expected,
        }
    instruments = parameters.get("instruments", {})
    initial |= {f"reads_{quantity}": kind for quantity, kind in instruments.items()}
    return initial_of(parameters) | initial
