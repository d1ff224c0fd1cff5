import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.conformity import (
    CONTACT_STATES,
    VERDICTS,
    ConformityError,
    ContactState,
    contact_state,
    is_in_state,
)

METER: dict[str, Any] = {"over_limit": False, "lead_resistance": 0.3, "instrument_u": 0.15, "lead_u": 0.15}
"""Ω: U = 0.42 for the difference."""


@pytest.mark.parametrize(
    ("reading", "changes", "state"),
    [
        (0.6, {}, ContactState.CLOSED),
        (0.87, {}, ContactState.CLOSED),
        (0.89, {}, ContactState.BORDERLINE),
        (1.7, {}, ContactState.BORDERLINE),
        (1.8, {}, ContactState.HIGH_RESISTANCE),
        (12, {}, ContactState.HIGH_RESISTANCE),
        (0.999e6, {}, ContactState.HIGH_RESISTANCE),
        (1e6, {}, ContactState.OPEN),
        (4e6, {}, ContactState.OPEN),
        (math.nan, {"over_limit": True}, ContactState.OPEN),
        (math.nan, {"over_limit": True, "lead_resistance": math.nan}, ContactState.OPEN),
        (math.nan, {"over_limit": True, "lead_resistance": math.inf}, ContactState.CANNOT_JUDGE),
        (0.6, {"lead_resistance": math.inf}, ContactState.CANNOT_JUDGE),
        (0.6, {"lead_resistance": math.nan}, ContactState.CANNOT_JUDGE),
        (math.nan, {}, ContactState.CANNOT_JUDGE),
        (0.6, {"instrument_u": 0, "lead_u": 0}, ContactState.CANNOT_JUDGE),
        (0.6, {"instrument_u": math.nan}, ContactState.CANNOT_JUDGE),
        (0.1, {}, ContactState.CLOSED),
        (0.1, {"lead_resistance": 0.9}, ContactState.BELOW_LEADS),
        (1.8, {"closed_limit": 2.0}, ContactState.CLOSED),
        (0.5e6, {"open_limit": 0.5e6}, ContactState.OPEN),
    ],
)
def test_a_contact_is_told_from_its_resistance(
    reading: float, changes: dict[str, Any], state: ContactState
) -> None:
    found = contact_state(resistance=reading, **{**METER, **changes})
    assert CONTACT_STATES[int(found.code)] is state


def test_leads_are_taken_off_down_to_zero_but_not_beyond_what_the_meter_can_tell() -> None:
    found = contact_state(
        resistance=[0.6, 0.1, 0.1, math.nan], **{**METER, "lead_resistance": [0.3, 0.3, 0.9, 0.3]}
    )
    assert np.array_equal(found.resistance[3:], [np.nan], equal_nan=True)
    assert found.resistance[:3] == pytest.approx([0.3, 0, -0.8])
    assert found.expanded == pytest.approx(0.3 * math.sqrt(2))


def test_a_contact_on_the_very_limit_is_closed() -> None:
    # 0.8 − 0.2 + 0.4 is not quite 1 in binary.
    found = contact_state(
        resistance=0.8, over_limit=False, lead_resistance=0.2, instrument_u=0.2, lead_u=0, coverage=2
    )
    assert CONTACT_STATES[int(found.code)] is ContactState.CLOSED


def test_a_negative_meter_uncertainty_is_refused() -> None:
    with pytest.raises(ConformityError, match="meter's uncertainty is below zero in row 1"):
        contact_state(resistance=0.6, **{**METER, "instrument_u": -0.1})


@pytest.mark.parametrize(
    ("expected", "verdicts"),
    [
        (ContactState.CLOSED, "in-range out-of-range out-of-range borderline borderline cannot-judge"),
        (ContactState.OPEN, "out-of-range in-range out-of-range borderline borderline cannot-judge"),
        (
            ContactState.HIGH_RESISTANCE,
            "out-of-range out-of-range in-range borderline borderline cannot-judge",
        ),
    ],
)
def test_a_state_is_judged_by_the_one_expected(expected: ContactState, verdicts: str) -> None:
    codes = is_in_state(code=range(len(CONTACT_STATES)), expected=expected)
    assert " ".join(VERDICTS[code] for code in codes) == verdicts


@given(
    resistance=st.floats(0, 5),
    leads=st.floats(0, 1),
    limit=st.floats(0.1, 5),
    wider=st.floats(0, 5),
    u=st.floats(0.01, 1),
)
def test_a_higher_limit_never_opens_a_closed_contact(
    resistance: float, leads: float, limit: float, wider: float, u: float
) -> None:
    low, high = (
        contact_state(
            resistance=resistance,
            over_limit=False,
            lead_resistance=leads,
            instrument_u=u,
            lead_u=u,
            closed_limit=each,
        )
        for each in (limit, limit + wider)
    )
    if CONTACT_STATES[int(low.code)] is ContactState.CLOSED:
        assert CONTACT_STATES[int(high.code)] is ContactState.CLOSED
