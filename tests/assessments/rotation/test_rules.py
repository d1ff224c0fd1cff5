from dataclasses import replace

from assessments.rotation import rules
from assessments.rotation.problem import Place
from tests.assessments.rotation.rotations import small, task

PROBLEM = small(task(1), task(2, requires=frozenset({"t1"})), teams=2, rigs=2, slots=3)


def place(team="p1", rig="r1", key="t1", slot=1, length=1):
    return Place(team=team, rig=rig, task=key, slot=slot, length=length)


def said(*places, problem=PROBLEM):
    return [each.words for each in rules.broken(problem, places)]


def test_a_sound_set_of_places_breaks_nothing():
    assert said(place(), place("p2", "r2"), place(key="t2", slot=2)) == []


def test_nobody_is_at_two_places():
    assert said(place(), place(rig="r2")) == ["somebody would be at two places at once"]


def test_no_rig_is_used_twice_in_a_slot():
    assert said(place(), place("p2")) == ["the rig would be used twice in one slot"]


def test_a_long_task_counts_in_each_of_its_slots():
    long = small(task(1, minutes=35), teams=2)
    assert "the rig would be used twice in one slot" in said(
        place(length=2), place("p2", slot=2, length=2), problem=long
    )


def test_a_prerequisite_comes_before():
    assert said(place(key="t2"), place(slot=2)) == ["Task 1 must come before Task 2"]


def test_the_ratio_is_held():
    crowded = small(task(1, per_assessor=1), teams=2, rigs=2)
    assert said(place(), place("p2", "r2"), problem=crowded) == ["slot 1 needs more assessors than there are"]


def test_a_place_past_the_last_slot_does_not_fit():
    assert said(place(slot=4)) == ["Task 1 doesn’t fit there"]


def test_a_rig_out_of_use_and_one_that_somebody_is_kept_from_are_named():
    team, other = PROBLEM.teams
    rig, spare = PROBLEM.rigs
    problem = replace(
        PROBLEM,
        teams=(replace(team, barred=frozenset({("r1", "t1")})), other),
        rigs=(replace(rig, out_from=1), spare),
    )
    assert said(place(), problem=problem) == [
        "Pair 1 can’t be assessed on Task 1 on VB-01",
        "VB-01 is out of use then",
    ]


def test_what_is_merely_unwise_breaks_nothing_and_is_said():
    team, other = PROBLEM.teams
    problem = replace(PROBLEM, teams=(replace(team, wants=("t2",), unwise=frozenset({("r1", "t1")})), other))
    places = (place(), place(slot=2))
    assert said(*places, problem=problem) == []
    assert {each.words for each in rules.unwise(problem, places)} == {
        "Pair 1 did Task 1 on this rig the last time",
        "Pair 1 has Task 1 already",
        "Pair 1 would do Task 1 twice",
    }
