"""What is pointed out as hardly plausible, and what isn't."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking.coincidence import Quantity as Compared
from assessments.marking.coincidence import chance_of, match_probability
from assessments.marking.plausibility import (
    Done,
    Figure,
    FlagKind,
    Informative,
    Sheet,
    TakenPhoto,
    Thresholds,
    of_figures,
    of_likeness,
    of_pace,
    of_photos,
)
from rigs.metrology.instruments import RangeSpec, Spec
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import parse

USUAL = Thresholds()
BEGAN = datetime(2026, 3, 3, 9, 0, tzinfo=UTC)
MANOMETER = Spec(
    ranges=(
        RangeSpec(quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01),
        RangeSpec(quantity=Quantity.PRESSURE, unit="mbar", full_scale=150, resolution=0.1),
    )
)


def figure(text: str, *, unit: str = "mbar", **changes) -> Figure:
    typed = parse(text, quantity=Quantity.PRESSURE, unit=unit)
    given = {
        "title": "Δp at the taps",
        "text": text,
        "unit": typed.unit,
        "quantity": Quantity.PRESSURE,
        "si_value": typed.si_value,
        "si_resolution": typed.si_resolution,
        "instrument": "MN-02",
        "spec": MANOMETER,
    }
    return Figure(**given | changes)


def kinds(flags) -> list[str]:
    return [flag.kind for flag in flags]


# r/(2s√π) and the summed squares of the rounded normal, recomputed for a spread s and a display of 0.01.
@pytest.mark.parametrize(
    ("repeat_sd", "resolution", "expected"),
    [(0.022, 0.01, 0.13), (0.013, 0.01, 0.21), (0.007, 0.01, 0.37), (0.02, 0.001, 0.014)],
)
def test_one_pair_of_readings_agrees_as_often_as_recomputed(repeat_sd, resolution, expected):
    found = match_probability(repeat_sd=repeat_sd, resolution=resolution)

    assert found == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize(
    ("repeat_sd", "session_sd"), [(0.022, 0.0), (0.007, 0.0), (0.02, 0.03), (0.004, 0.01)]
)
def test_simulated_candidates_agree_as_often_as_stated(repeat_sd, session_sd):
    rng, runs, n = np.random.default_rng(7), 200_000, 3
    level = rng.uniform(0, 0.01, size=(runs, 1))
    one, other = (
        np.round((level + rng.normal(0, session_sd, (runs, 1)) + rng.normal(0, repeat_sd, (runs, n))) / 0.01)
        for _ in range(2)
    )
    agreeing = (one == other).sum(axis=1)
    compared = [Compared(readings=n, repeat_sd=repeat_sd, resolution=0.01, session_sd=session_sd)]

    for matches in range(n + 1):
        stated = chance_of(matches=matches, quantities=compared)
        assert (agreeing >= matches).mean() == pytest.approx(stated, rel=0.1, abs=1e-4)


def test_thirteen_readings_alike_are_as_unlikely_as_recomputed():
    spreads = ((3, 0.022), (5, 0.013), (5, 0.007))
    compared = [Compared(readings=n, repeat_sd=sd, resolution=0.01) for n, sd in spreads]

    # 0.13³ × 0.21⁵ × 0.37⁵
    assert chance_of(matches=13, quantities=compared) == pytest.approx(5e-9, rel=0.3)


def test_a_coarse_gauge_agrees_with_itself_however_often_it_is_read():
    coarse = [Compared(readings=40, repeat_sd=0.02, resolution=0.1)]

    # As if each were by itself it would be 0.77⁴⁰, 4 in 100,000.
    assert chance_of(matches=40, quantities=coarse) > 0.05


@given(
    n=st.integers(1, 12),
    sd=st.floats(0.001, 0.2),
    resolution=st.sampled_from([0.001, 0.01, 0.1]),
    session=st.floats(0, 0.1),
)
def test_more_matches_are_never_likelier(n, sd, resolution, session):
    compared = [Compared(readings=n, repeat_sd=sd, resolution=resolution, session_sd=session)]
    chances = [chance_of(matches=matches, quantities=compared) for matches in range(n + 1)]

    assert chances[0] == pytest.approx(1)
    assert all(0 <= later <= earlier + 1e-12 for earlier, later in pairwise(chances))


def sheet(
    values, *, whose="C-07’s of 03 March 2026, 09:30", candidate="C-07", session="am", **changes
) -> Sheet:
    given = {"resolution": 1.0, "repeat_sd": 2.0, "session_sd": 3.0}
    return Sheet(
        whose=whose,
        candidate=candidate,
        session=session,
        figures={
            f"{quantity}-{n}": Informative(quantity=quantity, value=value, **given | changes)
            for quantity, read in values.items()
            for n, value in enumerate(read)
        },
    )


COPIED = {"taps": (183.0, 181.0, 184.0), "make": (102.0, 101.0, 104.0, 102.0, 103.0)}
OWN = sheet(COPIED, whose="", candidate="C-11")


def test_a_copied_sheet_is_pointed_out_with_its_chance_and_the_innocent_explanation():
    (flag,) = of_likeness(OWN, [sheet(COPIED)], pairs=66, thresholds=USUAL)

    assert flag.kind == FlagKind.SAME_READINGS
    assert flag.sentence.startswith(
        "All 8 informative readings are the same, digit for digit and in the same order, as C-07’s of "
    )
    assert "over the 66 pairs of attempts compared" in flag.sentence
    assert "it proves nothing" in flag.innocent


def test_one_figure_changed_hides_no_copy():
    changed = sheet(COPIED | {"taps": (183.0, 181.0, 185.0)})

    (flag,) = of_likeness(OWN, [changed], pairs=66, thresholds=USUAL)

    assert flag.sentence.startswith("7 of 8 informative readings")


@pytest.mark.parametrize(
    "other",
    [
        sheet({"taps": (180.0, 183.0, 182.0), "make": (101.0, 102.0, 103.0, 101.0, 104.0)}),
        sheet(COPIED, candidate="C-11"),
        sheet({"ports": (183.0,)}),
        sheet({"taps": (183.0, 181.0)}),
    ],
    ids=["honest", "the same candidate again", "nothing in common", "too few to say"],
)
def test_what_chance_or_oneself_explains_is_not_pointed_out(other):
    assert list(of_likeness(OWN, [other], pairs=66, thresholds=USUAL)) == []


def test_a_coarse_gauge_is_no_sign_of_copying():
    coarse = {"taps": (180.0, 180.0, 180.0, 180.0)}
    own = sheet(coarse, whose="", candidate="C-03", resolution=10.0)

    assert (
        list(of_likeness(own, [sheet(coarse, candidate="C-04", resolution=10.0)], pairs=1, thresholds=USUAL))
        == []
    )


def test_more_pairs_compared_make_the_same_likeness_less_telling():
    few = {"taps": (183.0, 181.0, 184.0, 180.0, 182.0)}
    own = sheet(few, whose="", candidate="C-11")

    assert kinds(of_likeness(own, [sheet(few)], pairs=1, thresholds=USUAL)) == [FlagKind.SAME_READINGS]
    assert kinds(of_likeness(own, [sheet(few)], pairs=1000, thresholds=USUAL)) == []


def test_another_session_makes_the_same_likeness_more_telling():
    chances = []
    for session in ("am", "pm"):
        (flag,) = of_likeness(OWN, [sheet(COPIED, session=session)], pairs=1, thresholds=USUAL)
        chances.append(int(flag.sentence.split("about 1 in ")[1].split(".")[0].replace(",", "")))

    assert chances[1] > chances[0]


def test_digits_that_the_display_has_not_are_pointed_out():
    (flag,) = of_figures([figure("1.583"), figure("1.58"), figure("1.6")])

    assert flag.kind == FlagKind.TOO_FINE
    assert flag.sentence == (
        "“Δp at the taps” is written as 1.583 mbar, and MN-02 shows steps of 0.01 mbar there."
    )


@pytest.mark.parametrize(
    ("text", "unit"), [("158", "Pa"), ("1.58", "hPa"), ("15.80", "mbar"), ("120.5", "mbar")]
)
def test_the_displays_own_digits_in_any_unit_are_not(text, unit):
    assert list(of_figures([figure(text, unit=unit)])) == []


def test_what_was_worked_out_may_have_more_digits():
    assert list(of_figures([figure("1.5833", is_read=False)])) == []


def test_a_value_beyond_the_scale_is_pointed_out():
    (flag,) = of_figures([figure("158")])

    assert flag.kind == FlagKind.BEYOND_SCALE
    assert flag.sentence == "“Δp at the taps” is written as 158 mbar, and MN-02 reads up to 150 mbar."
    assert "pascals" in flag.innocent


def test_what_an_instrument_does_not_measure_is_not_beyond_its_scale():
    assert list(of_figures([figure("158", spec=Spec(ranges=()))])) == []


def test_many_of_a_kind_are_one_flag_that_counts_them():
    (flag,) = of_figures([figure("1.583")] * 5)

    assert flag.sentence.count("1.583") == 3
    assert flag.sentence.endswith("; 2 more figures are finer than the display.")


def steps(*seconds: float) -> list[Done]:
    return [
        Done(title=f"Step {n}", at=BEGAN + timedelta(seconds=second)) for n, second in enumerate(seconds, 1)
    ]


def test_steps_faster_than_hands_are_pointed_out():
    flags = of_pace(steps(0, 60, 62, 64, 67, 130), took=None, guide_minutes=40, thresholds=USUAL)
    (flag,) = flags

    assert flag.kind == FlagKind.HURRIED_STEPS
    assert flag.sentence == (
        "4 steps that need hands, from “Step 2” to “Step 5”, were logged within 7 s: less than 4 s from each "
        "to the next."
    )


@pytest.mark.parametrize("seconds", [(), (0,), (0, 1, 2), (0, 4, 8, 12, 16), (0, 1, 30, 31, 60, 61)])
def test_a_quick_tap_now_and_then_is_not(seconds):
    assert list(of_pace(steps(*seconds), took=None, guide_minutes=40, thresholds=USUAL)) == []


def test_a_whole_attempt_in_a_tenth_of_its_time_is_pointed_out():
    (flag,) = of_pace([], took=timedelta(minutes=3, seconds=10), guide_minutes=40, thresholds=USUAL)

    assert flag.kind == FlagKind.HURRIED_ATTEMPT
    assert flag.sentence.startswith("The whole attempt took 3 min 10 s, 8 % of the 40 minutes")


def test_a_quarter_of_its_time_is_enough():
    assert list(of_pace([], took=timedelta(minutes=10), guide_minutes=40, thresholds=USUAL)) == []


def photo(**changes) -> TakenPhoto:
    return TakenPhoto(**{"title": "Wires before", "taken_at": None} | changes)


def flags_of(*photos):
    return list(of_photos(photos, began=BEGAN, ended=BEGAN + timedelta(minutes=40), thresholds=USUAL))


def test_a_photo_taken_before_the_attempt_is_pointed_out():
    (flag,) = flags_of(photo(taken_at=BEGAN - timedelta(days=3)))

    assert flag.kind == FlagKind.PHOTO_OUT_OF_TIME
    assert flag.sentence == (
        "By the camera's clock the photo “Wires before” was taken on 28 February 2026 at 09:00, 3 days "
        "before the attempt began."
    )


@pytest.mark.parametrize("minutes", [-9, 0, 20, 40, 49])
def test_a_photo_inside_it_give_or_take_a_clocks_error_is_not(minutes):
    assert flags_of(photo(taken_at=BEGAN + timedelta(minutes=minutes))) == []


def test_a_photo_without_a_time_is_not():
    assert flags_of(photo()) == []


def test_a_photo_used_before_is_pointed_out_by_file_or_by_pixels():
    elsewhere = "C-07’s attempt of 03 March 2026 on VB-02"
    file, pixels = flags_of(
        photo(same_file=(elsewhere,), same_pixels=(elsewhere,)), photo(same_pixels=(elsewhere,))
    )

    assert kinds((file, pixels)) == [FlagKind.PHOTO_USED_BEFORE] * 2
    assert file.sentence == f"The photo “Wires before” is the same file as one in {elsewhere}."
    assert "the same picture, pixel for pixel" in pixels.sentence


def test_a_threshold_of_nothing_points_nothing_out():
    never = Thresholds(hands_seconds=0, hurried_percent=0, coincidence=0)

    assert list(of_pace(steps(*[0] * 9), took=timedelta(0), guide_minutes=40, thresholds=never)) == []
    assert list(of_likeness(OWN, [sheet(COPIED)], pairs=1, thresholds=never)) == []
