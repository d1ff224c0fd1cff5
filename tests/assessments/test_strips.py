"""The strip of a marked reading: in the unit that was typed, for those that have a range to lie in."""

from dataclasses import replace

import pytest

from assessments.marking.mark import mark
from assessments.marking.results import ReadingMark
from assessments.strips import figures_and_unit, strip_of
from rigs.metrology.conformity import Verdict
from tests.factories.marking import attempt, reading, reading_step


def marked(text: str, *, unit: str = "mbar", **changes) -> ReadingMark:
    steps = (reading_step("taps-running", 1, "agrees", measurand="taps/fan-running"),)
    typed = reading("taps-running", text, unit=unit)
    return mark(attempt(*steps, readings=(typed,), **changes)).marks[0]


def test_the_strip_shows_the_reading_as_typed_in_its_range():
    strip = strip_of(marked("1.58"))

    assert (strip.text, strip.unit, strip.verdict) == ("1.58", "mbar", "in-range")
    assert strip.expected == "1.53 to 1.63"
    assert strip.band.left < strip.reading < strip.band.right


@pytest.mark.parametrize(("text", "unit"), [("158", "Pa"), ("1.58", "hPa"), ("0.634", "inH2O")])
def test_the_scale_is_in_the_unit_that_was_typed(text, unit):
    strip = strip_of(marked(text, unit=unit))

    assert (strip.text, strip.unit, strip.range_unit) == (text, unit, unit)
    assert strip.verdict == Verdict.IN_RANGE
    lower, upper = (float(end) for end in strip.expected.split(" to "))
    assert lower < float(text) < upper


def test_the_borderline_zones_lie_outside_the_expected_range():
    mark_ = marked("1.64")
    strip = strip_of(mark_)

    assert mark_.verdict == Verdict.BORDERLINE
    left, right = strip.edges
    assert left.left < left.right == strip.band.left
    assert strip.band.right == right.left < strip.reading < right.right


def test_a_reading_out_of_range_lies_beyond_the_borderline_zone():
    strip = strip_of(marked("1.69"))

    assert strip.verdict == Verdict.OUT_OF_RANGE
    assert strip.reading > strip.edges[1].right


def test_a_slip_of_a_factor_of_a_hundred_breaks_the_scale():
    assert strip_of(marked("15.8")).off == "above"


def test_the_whisker_is_the_instruments_expanded_uncertainty():
    # Twice √((0.5 % of 1.58 mbar + 1 digit)²/3 + (1 digit)²/12) = 0.0215 mbar, rounded up.
    assert strip_of(marked("1.58")).uncertainty == "0.03"


@pytest.mark.parametrize("text", ["OL", "unstable"])
def test_a_reading_without_a_number_has_no_strip(text):
    assert strip_of(marked(text)) is None


@pytest.mark.parametrize(
    ("judged_by", "text", "unit", "given"),
    [
        ("leads", "0.2", "Ω", {"expected": ("closed",)}),
        ("contact", "0.4", "Ω", {"measurand": "contacts/fan-running"}),
        ("zero", "0.00", "mbar", {}),
        ("tone", "tone", "", {"expected": ("tone",)}),
    ],
)
def test_other_checks_have_no_strip(judged_by, text, unit, given):
    step = reading_step("it", 1, judged_by, **given)
    (found,) = mark(attempt(step, readings=(reading("it", text, unit=unit),))).marks

    assert strip_of(found) is None


LIMITS = {"lower": 1.2, "upper": 1.6, "unit": "mbar", "source": "maker’s plate", "dated": "2019"}


def limited(text, *, unit="mbar", **changes) -> ReadingMark:
    parameters = {name: each for name, each in {**LIMITS, **changes}.items() if each is not None}
    step = reading_step("plate", 1, "conforms", parameters=parameters)
    (found,) = mark(attempt(step, readings=(reading("plate", text, unit=unit),))).marks
    return found


def test_stated_limits_are_the_band_and_the_whisker_says_how_near_one_is_too_near():
    well, near, beyond = (strip_of(limited(text)) for text in ("1.40", "1.59", "1.63"))

    assert (well.expected, well.text, well.uncertainty) == ("1.20 to 1.60", "1.40", "0.03")
    assert well.edges == ()
    assert well.band.left < well.whisker.left < well.whisker.right < well.band.right
    assert near.whisker.left < near.band.right < near.whisker.right
    assert beyond.band.right < beyond.whisker.left


@pytest.mark.parametrize(
    ("unit", "text", "expected"),
    [("Pa", "140", "120 to 160"), ("kPa", "0.140", "0.120 to 0.160")],
)
def test_limits_are_shown_in_the_unit_that_was_typed(unit, text, expected):
    strip = strip_of(limited(text, unit=unit))

    assert (strip.expected, strip.range_unit) == (expected, unit)


def test_a_limit_finer_than_the_display_is_shown_as_it_is_stated():
    assert strip_of(limited("1.40", upper=1.625)).expected == "1.200 to 1.625"


@pytest.mark.parametrize(("missing", "expected"), [("lower", "up to 1.60"), ("upper", "from 1.20")])
def test_a_band_without_a_limit_on_one_side_is_open_there(missing, expected):
    strip = strip_of(limited("1.40", **{missing: None}))

    assert strip.expected == expected
    assert strip.band.open_left == (missing == "lower")


def test_an_instrument_that_cannot_tell_has_its_whisker_beyond_the_band():
    strip = strip_of(limited("1.40", lower=1.395, upper=1.405))

    assert strip.verdict == Verdict.CANNOT_JUDGE
    assert strip.whisker.left < strip.band.left < strip.band.right < strip.whisker.right


def test_a_result_is_drawn_in_its_own_unit():
    bath = reading_step("bath", 1, "conforms", parameters={**LIMITS, "upper": 90, "unit": "°C"})
    error = {"calculator": "ntc-10k-error", "inputs": {"resistance": "sensor", "temperature": "bath"}}
    sensor = reading_step(
        "sensor", 2, "conforms", parameters={**LIMITS, **error, "lower": -1, "upper": 1, "unit": "°C"}
    )
    readings = (reading("bath", "40.0", unit="°C"), reading("sensor", "5.30", unit="kΩ"))

    strip = strip_of(mark(attempt(bath, sensor, readings=readings)).marks[1])

    assert (strip.text, strip.unit, strip.expected) == ("0.34", "°C", "−1.00 to 1.00")


def test_a_unit_typed_after_the_number_is_not_written_twice():
    strip = strip_of(replace(marked("158", unit="Pa"), shown="158 Pa"))

    assert (strip.text, strip.unit) == ("158", "Pa")


@pytest.mark.parametrize(
    ("text", "unit", "written"),
    [
        ("2.40", "mbar", ("2.40", "mbar")),
        ("2,40", "mbar", ("2,40", "mbar")),
        ("−0.02", "mbar", ("−0.02", "mbar")),
        (" 158 Pa", "Pa", ("158", "Pa")),
        ("1.2k", "kΩ", ("1.2", "kΩ")),
        ("1e3", "Pa", ("1e3", "Pa")),
        ("OL", "MΩ", ("OL", "")),
        ("0L", "Ω", ("0L", "")),
        ("tone", "", ("tone", "")),
        ("unstable", "", ("unstable", "")),
    ],
)
def test_a_number_has_its_unit_and_anything_else_has_none(text, unit, written):
    assert figures_and_unit(text, unit=unit) == written
