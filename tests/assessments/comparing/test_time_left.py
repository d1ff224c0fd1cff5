"""Whether work fits on rigs: as much as fits is found, and the designs that are too few are named."""

from itertools import chain, combinations

from hypothesis import given
from hypothesis import strategies as st

from assessments.comparing.time_left import Need, fit


def need(designs, minutes):
    return Need(designs=frozenset(designs), minutes=minutes)


def test_what_fits_fits():
    found = fit([need("a", 60), need("ab", 60)], capacity={"a": 70, "b": 50})
    assert (found.needed, found.left, found.short) == (120, 120, None)


def test_the_designs_that_are_too_few_are_named_with_what_only_they_can_take():
    found = fit([need("a", 840), need("b", 30)], capacity={"a": 540, "b": 600})
    assert (found.short.designs, found.short.needed, found.short.left) == (("a",), 840, 540)


def test_two_designs_may_be_too_few_together():
    found = fit(
        [need("ab", 100), need("a", 30), need("b", 30), need("c", 5)], capacity=dict.fromkeys("abc", 70)
    )
    assert (found.short.designs, found.short.needed, found.short.left) == (("a", "b"), 160, 140)


def test_what_no_design_can_take_fits_nowhere():
    found = fit([need("", 20)], capacity={"a": 100})
    assert (found.short.designs, found.short.needed) == ((), 20)


def test_nothing_left_needs_nothing():
    assert fit([], capacity={"a": 10}).short is None
    assert fit([need("a", 0)], capacity={}).short is None


@given(
    st.lists(st.tuples(st.sets(st.sampled_from("abc"), min_size=1), st.integers(0, 50)), max_size=6),
    st.fixed_dictionaries({design: st.integers(0, 80) for design in "abc"}),
)
def test_it_fits_if_no_set_of_designs_is_too_small(needs, capacity):
    """Hall's condition, looked at set by set."""
    sets = chain.from_iterable(combinations("abc", size) for size in (1, 2, 3))
    too_small = [
        chosen
        for chosen in map(set, sets)
        if sum(minutes for designs, minutes in needs if designs <= chosen)
        > sum(capacity[design] for design in chosen)
    ]
    found = fit([need(designs, minutes) for designs, minutes in needs], capacity=capacity)
    assert (found.short is None) == (not too_small)
    if found.short is not None:
        assert set(found.short.designs) in too_small
        assert found.short.needed > found.short.left
