"""From a task as it is written to the steps of one design."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.expansion import DesignData, ExpansionError, expand

BOARD = DesignData(
    slug="board",
    conductors=(("l", "Line"), ("n", "Neutral"), ("e", "Earth")),
    faults=(("fan-slow", "Fan slow"),),
)


def task(*steps, designs=("board",)):
    return {"slug": "t", "title": "T", "designs": list(designs), "steps": list(steps)}


def steps_of(*steps, design=BOARD):
    return expand(task(*steps), design=design)["steps"]


def pair(**changes):
    step = {
        "slug": "dead-{first}-{second}",
        "kind": "observation",
        "title": "{first_label} to {second_label}",
    }
    return {"for_each": "pair", "step": step | changes}


def test_a_task_is_written_out_for_one_of_its_designs():
    found = expand(task({"slug": "a"}, designs=("other", "board")), design=BOARD)
    assert found == {"slug": "t", "title": "T", "design": "board", "steps": [{"slug": "a"}]}


def test_a_design_that_the_task_is_not_for_is_refused():
    with pytest.raises(ExpansionError, match="isn't a task for the design “board”"):
        expand(task(designs=("other",)), design=BOARD)


def test_every_pair_is_tested_once_in_the_board_s_order():
    found = steps_of(pair())
    assert [each["slug"] for each in found] == ["dead-l-n", "dead-l-e", "dead-n-e"]
    assert [each["title"] for each in found] == ["Line to Neutral", "Line to Earth", "Neutral to Earth"]


@given(n=st.integers(2, 9))
def test_n_conductors_make_half_n_times_n_less_one_pairs(n):
    board = DesignData(slug="board", conductors=tuple((f"c{i}", f"C {i}") for i in range(n)))
    found = {each["slug"] for each in steps_of(pair(), design=board)}
    assert len(found) == n * (n - 1) // 2


def test_steps_are_repeated_in_turn_and_numbered():
    group = {"repeat": 2, "steps": [{"slug": "make", "title": "{n} of {of}"}, {"slug": "b-{n}-x"}]}
    found = steps_of(group)
    assert [each["slug"] for each in found] == ["make-1", "b-1-x", "make-2", "b-2-x"]
    assert found[2]["title"] == "2 of 2"


def test_a_star_in_a_list_stands_for_the_steps_before_it_that_fit():
    mean = {"slug": "mean", "parameters": {"inputs": {"readings": ["make-*"]}, "of": ["make-1", "b*"]}}
    found = steps_of({"repeat": 3, "steps": [{"slug": "make"}]}, {"slug": "b"}, mean)
    assert found[-1]["parameters"] == {
        "inputs": {"readings": ["make-1", "make-2", "make-3"]},
        "of": ["make-1", "b"],
    }


def test_a_diagnosis_offers_every_fault_of_the_design_and_none_first():
    (found,) = steps_of({"slug": "d", "kind": "diagnosis"})
    assert found["choices"] == [
        {"value": "none", "label": "Nothing is wrong"},
        {"value": "fan-slow", "label": "Fan slow"},
    ]


def test_what_is_written_is_left_as_it_is():
    written = task(pair(), {"slug": "m", "parameters": {"of": ["dead-*"]}})
    before = repr(written)
    expand(written, design=BOARD)
    assert repr(written) == before


@pytest.mark.parametrize(
    ("step", "near", "why"),
    [
        (pair(title="{third}"), "dead-{first}-{second}", "{third} isn't one of {first}"),
        ({"for_each": "corner", "step": {"slug": "a"}}, "a", "can be “pair”, not “corner”"),
        ({"for_each": "pair"}, "for_each", "“for_each” needs “step”"),
        ({"repeat": 2}, "repeat", "“repeat” needs “steps”"),
        ({"repeat": 0, "steps": [{"slug": "a"}]}, "a", "a number from 1 to 30, not “0”"),
        ({"repeat": True, "steps": [{"slug": "a"}]}, "a", "not “True”"),
        ({"repeat": 99, "steps": [{"slug": "a"}]}, "a", "not “99”"),
        ({"slug": "m", "parameters": {"of": ["x-*"]}}, "m", "no step before it fits “x-*”"),
    ],
)
def test_what_can_not_be_written_out_is_named(step, near, why):
    with pytest.raises(ExpansionError) as caught:
        steps_of(step)
    assert why in str(caught.value)
    assert caught.value.near == near


def test_a_design_without_conductors_has_no_pairs():
    with pytest.raises(ExpansionError, match="has no conductors to pair"):
        steps_of(pair(), design=DesignData(slug="board"))
