import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from academy.marks import MARKS, UnknownMark, mark
from academy.strip import Strip, StripError, number

VERDICTS = ("in-range", "borderline", "out-of-range", "cannot-judge")
numbers = st.floats(min_value=-1e9, max_value=1e9)


def strip(**changes: Any) -> Strip:
    given = {
        "value": 1.57,
        "u": 0.02,
        "lower": 1.52,
        "upper": 1.64,
        "unit": "mbar",
        "digits": 2,
        "verdict": "in-range",
    }
    return Strip.build(**{**given, **changes})


@st.composite
def strips(draw: st.DrawFn) -> Strip:
    limits = sorted(draw(st.lists(numbers, min_size=4, max_size=4)))
    outer_lower, lower, upper, outer_upper = (draw(st.sampled_from([limit, None])) for limit in limits)
    return Strip.build(
        value=draw(st.one_of(numbers, st.none(), st.sampled_from([math.inf, -math.inf]))),
        u=draw(st.one_of(st.none(), st.floats(min_value=0, max_value=1e9))),
        lower=lower,
        upper=upper,
        outer_lower=outer_lower,
        outer_upper=outer_upper,
        unit="mbar",
        digits=draw(st.integers(min_value=0, max_value=4)),
        verdict=draw(st.sampled_from(VERDICTS)),
    )


@given(strips())
def test_everything_drawn_lies_inside_the_drawing(drawn: Strip) -> None:
    places = [tick.x for tick in drawn.ticks]
    for span in (drawn.axis, drawn.band, drawn.whisker, *drawn.edges):
        if span is not None:
            assert span.left <= span.right
            places += [span.left, span.right]
    if drawn.reading is not None:
        places.append(drawn.reading)
    assert all(0 <= place <= 100 for place in places)


@given(strips())
def test_ticks_rise_and_stay_few_enough_to_be_read(drawn: Strip) -> None:
    assert all(a.x < b.x for a, b in pairwise(drawn.ticks))
    assert len(drawn.ticks) <= 9


@given(strips())
def test_borderline_zones_touch_the_band_from_outside(drawn: Strip) -> None:
    for edge in drawn.edges:
        assert drawn.band is not None
        assert edge.right == drawn.band.left or edge.left == drawn.band.right


@given(value=numbers, lower=numbers, upper=numbers)
def test_a_reading_is_drawn_on_the_side_of_the_band_where_it_fell(
    value: float, lower: float, upper: float
) -> None:
    assume(lower < upper)
    drawn = strip(value=value, u=None, lower=lower, upper=upper)
    assert drawn.band is not None and drawn.reading is not None
    if value < lower:
        assert drawn.reading <= drawn.band.left
    elif value > upper:
        assert drawn.reading >= drawn.band.right
    else:
        assert drawn.band.left <= drawn.reading <= drawn.band.right


def test_a_whisker_reaches_as_far_on_both_sides_of_the_reading() -> None:
    drawn = strip()
    assert drawn.whisker is not None and drawn.reading is not None
    assert drawn.whisker.right - drawn.reading == pytest.approx(drawn.reading - drawn.whisker.left, abs=0.02)


def test_a_scale_has_round_numbers_no_finer_than_the_display() -> None:
    assert [tick.label for tick in strip().ticks] == ["1.50", "1.55", "1.60", "1.65"]
    assert strip(value=0.0, lower=-0.01, upper=0.01).ticks[0].label == "−0.02"


def test_a_scale_stretches_to_a_reading_somewhat_outside_its_range() -> None:
    drawn = strip(value=1.9, verdict="out-of-range")
    assert drawn.off == ""
    assert drawn.whisker is not None


@pytest.mark.parametrize(("value", "off", "side"), [(158.0, "above", 96.5), (-157.0, "below", 3.5)])
def test_a_reading_far_outside_its_range_is_drawn_beyond_a_break(value: float, off: str, side: float) -> None:
    drawn = strip(value=value, verdict="out-of-range")
    assert (drawn.off, drawn.reading, drawn.whisker) == (off, side, None)
    assert (
        drawn.axis.left <= min(t.x for t in drawn.ticks) and max(t.x for t in drawn.ticks) <= drawn.axis.right
    )
    assert not drawn.axis.left <= side <= drawn.axis.right
    assert f"far {off} the scale" in drawn.description


def test_over_limit_is_a_word_beyond_the_scale_and_carries_no_unit() -> None:
    drawn = strip(value=math.inf, u=None, lower=1e6, upper=None, unit="Ω", digits=0, text="OL")
    assert (drawn.off, drawn.text, drawn.unit) == ("above", "OL", "")
    assert drawn.band is not None and drawn.band.open_right and drawn.band.right == 100
    assert drawn.description == (
        "Reading OL, far above the scale. Expected from 1\u202f000\u202f000 Ω. In range."
    )


def test_one_limit_leaves_the_band_open_on_the_other_side() -> None:
    drawn = strip(value=0.3, lower=-math.inf, upper=1.0, unit="Ω", digits=1)
    assert drawn.band is not None
    assert (drawn.band.open_left, drawn.band.left, drawn.band.open_right) == (True, 0, False)
    assert drawn.expected == "up to 1.0"


def test_without_number_and_range_there_is_no_scale() -> None:
    drawn = strip(value=None, u=None, lower=None, upper=None, verdict="cannot-judge", text="unstable")
    assert drawn.ticks == ()
    assert drawn.description == "Reading unstable. No expected range. Can’t be judged."


def test_without_a_range_the_reading_stands_on_a_scale_alone() -> None:
    drawn = strip(lower=None, upper=None, verdict="cannot-judge")
    assert drawn.band is None
    assert drawn.reading == 50
    assert drawn.ticks


def test_a_range_of_no_width_still_has_a_scale() -> None:
    drawn = strip(value=1.6, lower=1.6, upper=1.6)
    assert drawn.band is not None and drawn.band.width == 0
    assert len(drawn.ticks) >= 3


def test_a_reading_is_shown_as_typed() -> None:
    assert strip(text="1,570").text == "1,570"
    assert strip().text == "1.57"


def test_an_uncertainty_is_never_written_smaller_than_it_is() -> None:
    assert strip(u=0.015).uncertainty == "0.02"
    assert strip(u=0.02).uncertainty == "0.02"


def test_the_description_says_all_that_the_drawing_shows() -> None:
    assert strip().description == "Reading 1.57 ± 0.02 mbar. Expected 1.52 to 1.64 mbar. In range."


@pytest.mark.parametrize(
    ("value", "digits", "written"),
    [(-0.001, 2, "0.00"), (-1.5, 1, "−1.5"), (9999, 0, "9999"), (10_000, 0, "10\u202f000")],
)
def test_numbers_are_written_for_reading(value: float, digits: int, written: str) -> None:
    assert number(value, digits) == written


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"value": math.nan}, "The reading is not a number"),
        ({"u": -0.1}, "uncertainty is negative"),
        ({"u": math.inf}, "uncertainty is negative or not a number"),
        ({"lower": 2.0}, "out of order"),
        ({"outer_lower": 1.6}, "out of order"),
        ({"upper": math.nan}, "limit of the range is not a number"),
    ],
)
def test_numbers_that_make_no_scale_are_refused(changes: dict[str, float], message: str) -> None:
    with pytest.raises(StripError, match=message):
        strip(**changes)


def test_an_unknown_state_has_no_mark() -> None:
    with pytest.raises(UnknownMark, match="fine"):
        mark("fine")


def test_marks_of_different_meaning_are_drawn_differently() -> None:
    drawings: dict[tuple[str, str], str] = {}
    for drawn in MARKS.values():
        word = drawings.setdefault((drawn.line, drawn.solid), drawn.word)
        assert word == drawn.word or {word, drawn.word} == {"Done", "Met"}
