from collections.abc import Sequence
from typing import Any, cast

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Fieldset, Layout, LayoutObject, Row
from django import forms
from django.utils.functional import cached_property

from academy.forms import DayField, SheetForm
from academy.models import Centre
from rigs.calibrations import PointLine
from rigs.fields import FigureField
from rigs.forms.layout import More
from rigs.instruments import KIND_FOR_QUANTITY
from rigs.metrology.quantities import UNITS, Quantity, unit_quantity
from rigs.models import Instrument, InstrumentModel
from rigs.models.instruments import InstrumentKind
from rigs.register import RangeLine

MOST_RANGES = 4
MOST_POINTS = 6


class InstrumentForm(SheetForm):
    button = "Add the instrument"

    model = forms.ModelChoiceField(InstrumentModel.objects.none(), empty_label="Pick one")
    tag = forms.CharField(max_length=20, help_text="As on its label, such as MN-07.")
    serial = forms.CharField(label="Serial number", max_length=60, required=False)
    is_reference = forms.BooleanField(
        label="A reference instrument, kept out of candidates’ hands", required=False
    )

    def __init__(self, *args: Any, centre: Centre, **options: Any) -> None:
        super().__init__(*args, **options)
        model = cast("forms.ModelChoiceField[InstrumentModel]", self.fields["model"])
        model.queryset = InstrumentModel.objects.filter(centre=centre)


class LinesForm(SheetForm):
    """A form with numbered lines of figures, of which those left blank don't count.

    A subclass names its `columns` as in one line: those of `needed` may not be left out of a line that is
    used, those of `preset` are filled in beforehand and don't make a line used. The first `least` lines are
    used in any case.
    """

    use_required_attribute = False
    least = 0
    most = 0
    line_name = ""
    needed: tuple[str, ...] = ()
    preset: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.numbers = range(1, self.most + 1)
        for number in self.numbers:
            for name, field in self.columns().items():
                field.error_messages["required"] = f"Missing from {self.line_name.lower()} {number}."
                self.fields[f"{name}_{number}"] = field

    def columns(self) -> dict[str, forms.Field]:
        raise NotImplementedError

    def _clean_fields(self) -> None:
        """Ask for what is needed in used lines only; a blank line still shows what it would need."""
        needed = [
            (number, self.fields[f"{name}_{number}"]) for number in self.numbers for name in self.needed
        ]
        for number, field in needed:
            field.required = number <= self.least or self._is_used(number)
        super()._clean_fields()  # type: ignore[misc]  # not in the stubs
        for _, field in needed:
            field.required = True

    def lines(self) -> list[dict[str, Any]]:
        """What the lines that are used say, in order."""
        return [
            {name: self.cleaned_data[f"{name}_{number}"] for name in self.columns()}
            for number in filter(self._is_used, self.numbers)
        ]

    def _is_used(self, number: int) -> bool:
        counting = (name for name in self.columns() if name not in self.preset)
        return any(self[f"{name}_{number}"].data for name in counting)

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        lines = {f"{name}_{number}" for number in self.numbers for name in self.columns()}
        head = [name for name in self.fields if name not in lines]
        helper.layout = Layout(*head, *map(self._line, self.numbers))
        return helper

    def _line(self, number: int) -> LayoutObject:
        title = f"{self.line_name} {number}"
        rows = [Row(*(f"{name}_{number}" for name in names)) for names in self.rows]
        if number == 1:
            return Fieldset(title, *rows)
        return More(title, *rows, is_open=self.is_bound and self._is_used(number))


class InstrumentModelForm(LinesForm):
    button = "Add the model"
    most = MOST_RANGES
    line_name = "Range"
    needed = ("unit", "full_scale", "resolution")
    rows = (
        ("unit", "full_scale", "resolution"),
        ("percent_reading", "percent_full_scale", "counts"),
        ("continuity_threshold",),
    )
    preset = ("unit",)

    name = forms.CharField(max_length=120, help_text="The maker’s type, as on its data sheet.")
    kind = forms.ChoiceField(choices=InstrumentKind.choices, widget=forms.RadioSelect)

    def columns(self) -> dict[str, forms.Field]:
        measured = tuple(KIND_FOR_QUANTITY)
        share: dict[str, Any] = {"required": False, "min_value": 0, "max_value": 100}
        return {
            "unit": _unit_field(measured),
            "full_scale": FigureField(label="Full scale", min_value=0),
            "resolution": FigureField(label="Resolution", min_value=0),
            "percent_reading": FigureField(label="± % of reading", **share),
            "percent_full_scale": FigureField(label="± % of full scale", **share),
            "counts": FigureField(label="± digits", required=False, min_value=0),
            "continuity_threshold": FigureField(label="Tone at or under, Ω", required=False, min_value=0),
        }

    @property
    def range_lines(self) -> list[RangeLine]:
        return [
            RangeLine(
                quantity=unit_quantity(line["unit"]),
                unit=line["unit"],
                full_scale=line["full_scale"],
                resolution=line["resolution"],
                percent_reading=line["percent_reading"] or 0.0,
                percent_full_scale=line["percent_full_scale"] or 0.0,
                counts=line["counts"] or 0.0,
                continuity_threshold=line["continuity_threshold"],
            )
            for line in self.lines()
        ]


class CertificateFileForm(SheetForm):
    button = "Keep the file"

    file = forms.FileField(
        label="The certificate itself",
        help_text="As a PDF, or a scan as JPEG or PNG.",
        error_messages={"empty": "This file is empty."},
    )


class CalibrationForm(LinesForm):
    """A certificate. Its points are in units of what the instrument's ranges measure."""

    button = "Save the certificate"
    # A pass alone, without a figure, can't be looked back on.
    least = 1
    most = MOST_POINTS
    line_name = "Point"
    needed = ("unit", "nominal", "as_left_error", "expanded_u", "k")
    rows = (("nominal", "unit"), ("as_found_error", "as_left_error"), ("expanded_u", "k"))
    preset = ("unit", "k")

    certificate = forms.CharField(label="Certificate number", max_length=60)
    laboratory = forms.CharField(max_length=120)
    calibrated_on = DayField(label="Calibrated on")
    due_on = DayField(label="Next one due on")
    as_found_in_tolerance = forms.TypedChoiceField(
        label="As found, was it in tolerance?",
        choices=(("yes", "In tolerance"), ("no", "Out of tolerance")),
        coerce=lambda choice: choice == "yes",
        widget=forms.RadioSelect,
    )
    late_note = forms.CharField(
        label="Why is it entered late?",
        max_length=500,
        required=False,
        help_text="Where a later certificate is on record already.",
    )
    file = forms.FileField(
        label="The certificate itself", required=False, help_text="As a PDF, or a scan as JPEG or PNG."
    )

    def __init__(self, *args: Any, instrument: Instrument, **options: Any) -> None:
        self.units = list(dict.fromkeys(each.unit for each in instrument.model.ranges.all()))
        super().__init__(*args, **options)

    def columns(self) -> dict[str, forms.Field]:
        quantities = tuple(dict.fromkeys(map(unit_quantity, self.units)))
        return {
            "nominal": FigureField(label="Nominal value", signed=True),
            "unit": _unit_field(quantities, initial=self.units[0] if self.units else None),
            "as_found_error": FigureField(label="Error as found", signed=True, required=False),
            "as_left_error": FigureField(label="Error as left", signed=True),
            "expanded_u": FigureField(label="Uncertainty U", min_value=0),
            "k": FigureField(label="Coverage factor k", min_value=1, initial=2),
        }

    @property
    def points(self) -> list[PointLine]:
        return [
            PointLine(
                quantity=unit_quantity(line["unit"]),
                unit=line["unit"],
                nominal=line["nominal"],
                as_found_error=line["as_found_error"],
                as_left_error=line["as_left_error"],
                expanded_u=line["expanded_u"],
                coverage_factor=line["k"],
            )
            for line in self.lines()
        ]


def _unit_field(quantities: Sequence[Quantity], *, initial: str | None = None) -> forms.ChoiceField:
    groups = [
        (quantity.value.capitalize(), [(unit, unit) for unit in UNITS[quantity]]) for quantity in quantities
    ]
    measured = " or ".join(quantity.words for quantity in quantities)
    wrong = {"invalid_choice": f"%(value)s is no unit of {measured}. Pick one from the list."}
    return forms.ChoiceField(label="Unit", choices=groups, initial=initial, error_messages=wrong)
