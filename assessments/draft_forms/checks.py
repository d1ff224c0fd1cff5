"""What a check needs to be told, as fields of the form of a step, and back as the step's parameters."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django import forms

from academy.forms import DayField
from assessments.models.tasks import ReadingCheck
from rigs.metrology.computed.calculator import Calculator, Input
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.quantities import UNITS, Quantity

Options = Sequence[tuple[str, str]]

WORKED_OUT: Final = frozenset({ReadingCheck.COMPUTED, ReadingCheck.CONFORMS})
"""Checks that may have a calculator."""
INPUT: Final = "input_"
"""What the name of a field for a calculator's input begins with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the form knows when it asks: the check, what came before, and what is chosen so far."""

    check: str
    parameters: Mapping[str, Any]
    readings: Options
    quantity: str
    calculator: str


def fields_of(asked: Asked) -> dict[str, forms.Field]:
    """The fields that the check has, in their order."""
    return _FIELDS[asked.check](asked) if asked.check in _FIELDS else {}


def initial_of(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """What the fields begin with. Inputs are written as names and numbers with commas between."""
    initial = {name: value for name, value in parameters.items() if name != "inputs"}
    inputs = parameters.get("inputs", {})
    return initial | {f"{INPUT}{name}": _written(given) for name, given in inputs.items()}


def parameters_from(names: Sequence[str], cleaned: Mapping[str, Any]) -> dict[str, Any]:
    """The parameters that the fields of those names were cleaned to, empty ones left out."""
    found: dict[str, Any] = {}
    for name in names:
        value = cleaned.get(name)
        if value in (None, "", []):
            continue
        if name.startswith(INPUT):
            found.setdefault("inputs", {})[name.removeprefix(INPUT)] = value
        else:
            found[name] = _plain(value)
    if "calculator" in found:
        found.setdefault("inputs", {})
    return found


class InputField(forms.CharField):
    """The steps or numbers that a calculator takes: ``contacts-rest, 20``. Cleans to one, or to a list."""

    def __init__(self, due: Input, **options: Any) -> None:
        unit = f", in {due.unit}" if due.unit and due.unit != "1" else ""
        several = "Short names of steps or numbers, with commas between" if due.has_repeats else ""
        super().__init__(
            label=due.label[:1].upper() + due.label[1:],
            max_length=400,
            help_text=f"{several or 'The short name of a step, or a number'}{unit}.",
            error_messages={"required": "Say which step’s reading it takes, or a number."},
            **options,
        )
        self.has_repeats = due.has_repeats

    def clean(self, value: Any) -> Any:
        parts = [part.strip() for part in super().clean(value).split(",") if part.strip()]
        given = [_given(part) for part in parts]
        if len(given) == 1 and "*" not in parts[0]:
            return given[0]
        if not self.has_repeats:
            raise forms.ValidationError("It takes one step or one number.")
        return given


def _given(part: str) -> float | int | str:
    """A number where it is written as one; otherwise the name of a step."""
    if not re.fullmatch(r"[+−-]?[0-9]{1,9}(\.[0-9]{1,9})?", part):
        return part
    number: float | int = _plain(float(part.replace("−", "-")))
    return number


def _written(given: Any) -> str:
    return ", ".join(str(each) for each in (given if isinstance(given, list | tuple) else [given]))


def _plain(value: Any) -> Any:
    """As JSON has it: whole numbers without a point, days in ISO form."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value.isoformat() if isinstance(value, date) else value


def _with(options: Options, *kept: object) -> list[tuple[str, str]]:
    """The options, and what is written already though it is none of them."""
    known = {value for value, _ in options}
    return [
        *options,
        *((each, f"{each} (as written)") for each in kept if isinstance(each, str) and each not in known),
    ]


def _step(asked: Asked, name: str, label: str) -> forms.ChoiceField:
    options = _with(asked.readings, asked.parameters.get(name))
    return forms.ChoiceField(
        label=label,
        choices=[("", "Pick a reading on a step before"), *options],
        error_messages={"required": "Pick a reading on a step before this one."},
    )


def _steps(asked: Asked, name: str, label: str) -> forms.MultipleChoiceField:
    kept = asked.parameters.get(name, ())
    return forms.MultipleChoiceField(
        label=label,
        choices=_with(asked.readings, *(kept if isinstance(kept, list) else ())),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Pick at least one reading on a step before this one."},
    )


def _leads(asked: Asked) -> forms.ChoiceField:
    options = _with(asked.readings, asked.parameters.get("leads"))
    return forms.ChoiceField(
        label="Leads were read on",
        choices=[("", "No step: nothing is taken off"), *options],
        required=False,
        help_text="Their resistance is taken off the reading.",
    )


def _number(
    label: str, *, required: bool = True, help_text: str = "", least: float | None = None
) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        required=required,
        help_text=help_text,
        min_value=least,
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
        error_messages={"required": "Write a number.", "invalid": "Write a number, such as 2.5."},
    )


def _limits(asked: Asked) -> dict[str, forms.Field]:
    calculator = CALCULATORS.get(asked.calculator)
    units: Sequence[str] = UNITS[Quantity(asked.quantity)] if asked.quantity in set(Quantity) else ()
    if calculator is not None and calculator.output.unit is not None:
        units = (calculator.output.unit,)
    unit = asked.parameters.get("unit")
    return {
        "lower": _number("Lower limit", required=False),
        "upper": _number("Upper limit", required=False, help_text="One of the two may be left out."),
        "unit": forms.ChoiceField(
            label="Unit of the limits", choices=_with([(each, each) for each in units], unit)
        ),
        "source": forms.CharField(
            label="Where the limits stand",
            max_length=300,
            help_text="The standard, regulation or maker’s sheet; or that it is the centre’s own value.",
            error_messages={"required": "Say where the limits come from."},
        ),
        "dated": forms.CharField(
            label="Its edition or date",
            max_length=100,
            error_messages={"required": "Say which edition, or of what date."},
        ),
        "clause": forms.CharField(label="Clause", max_length=200, required=False),
        "applies_from": DayField(label="Applies from", required=False),
        "applies_until": DayField(label="Applies until", required=False),
    }


def _work(asked: Asked, *, required: bool) -> dict[str, forms.Field]:
    names = sorted(CALCULATORS.values(), key=lambda each: each.label)
    options = _with([(each.name, each.label) for each in names], asked.parameters.get("calculator"))
    fields: dict[str, forms.Field] = {
        "calculator": forms.ChoiceField(
            label="Worked out by",
            choices=[("", "Pick one" if required else "Nothing: the reading itself is limited"), *options],
            required=required,
            error_messages={"required": "Pick what it is worked out by."},
        )
    }
    calculator = CALCULATORS.get(asked.calculator)
    if calculator is not None:
        fields["calculator"].help_text = f"{calculator.formula} — then “Show its fields”."
        fields |= _inputs(calculator)
    else:
        fields["calculator"].help_text = "Pick one, then “Show its fields”."
    if required:
        fields["allowance"] = _number(
            "Allowance", required=False, least=0, help_text="How far off the answer may be beside rounding."
        )
    return fields


def _inputs(calculator: Calculator) -> dict[str, forms.Field]:
    return {f"{INPUT}{each.name}": InputField(each) for each in calculator.inputs}


_FIELDS: Final[Mapping[str, Callable[[Asked], dict[str, forms.Field]]]] = {
    ReadingCheck.FALLS: lambda asked: {
        "of": _step(asked, "of", "From which reading?"),
        "percent": _number("By at least how many per cent?"),
    },
    ReadingCheck.REVERSES: lambda asked: {"of": _step(asked, "of", "Than which reading?")},
    ReadingCheck.CHANGES: lambda asked: {
        "of": _step(asked, "of", "Than on which step?"),
        "leads": _leads(asked),
    },
    ReadingCheck.CONTACT: lambda asked: {"leads": _leads(asked)},
    ReadingCheck.REPEATS: lambda asked: {"of": _steps(asked, "of", "Which readings does it repeat?")},
    ReadingCheck.CLOSES: lambda asked: {
        "high": _step(asked, "high", "The higher pressure"),
        "low": _step(asked, "low", "The lower pressure"),
    },
    ReadingCheck.ZERO: lambda _: {"digits": _number("How many digits from zero?", required=False, least=0)},
    ReadingCheck.CONFORMS: lambda asked: _limits(asked) | _work(asked, required=False),
    ReadingCheck.COMPUTED: lambda asked: _work(asked, required=True),
}
