import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.draft_steps import (
    NoSuchPlaceError,
    at,
    copied,
    dissolved,
    earlier_readings,
    find,
    for_each_pair,
    inserted,
    moved,
    new_slug,
    place_from,
    plain_steps,
    removed,
    renamed,
    repeated,
    replaced,
    text_of,
    walk,
)


def step(slug, kind="action", **more):
    return {"slug": slug, "kind": kind, "title": slug.title(), "instruction": "Do it.", **more}


FLAT = [step("a"), step("b"), step("c")]
GROUPED = [
    step("a"),
    {"repeat": 3, "steps": [step("rise", "reading"), step("fall", "reading")]},
    {"for_each": "pair", "step": step("dead-{first}-{second}")},
    step("z"),
]


def slugs(steps):
    return [node["slug"] for _, node in plain_steps(steps)]


def test_a_group_is_walked_before_what_is_in_it():
    assert [text_of(place) for place, _ in walk(GROUPED)] == ["1", "2", "2-1", "2-2", "3", "3-1", "4"]


@pytest.mark.parametrize("text", ["", "0", "-1", "1-", "1-2-3", "a", "1.2", "01", "99999"])
def test_what_is_no_place_is_refused(text):
    with pytest.raises(NoSuchPlaceError):
        place_from(text)


@pytest.mark.parametrize("place", [(5,), (1, 1), (2, 3), (3, 2)])
def test_nothing_stands_past_the_end(place):
    with pytest.raises(NoSuchPlaceError):
        at(GROUPED, place)


def test_a_step_is_put_in_before_what_stands_there_and_at_the_end():
    assert slugs(inserted(FLAT, (1,), step("new"))) == ["new", "a", "b", "c"]
    assert slugs(inserted(FLAT, (4,), step("new"))) == ["a", "b", "c", "new"]
    assert slugs(inserted(GROUPED, (2, 3), step("new")))[:4] == ["a", "rise", "fall", "new"]


@pytest.mark.parametrize("place", [(5,), (1, 1), (3, 2), (2, 4)])
def test_a_step_is_put_in_nowhere_else(place):
    steps = GROUPED if len(place) > 1 else FLAT
    with pytest.raises(NoSuchPlaceError):
        inserted(steps, place, step("new"))


def test_the_first_stays_first_and_the_last_stays_last():
    assert slugs(moved(FLAT, (1,), by=-1)) == ["a", "b", "c"]
    assert slugs(moved(FLAT, (3,), by=1)) == ["a", "b", "c"]
    assert slugs(moved(FLAT, (3,), by=-1)) == ["a", "c", "b"]
    assert slugs(moved(GROUPED, (2, 1), by=1))[1:3] == ["fall", "rise"]


def test_a_copy_stands_after_its_original_under_a_name_of_its_own():
    assert slugs(copied(FLAT, (1,))) == ["a", "a-2", "b", "c"]
    assert slugs(copied(copied(FLAT, (1,)), (1,))) == ["a", "a-3", "a-2", "b", "c"]
    assert slugs(copied(GROUPED, (2,)))[1:5] == ["rise", "fall", "rise-2", "fall-2"]
    assert slugs(copied(GROUPED, (3,)))[3:5] == ["dead-{first}-{second}", "dead-{first}-{second}-2"]


def test_a_group_goes_with_its_last_step():
    assert slugs(removed(removed(GROUPED, (2, 1)), (2, 1))) == ["a", "dead-{first}-{second}", "z"]
    assert slugs(removed(GROUPED, (3, 1))) == ["a", "rise", "fall", "z"]


def test_a_step_becomes_a_group_and_comes_out_of_it_again():
    many = replaced(FLAT, (2,), repeated(FLAT[1], times=5))
    assert many[1] == {"repeat": 5, "steps": [FLAT[1]]}
    assert dissolved(many, (2,)) == FLAT
    each = replaced(FLAT, (2,), for_each_pair(FLAT[1]))
    assert each[1]["step"]["slug"] == "b-{first}-{second}"
    assert dissolved(each, (2,)) == FLAT


def test_a_step_is_found_by_its_name_wherever_it_stands_by_now():
    assert find(FLAT, "c", near=(1,)) == (3,)
    assert find([step("a"), step("a")], "a", near=(2,)) == (2,)
    with pytest.raises(NoSuchPlaceError):
        find(FLAT, "gone", near=(1,))


def test_checks_follow_a_step_that_gets_another_name():
    steps = [
        step("taps", "reading"),
        {"repeat": 2, "steps": [step("make", "reading"), step("break", "reading")]},
        step("fall", "reading", judged_by="falls", parameters={"of": "taps", "percent": 80}),
        step(
            "mean",
            "reading",
            judged_by="computed",
            parameters={"calculator": "taps", "inputs": {"values": ["make-*", "make-1", 3]}},
        ),
    ]

    named = renamed(renamed(steps, (1,), "at-the-taps"), (2, 1), "rise")

    assert named[2]["parameters"] == {"of": "at-the-taps", "percent": 80}
    assert named[3]["parameters"] == {"calculator": "taps", "inputs": {"values": ["rise-*", "rise-1", 3]}}


def test_a_check_can_name_the_readings_before_it_each_time_round():
    assert [name for name, _ in earlier_readings(GROUPED, (4,))] == [
        "rise-1",
        "rise-2",
        "rise-3",
        "fall-1",
        "fall-2",
        "fall-3",
    ]
    assert earlier_readings(GROUPED, (2, 2)) == [("rise-{n}", "Rise, the same time round")]
    assert earlier_readings(GROUPED, (1,)) == []


def test_a_name_is_made_from_a_title_and_numbered_where_it_is_taken():
    assert new_slug("Δp at the taps!", taken=set()) == "p-at-the-taps"
    assert new_slug("Leads", taken={"leads", "leads-2"}) == "leads-3"
    assert new_slug("…", taken=set()) == "step"
    assert len(new_slug("long " * 40, taken={"x"})) <= 60


places = st.sampled_from([place for place, _ in walk(GROUPED)])


@given(place=places)
def test_what_is_put_in_can_be_taken_out_again(place):
    if place == (3, 1):
        return  # for each pair there is one step alone
    assert removed(inserted(GROUPED, place, step("new")), place) == GROUPED


@given(place=places, by=st.sampled_from([-1, 1]))
def test_moving_loses_nothing(place, by):
    assert sorted(slugs(moved(GROUPED, place, by=by))) == sorted(slugs(GROUPED))
