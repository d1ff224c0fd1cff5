from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.quantities import UNITS, Qualifier, Quantity
from rigs.metrology.readings import ReadingError, TypedReading, parse, parse_observation

READ = [
    # text, quantity, unit chosen beside it, (value, unit, resolution) read
    ("2.40", Quantity.PRESSURE, "mbar", ("2.40", "mbar", "0.01")),
    ("2,40", Quantity.PRESSURE, "mbar", ("2.40", "mbar", "0.01")),
    ("230", Quantity.VOLTAGE, "V", ("230", "V", "1")),
    (".5", Quantity.VOLTAGE, "V", ("0.5", "V", "0.1")),
    ("5.", Quantity.VOLTAGE, "V", ("5", "V", "1")),
    ("+0.3", Quantity.RESISTANCE, "Ω", ("0.3", "Ω", "0.1")),
    ("-0.02", Quantity.PRESSURE, "mbar", ("-0.02", "mbar", "0.01")),
    ("−0.02", Quantity.PRESSURE, "mbar", ("-0.02", "mbar", "0.01")),
    ("– 0.02", Quantity.PRESSURE, "mbar", ("-0.02", "mbar", "0.01")),
    ("1.2e-3", Quantity.CURRENT, "A", ("0.0012", "A", "0.0001")),
    ("12E3", Quantity.RESISTANCE, "Ω", ("12E+3", "Ω", "1E+3")),
    # Spaces of every width; digits in threes, as SI writes them.
    ("\u2009 2.40\u202fmbar\u00a0", Quantity.PRESSURE, "Pa", ("2.40", "mbar", "0.01")),
    ("12\u2009400", Quantity.RESISTANCE, "Ω", ("12400", "Ω", "1")),
    ("0.000 12", Quantity.CURRENT, "A", ("0.00012", "A", "0.00001")),
    ("\u200b2.4\ufeff", Quantity.PRESSURE, "mbar", ("2.4", "mbar", "0.1")),
    # A unit that was typed wins.
    ("158 Pa", Quantity.PRESSURE, "mbar", ("158", "Pa", "1")),
    ("1.58mb", Quantity.PRESSURE, "Pa", ("1.58", "mbar", "0.01")),
    ("0,63 in H₂O", Quantity.PRESSURE, "mbar", ("0.63", "inH2O", "0.01")),
    ("10k", Quantity.RESISTANCE, "Ω", ("10", "kΩ", "1")),
    ("9.8 kohm", Quantity.RESISTANCE, "Ω", ("9.8", "kΩ", "0.1")),
    ("1 MΩ", Quantity.RESISTANCE, "Ω", ("1", "MΩ", "1")),
    ("0.6 \u2126", Quantity.RESISTANCE, "kΩ", ("0.6", "Ω", "0.1")),  # the ohm sign, another code point
    ("4.1 uA", Quantity.CURRENT, "A", ("4.1", "µA", "0.1")),
    ("4.1 \u03bcA", Quantity.CURRENT, "A", ("4.1", "µA", "0.1")),
    ("21.5 ℃", Quantity.TEMPERATURE, "K", ("21.5", "°C", "0.1")),
    ("0.05 m3", Quantity.VOLUME, "ft³", ("0.05", "m³", "0.01")),
    ("0 l", Quantity.VOLUME, "m³", ("0", "l", "1")),
    ("47 secs", Quantity.TIME, "min", ("47", "s", "1")),
]


@pytest.mark.parametrize(("text", "quantity", "unit", "read"), READ)
def test_a_reading_is_read_as_typed(
    text: str, quantity: Quantity, unit: str, read: tuple[str, str, str]
) -> None:
    value, read_unit, resolution = read
    assert parse(text, quantity=quantity, unit=unit) == TypedReading(
        text=text,
        quantity=quantity,
        qualifier=Qualifier.VALUE,
        value=Decimal(value),
        unit=read_unit,
        resolution=Decimal(resolution),
    )


def test_a_trailing_zero_is_a_digit_that_was_read() -> None:
    reading = parse("2.40", quantity=Quantity.PRESSURE, unit="mbar")
    assert str(reading.value) == "2.40"
    assert reading.si_value == 240.0
    assert reading.si_resolution == 1.0


def test_a_temperature_has_an_offset_and_its_resolution_none() -> None:
    reading = parse("293.2 K", quantity=Quantity.TEMPERATURE, unit="°C")
    assert reading.si_value == pytest.approx(20.05)
    assert reading.si_resolution == 0.1


@pytest.mark.parametrize(
    "text",
    [
        "OL",
        "ol",
        "O.L",
        "O.L.",
        ".OL",
        "0L",
        "0.L",
        "0l",
        "OL.",
        "-OL",
        "over",
        "Over-limit",
        "overload",
        "∞",
    ],
)
def test_over_limit_is_a_result_without_a_value(text: str) -> None:
    reading = parse(text, quantity=Quantity.RESISTANCE, unit="Ω")
    assert reading.qualifier is Qualifier.OVER_LIMIT
    assert (reading.value, reading.resolution, reading.si_value, reading.si_resolution) == (None,) * 4
    assert reading.unit == "Ω"


@pytest.mark.parametrize("text", ["OL MΩ", "0.L MΩ", "OLMΩ", "over M"])
def test_over_limit_keeps_the_unit_typed_with_it(text: str) -> None:
    reading = parse(text, quantity=Quantity.RESISTANCE, unit="Ω")
    assert (reading.qualifier, reading.unit) == (Qualifier.OVER_LIMIT, "MΩ")


@pytest.mark.parametrize(
    ("text", "qualifier"),
    [
        ("unstable", Qualifier.UNSTABLE),
        ("Unstable ", Qualifier.UNSTABLE),
        ("couldn’t get it", Qualifier.NOT_OBTAINED),
        ("not obtained", Qualifier.NOT_OBTAINED),
        ("not attempted", Qualifier.NOT_ATTEMPTED),
    ],
)
def test_a_word_says_why_there_is_no_value(text: str, qualifier: Qualifier) -> None:
    reading = parse(text, quantity=Quantity.PRESSURE, unit="mbar")
    assert (reading.qualifier, reading.value, reading.unit) == (qualifier, None, None)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "Nothing is written here"),
        (" \u2009 ", "Nothing is written here"),
        ("good", "“good” is text where a number belongs"),
        ("open", "“open” is text where a number belongs"),
        ("old", "“old” is text where a number belongs"),
        ("NaN", "“NaN” is text where a number belongs"),
        ("inf", "“inf” is text where a number belongs"),
        ("-", "“-” is text where a number belongs"),
        (".", "“.” has no digits in it"),
        ("٣", "“٣” is text where a number belongs"),
        ("1" * 40, "has 40 digits. A reading has at most 12"),
        ("1" * 61, "too long for a reading"),
        ("0." + "0" * 30 + "1", "too large or too small"),
        ("1e13", "too large or too small"),
        ("1e-999999999", "too large or too small"),
        ("1,234.5", "“1,234.5” has a thousands mark"),
        ("1.234,5", "“1.234,5” has a thousands mark"),
        ("1'234", "“1'234” has a thousands mark"),
        ("1,234", "can be read as 1234 or as 1.234"),
        ("2.4.0", "“2.4.0” has two decimal marks"),
        ("2,4,0", "“2,4,0” has two decimal marks"),
        ("12 50", "“12 50” has a space inside it"),
        ("1 .", "can be 1, or a display over its limit"),
        ("2.4 mbar", "mbar is a pressure; this reading is a resistance."),
        ("OL V", "V is a voltage; this reading is a resistance."),
        ("5 mohm", "“mohm” is not a unit for a resistance. Use one of: Ω, kΩ, MΩ."),
        ("10²", "“²” is not a unit for a resistance"),
        ("5½", "“½” is not a unit for a resistance"),
        ("0x10", "“x10” is not a unit for a resistance"),
    ],
)
def test_what_cannot_be_read_in_one_way_is_refused_in_plain_words(text: str, message: str) -> None:
    with pytest.raises(ReadingError) as refusal:
        parse(text, quantity=Quantity.RESISTANCE, unit="Ω")
    assert message in str(refusal.value)


def test_a_decimal_comma_with_three_decimals_is_read_where_it_can_only_be_one() -> None:
    assert parse("0,125", quantity=Quantity.PRESSURE, unit="mbar").value == Decimal("0.125")
    assert parse("1234,567", quantity=Quantity.PRESSURE, unit="mbar").value == Decimal("1234.567")


@pytest.mark.parametrize(
    ("unit", "message"),
    [
        ("Ω", "Ω is a resistance; this reading is a pressure."),
        ("furlong", "“furlong” is not a unit used here."),
    ],
)
def test_the_unit_chosen_must_be_of_the_same_kind(unit: str, message: str) -> None:
    with pytest.raises(ReadingError, match=message):
        parse("2.4", quantity=Quantity.PRESSURE, unit=unit)


@pytest.mark.parametrize(
    ("text", "qualifier"),
    [
        ("Tone", Qualifier.TONE),
        ("no beep", Qualifier.NO_TONE),
        ("open", Qualifier.OPEN),
        ("CLOSED", Qualifier.CLOSED),
        ("unstable", Qualifier.UNSTABLE),
    ],
)
def test_an_observation_is_its_own_kind(text: str, qualifier: Qualifier) -> None:
    assert parse_observation(text) is qualifier


def test_a_number_is_not_an_observation() -> None:
    with pytest.raises(ReadingError, match=r"“0\.4” is not an observation"):
        parse_observation("0.4")


@given(text=st.text(max_size=80), quantity=st.sampled_from(Quantity))
def test_any_text_is_read_or_refused(text: str, quantity: Quantity) -> None:
    try:
        reading = parse(text, quantity=quantity, unit=UNITS[quantity][0])
    except ReadingError:
        return
    assert (reading.value is None) == (reading.qualifier is not Qualifier.VALUE)


@given(text=st.text(alphabet="0123456789.,eE+- 'OLmbarkΩ", max_size=16), quantity=st.sampled_from(Quantity))
def test_any_near_number_is_read_or_refused(text: str, quantity: Quantity) -> None:
    try:
        reading = parse(text, quantity=quantity, unit=UNITS[quantity][0])
    except ReadingError:
        return
    if reading.value is not None:
        assert reading.value.is_finite()
        assert reading.resolution is not None
        assert reading.value % reading.resolution == 0


@given(value=st.decimals(-99_999, 99_999, places=2), unit=st.sampled_from(UNITS[Quantity.PRESSURE]))
def test_a_number_written_out_is_read_back_with_point_or_comma(value: Decimal, unit: str) -> None:
    for text in (f"{value}", f"{value} {unit}", f"{value}".replace(".", ",")):
        reading = parse(text, quantity=Quantity.PRESSURE, unit=unit)
        assert (reading.value, reading.unit, reading.resolution) == (value, unit, Decimal("0.01"))
