import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rigs.metrology.conformity import CONTACT_STATES, VERDICTS, ConformityError, ContactState, Verdict
from rigs.metrology.relations import (
    Relation,
    changes_state,
    closes,
    critical_range_factor,
    equals,
    falls_by_at_least,
    repeats_within,
    reverses_sign,
)

IN, EDGE, OUT, NONE = Verdict


def verdict(found: Relation) -> Verdict:
    return VERDICTS[int(found.code)]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (1.58, -1.57, IN),
        (-1.58, 1.57, IN),
        (1.58, -0.3, IN),
        (1.58, 1.57, OUT),
        (-1.58, -1.57, OUT),
        (1.58, -0.03, EDGE),
        (1.58, 0.0, EDGE),
        (0.0, -1.58, EDGE),
        (math.nan, 1.58, NONE),
        (1.58, math.inf, NONE),
    ],
)
def test_a_sign_reverses_only_where_both_can_be_told_from_zero(
    first: float, second: float, expected: Verdict
) -> None:
    assert verdict(reverses_sign(first=first, second=second, first_u=0.02, second_u=0.02)) is expected


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (1.60, 0.60, IN),
        (1.60, 0.75, IN),
        (1.60, 0.80, EDGE),
        (1.60, 0.84, EDGE),
        (1.60, 0.85, OUT),
        (1.60, 1.60, OUT),
        (1.60, -0.60, IN),
        (-1.60, -0.60, IN),
        (-1.60, -1.50, OUT),
        (0.03, 0.00, NONE),
        (math.nan, 0.6, NONE),
        (1.6, math.nan, NONE),
    ],
)
def test_a_reading_falls_by_half_or_does_not(before: float, after: float, expected: Verdict) -> None:
    found = falls_by_at_least(before=before, after=after, percent=50, before_u=0.02, after_u=0.02)
    assert verdict(found) is expected


@given(
    before=st.floats(-10, 10),
    after=st.floats(-10, 10),
    asked=st.floats(0, 100),
    less=st.floats(0, 100),
)
def test_asking_for_a_smaller_fall_never_turns_a_pass_into_a_fail(
    before: float, after: float, asked: float, less: float
) -> None:
    found = falls_by_at_least(
        before=before, after=after, percent=[asked, max(asked - less, 0)], before_u=0.02, after_u=0.02
    )
    # In the order of VERDICTS, a smaller code is a better verdict.
    assert found.code[1] <= found.code[0]


def test_three_pressures_close_within_their_uncertainty() -> None:
    found = closes(
        high=0.66,
        low=-0.92,
        difference=[1.58, 1.62, 1.63, 1.66, -1.58, math.nan],
        high_u=0.01,
        low_u=0.01,
        difference_u=0.01,
    )
    # U = 0.035, and out from 0.052 on.
    assert [VERDICTS[code] for code in found.code] == [IN, EDGE, EDGE, OUT, OUT, NONE]


def test_a_centre_s_floor_widens_what_closes() -> None:
    figures = {"high": 0.66, "low": -0.92, "high_u": 0.01, "low_u": 0.01, "difference_u": 0.01}
    assert verdict(closes(difference=1.62, **figures)) is EDGE
    assert verdict(closes(difference=1.62, floor=0.04, **figures)) is IN
    assert float(closes(difference=1.62, floor=0.04, **figures).margin) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("reading", "expected"),
    [(26.3, IN), (26.8, IN), (27.0, EDGE), (27.3, OUT), (23.7, OUT), (math.inf, NONE)],
)
def test_an_answer_follows_from_the_candidate_s_own_readings(reading: float, expected: Verdict) -> None:
    # kW gross from 0.05 m³ in 75 s.
    assert verdict(equals(reading=reading, computed=26.3, u=0.25)) is expected


def test_without_an_uncertainty_nothing_can_be_compared() -> None:
    assert verdict(equals(reading=1, computed=1, u=0)) is NONE
    assert verdict(reverses_sign(first=1, second=-1, first_u=0, second_u=0.1)) is NONE
    assert verdict(falls_by_at_least(before=2, after=1, percent=10, before_u=0.1, after_u=0)) is NONE


# ISO 5725-6, critical range factors f(n) at 95 %, from memory; printed to one decimal.
@pytest.mark.parametrize(
    ("n", "printed"),
    [(2, 2.8), (3, 3.3), (4, 3.6), (5, 3.9), (6, 4.0), (7, 4.2), (8, 4.3), (9, 4.4), (10, 4.5)],
)
def test_the_critical_range_factor_rounds_to_the_printed_one(n: int, printed: float) -> None:
    assert critical_range_factor(n=n) == pytest.approx(printed, abs=0.05)


def test_the_critical_range_factor_is_exact() -> None:
    assert critical_range_factor(n=2) == pytest.approx(1.959964 * math.sqrt(2), abs=1e-6)
    assert critical_range_factor(n=5) == pytest.approx(stats.studentized_range.ppf(0.95, 5, 1e9), abs=1e-4)


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ((1.57, 1.57), IN),
        ((1.57, 1.60), IN),
        ((1.57, 1.62), IN),
        ((1.57, 1.63), EDGE),
        ((1.57, 1.65), EDGE),
        ((1.57, 1.66), OUT),
        ((1.57, 1.60, 1.63), IN),  # three repeats may lie further apart than two
        ((1.57, math.nan), NONE),
    ],
)
def test_repeats_agree_within_the_critical_range(readings: tuple[float, ...], expected: Verdict) -> None:
    assert verdict(repeats_within(readings=readings, repeat_sd=0.02)) is expected


def test_neighbouring_digits_always_agree() -> None:
    assert verdict(repeats_within(readings=(1.57, 1.58), repeat_sd=0.0029, resolution=0.01)) is IN
    assert verdict(repeats_within(readings=(1.57, 1.59), repeat_sd=0.0029, resolution=0.01)) is OUT


def test_repeats_are_compared_row_by_row() -> None:
    found = repeats_within(readings=[[1.57, 1.60], [1.57, 1.70]], repeat_sd=[0.02, 0.02])
    assert [VERDICTS[code] for code in found.code] == [IN, OUT]


@pytest.mark.parametrize("readings", [1.57, [1.57], [[1.57], [1.60]]])
def test_one_reading_repeats_nothing(readings: object) -> None:
    with pytest.raises(ConformityError, match="Take another reading"):
        repeats_within(readings=readings, repeat_sd=0.02)  # type: ignore[arg-type]


@given(
    readings=st.lists(st.floats(-10, 10), min_size=2, max_size=6),
    seed=st.integers(0, 999),
    sd=st.floats(0.01, 5),
)
def test_the_order_of_repeats_does_not_matter(readings: list[float], seed: int, sd: float) -> None:
    shuffled = np.random.default_rng(seed).permutation(readings)
    assert (
        repeats_within(readings=readings, repeat_sd=sd).code
        == repeats_within(readings=shuffled, repeat_sd=sd).code
    )


CLOSED, OPEN = ContactState.CLOSED, ContactState.OPEN
HIGH, UNSURE, UNKNOWN = ContactState.HIGH_RESISTANCE, ContactState.BORDERLINE, ContactState.CANNOT_JUDGE


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (OPEN, CLOSED, IN),
        (CLOSED, OPEN, IN),
        (OPEN, OPEN, OUT),
        (CLOSED, CLOSED, OUT),
        (HIGH, HIGH, OUT),
        (OPEN, HIGH, EDGE),
        (HIGH, CLOSED, EDGE),
        (OPEN, UNSURE, EDGE),
        (UNSURE, UNSURE, EDGE),
        (ContactState.BELOW_LEADS, OPEN, EDGE),
        (OPEN, UNKNOWN, NONE),
        (UNKNOWN, UNKNOWN, NONE),
    ],
)
def test_a_contact_changes_state_by_making_or_breaking(
    before: ContactState, after: ContactState, expected: Verdict
) -> None:
    code = changes_state(before=CONTACT_STATES.index(before), after=CONTACT_STATES.index(after))
    assert VERDICTS[int(code)] is expected
    back = changes_state(before=CONTACT_STATES.index(after), after=CONTACT_STATES.index(before))
    assert back == code
