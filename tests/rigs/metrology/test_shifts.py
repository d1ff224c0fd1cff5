"""Rig, instrument or person? By simulation, and by laws that any fair weighing obeys."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.samples import SampleError
from rigs.metrology.shifts import PRIOR, Cause, Deviation, explain

OWN = 0.012
SHEET = 0.006
# Six on the rig this session, each person with an instrument; the person and the instrument in question were
# at two other rigs as well.
PARTS = (
    *((rig, False, False) for rig in [True] * 9),
    *((True, True, True) for _ in range(3)),
    *((False, True, False) for _ in range(6)),
    *((False, False, True) for _ in range(4)),
)


def deviations(values, *, parts=PARTS):
    return [
        Deviation(
            value=float(value),
            u=OWN,
            sheet="here" if rig else f"there-{number % 2}",
            sheet_u=SHEET,
            of_rig=rig,
            of_instrument=instrument,
            of_person=person,
        )
        for number, (value, (rig, instrument, person)) in enumerate(zip(values, parts, strict=True))
    ]


def drawn(rng, cause, *, shift=0.06):
    """Values of one draw in which that cause shifts its readings."""
    index = {Cause.RIG: 0, Cause.INSTRUMENT: 1, Cause.PERSON: 2}
    sheets = {name: rng.normal(0, SHEET) for name in ("here", "there-0", "there-1")}
    size = rng.normal(0, shift)
    return [
        rng.normal(0, OWN)
        + sheets["here" if part[0] else f"there-{number % 2}"]
        + (size if cause in index and part[index[cause]] else 0.0)
        for number, part in enumerate(PARTS)
    ]


def test_the_stated_probabilities_are_those_that_come_true():
    """With causes drawn from the prior, one that is given 0.8 to 0.9 is right in so many cases."""
    rng, causes = np.random.default_rng(26), list(Cause)
    prior = np.array([PRIOR[cause] for cause in causes])
    stated, right = [], []
    for cause in rng.choice(causes, size=3000, p=prior):
        found = explain(deviations(drawn(rng, cause)))
        for each, probability in found.probabilities.items():
            stated.append(probability)
            right.append(each is Cause(cause))
    stated, right = np.array(stated), np.array(right)
    bins = np.digitize(stated, np.linspace(0, 1, 11)[1:-1])
    error = sum(
        (bins == each).mean() * abs(stated[bins == each].mean() - right[bins == each].mean())
        for each in np.unique(bins)
    )
    assert error <= 0.02


@pytest.mark.parametrize("cause", [Cause.RIG, Cause.INSTRUMENT, Cause.PERSON])
@pytest.mark.parametrize("size", [-0.07, 0.07], ids=["low", "high"])
def test_a_clear_shift_is_put_down_to_what_its_readings_share(cause, size):
    index = [Cause.RIG, Cause.INSTRUMENT, Cause.PERSON].index(cause)
    rng = np.random.default_rng([3, index])
    values = [rng.normal(0, OWN) + (size if part[index] else 0.0) for part in PARTS]
    found = explain(deviations(values))
    assert found.cause is cause
    assert found.probability > 0.95
    assert found.shift == pytest.approx(size, rel=0.25)


def test_good_readings_are_chance():
    rng = np.random.default_rng(8)
    found = [explain(deviations(drawn(rng, Cause.CHANCE))) for _ in range(200)]
    assert np.mean([each.cause is Cause.CHANCE for each in found]) > 0.95
    assert {each.shift for each in found if each.cause is Cause.CHANCE} == {0.0}


def test_what_nobody_else_used_can_not_be_told_apart():
    """One person with one instrument on one rig: the three explanations say the same of the readings."""
    found = explain(deviations([0.08] * 5, parts=[(True, True, True)] * 5))
    assert found.probabilities[Cause.RIG] == pytest.approx(found.probabilities[Cause.INSTRUMENT])
    assert found.probabilities[Cause.RIG] == pytest.approx(found.probabilities[Cause.PERSON])
    assert found.probability < 0.4


values = st.lists(st.floats(-0.2, 0.2), min_size=len(PARTS), max_size=len(PARTS))


@given(values)
def test_they_are_probabilities(found):
    probabilities = explain(deviations(found)).probabilities
    assert sum(probabilities.values()) == pytest.approx(1)
    assert set(probabilities) == set(Cause)


@given(values, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(found, random):
    given_, shuffled = deviations(found), deviations(found)
    random.shuffle(shuffled)
    assert explain(shuffled).probabilities == pytest.approx(explain(given_).probabilities, abs=1e-9)


@given(values)
def test_low_and_high_are_alike(found):
    turned = [-value for value in found]
    assert explain(deviations(turned)).probabilities == pytest.approx(
        explain(deviations(found)).probabilities, abs=1e-9
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"value": math.nan}, "no number"),
        ({"u": math.inf}, "no number"),
        ({"u": 0.0}, "above zero"),
        ({"sheet_u": -0.1}, "above zero"),
    ],
    ids=str,
)
def test_what_is_no_reading_is_refused(change, said):
    found = deviations([0.0] * len(PARTS))
    found[2] = dataclasses.replace(found[2], **change)
    with pytest.raises(SampleError, match=said):
        explain(found)


@pytest.mark.parametrize("number", range(4))
def test_too_few_readings_say_nothing(number):
    with pytest.raises(SampleError, match="fewer than 4"):
        explain(deviations([0.1] * number, parts=PARTS[:number]))
