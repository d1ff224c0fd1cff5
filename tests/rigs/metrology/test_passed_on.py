"""The filter is linear: what an error makes of a present value is the value with it less that without."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.passed_on import passed_on
from rigs.metrology.today import BaselineLevel, CheckMean, LevelModel, present_value

MODEL = LevelModel(drift_sd=0.8, session_sd=1.5, repeat_sd=2.0, repeat_dof=9)
ERRORS = st.floats(-20, 20)


def checks(means):
    return [
        CheckMean(at=7.0 * (1 + place), mean=mean, n=3, session=place) for place, mean in enumerate(means)
    ]


def value(*, baseline, means, at, session):
    return present_value(
        MODEL,
        baseline=BaselineLevel(mean=baseline, n=10, days=3, at=0.0),
        checks=checks(means),
        at=at,
        session=session,
    ).value


@given(of_baseline=ERRORS, of_checks=st.lists(ERRORS, max_size=5), checked=st.booleans())
def test_it_is_the_difference_that_the_error_makes(of_baseline, of_checks, checked):
    right = [158.0 + place for place in range(len(of_checks))]
    wrong = [mean + error for mean, error in zip(right, of_checks, strict=True)]
    session = len(of_checks) - 1 if checked and of_checks else None
    when = {"at": 7.0 * len(of_checks), "session": session}

    found = passed_on(
        MODEL,
        baseline=BaselineLevel(mean=158.0, n=10, days=3, at=0.0),
        checks=checks(right),
        of_baseline=np.array([of_baseline]),
        of_checks=[np.array([error]) for error in of_checks],
        **when,
    )

    expected = value(baseline=158.0 + of_baseline, means=wrong, **when) - value(
        baseline=158.0, means=right, **when
    )
    assert found.tolist() == pytest.approx([expected], abs=1e-9)


def test_one_error_in_everything_is_the_error_of_the_value():
    found = passed_on(
        MODEL,
        baseline=BaselineLevel(mean=158.0, n=10, days=3, at=0.0),
        checks=checks([157.0, 159.0]),
        at=14.0,
        session=1,
        of_baseline=np.array([-11.0, -2.0]),
        of_checks=[np.array([-11.0, -2.0])] * 2,
    )
    assert found.tolist() == pytest.approx([-11.0, -2.0])
