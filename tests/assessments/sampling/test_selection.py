"""Which decisions are looked at again: the laws of a sample, and what its random part finds."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.sampling.selection import (
    RATES,
    Coverage,
    Decided,
    Risk,
    SelectionError,
    Settings,
    select,
)


def decided(number, *, risks=(), **parts):
    names = {part: parts.get(part.value, f"{part.value}-1") for part in Coverage}
    return Decided(key=f"{number:04}", risks=frozenset(risks), parts=names)


decisions = st.lists(
    st.builds(
        lambda risks, parts: (risks, dict(zip(Coverage, parts, strict=True))),
        st.frozensets(st.sampled_from(Risk), max_size=3),
        st.tuples(*[st.sampled_from("abcde")] * len(Coverage)),
    ),
    min_size=1,
    max_size=60,
).map(
    lambda rows: [
        Decided(key=f"{number:03}", risks=risks, parts=parts) for number, (risks, parts) in enumerate(rows)
    ]
)
settings = st.builds(
    Settings,
    seed=st.integers(0, 10**6),
    wrong_share=st.floats(0.02, 0.5),
    chance=st.floats(0.1, 0.95),
    least_random=st.integers(0, 5),
)


@given(decisions, settings)
def test_the_same_seed_draws_the_same_sample_whatever_the_order(found, chosen):
    assert select(found, settings=chosen) == select(found[::-1], settings=chosen)


@given(decisions, settings)
def test_every_assessor_task_rig_and_cohort_is_in_it(found, chosen):
    keys = {each.key for each in select(found, settings=chosen).chosen}
    for part in Coverage:
        everybody = {each.parts[part] for each in found}
        assert {each.parts[part] for each in found if each.key in keys} == everybody


@given(decisions, settings)
def test_each_risk_has_its_share(found, chosen):
    keys = {each.key for each in select(found, settings=chosen).chosen}
    for risk, rate in RATES.items():
        of_it = [each for each in found if risk in each.risks]
        assert len([each for each in of_it if each.key in keys]) >= rate * len(of_it) - 1e-9


@given(decisions, settings)
def test_each_is_there_for_a_reason_and_the_random_part_is_as_large_as_stated(found, chosen):
    sample = select(found, settings=chosen)
    assert all(each.is_random or each.risks or each.covers for each in sample.chosen)
    assert sum(each.is_random for each in sample.chosen) == sample.stated.size
    assert sample.stated.chance >= chosen.chance - 1e-9


def test_the_random_part_finds_a_wrong_decision_as_often_as_it_states():
    """60 decisions, 6 of them wrong wherever they are: drawn with 4,000 seeds."""
    found = [decided(number) for number in range(60)]
    wrong = {found[index].key for index in np.random.default_rng(4).permutation(60)[:6]}
    hits, stated = [], None
    for seed in range(4000):
        sample = select(found, settings=Settings(seed=seed, wrong_share=0.1, chance=0.8))
        stated = sample.stated
        hits.append(any(each.is_random and each.key in wrong for each in sample.chosen))
    assert (stated.population, stated.wrong) == (60, 6)
    assert np.mean(hits) == pytest.approx(stated.chance, abs=4 * math.sqrt(0.2 * 0.8 / 4000))


def test_every_override_and_every_flag_is_looked_at():
    found = [
        decided(number, risks=[Risk.OVERRIDE, Risk.FLAGGED][number % 2 : number % 2 + 1])
        for number in range(12)
    ]
    sample = select(found, settings=Settings(seed=1, wrong_share=1.0, chance=0.1))
    assert len(sample.chosen) == 12


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        ({"wrong_share": 0.0}, "between 0 and 100"),
        ({"wrong_share": 1.2}, "between 0 and 100"),
        ({"chance": 1.0}, "between 0 and 100"),
        ({"rates": {Risk.FLAGGED: 1.5}}, "Each rate"),
        ({"seed": -1}, "from 0 up"),
    ],
    ids=str,
)
def test_a_plan_that_can_not_be_drawn_says_what_to_change(given_, said):
    with pytest.raises(SelectionError, match=said):
        Settings(**{"seed": 1} | given_)


def test_nothing_decided_is_nothing_to_sample():
    with pytest.raises(SelectionError, match="nothing to sample"):
        select([], settings=Settings(seed=1))


def test_a_decision_is_there_once():
    with pytest.raises(SelectionError, match="twice"):
        select([decided(1), decided(1)], settings=Settings(seed=1))
