from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError

from rigs.fields import FigureField, TypedReadingField, typed
from rigs.metrology.quantities import Qualifier, Quantity


class ReadingForm(forms.Form):
    reading = TypedReadingField(quantity=Quantity.PRESSURE, unit="mbar")


def errors(form, field):
    form.is_valid()
    return form.errors.get(field, [])


class TestTypedReadings:
    def test_a_reading_is_kept_as_it_was_typed(self):
        form = ReadingForm({"reading": " 2,40 "})
        assert form.is_valid()
        reading = form.cleaned_data["reading"]
        assert (reading.text, reading.value, reading.unit) == (" 2,40 ", Decimal("2.40"), "mbar")
        assert reading.resolution == Decimal("0.01")

    def test_a_unit_typed_after_the_number_wins(self):
        assert typed("158 Pa", quantity=Quantity.PRESSURE, unit="mbar").unit == "Pa"

    def test_over_limit_is_a_result(self):
        reading = typed("0L", quantity=Quantity.RESISTANCE, unit="Ω")
        assert (reading.qualifier, reading.value) == (Qualifier.OVER_LIMIT, None)

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("", "Nothing is written here"),
            ("   ", "Nothing is written here"),
            ("1.5.8", "two decimal marks"),
            ("lots", "“lots” is text where a number belongs"),
            ("1.58 V", "V is a voltage; this reading is a pressure"),
            ("9" * 61, "at most 60 characters"),
        ],
    )
    def test_what_is_no_reading_is_said_in_words_and_stays_on_the_page(self, text, message):
        form = ReadingForm({"reading": text})
        assert message in " ".join(errors(form, "reading"))
        if text.strip():
            assert text in str(form["reading"])

    def test_the_same_words_come_from_the_parser_on_its_own(self):
        with pytest.raises(ValidationError, match="two decimal marks"):
            typed("1.5.8", quantity=Quantity.PRESSURE, unit="mbar")

    def test_one_that_is_not_required_may_be_left_out(self):
        field = TypedReadingField(quantity=Quantity.PRESSURE, unit="mbar", required=False)
        assert field.clean("") is None

    def test_a_reading_that_is_there_already_is_shown_as_it_was_typed(self):
        reading = typed("2,40", quantity=Quantity.PRESSURE, unit="mbar")
        assert 'value="2,40"' in str(ReadingForm(initial={"reading": reading})["reading"])

    def test_the_keypad_has_letters_only_where_they_are_needed(self):
        plain = TypedReadingField(quantity=Quantity.PRESSURE, unit="mbar")
        letters = TypedReadingField(quantity=Quantity.RESISTANCE, unit="Ω", letters=True)
        assert plain.widget.attrs["inputmode"] == "decimal"
        assert letters.widget.attrs["inputmode"] == "text"


class TestFigures:
    @pytest.mark.parametrize(
        ("text", "figure"),
        [
            ("0.05", 0.05),
            ("0,05", 0.05),
            ("0,125", 0.125),  # begins with a nought: no thousand
            ("1.234", 1.234),
            ("−0,04", -0.04),
            (" 20 ", 20.0),
            ("", None),
        ],
    )
    def test_a_point_or_a_comma_marks_the_decimals(self, text, figure):
        assert FigureField(required=False).clean(text) == figure

    @pytest.mark.parametrize("text", ["1,234", "1,2,3", "1,234.5", "ten", "nan", "inf", "1 000"])
    def test_what_can_be_read_in_two_ways_is_not_guessed(self, text):
        with pytest.raises(ValidationError, match="Type a plain number, such as"):
            FigureField().clean(text)
