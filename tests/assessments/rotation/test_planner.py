from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessments.rotation import exact, planner, rules
from assessments.rotation.problem import Place, Problem, Rig, Task, Team
from assessments.rotation.timing import Timing
from tests.assessments.rotation.rotations import small, task, uniform


def words(plan):
    return {each.because for each in plan.left}


@pytest.mark.parametrize("own_rig", [True, False], ids=["a-rig-each", "any-rig"])
@pytest.mark.parametrize("count", [1, 2, 3, 6, 9])
def test_as_many_pairs_as_rigs_and_slots_are_all_placed(own_rig, count):
    problem = uniform(own_rig=own_rig, count=count, assessors=count)

    plan = planner.plan(problem)

    assert len(plan.places) == count * count
    assert (plan.idle, plan.left, rules.broken(problem, plan.places)) == ((), (), ())


@pytest.mark.parametrize("own_rig", [True, False], ids=["a-rig-each", "any-rig"])
def test_a_rig_that_dies_after_slot_two_leaves_one_pair_without_a_place_in_each_slot(own_rig):
    problem = uniform(own_rig=own_rig)
    before = planner.plan(problem)
    dead = replace(problem, rigs=tuple(replace(r, out_from=3) if r.key == "r3" else r for r in problem.rigs))

    again = planner.replanned(dead, before.places, from_slot=3)
    plan = planner.plan(again)

    assert {p for p in before.places if p.slot < 3} <= set(plan.places)
    assert not any(place.rig == "r3" and place.slot >= 3 for place in plan.places)
    assert rules.broken(again, plan.places) == ()
    assert [each.slot for each in sorted(plan.idle, key=lambda each: each.slot)] == [3, 4, 5, 6]
    assert len({each.team for each in plan.idle}) == 4
    assert len(plan.places) == 32


def test_the_work_of_a_rig_that_died_is_said_to_have_no_rig():
    problem = uniform(own_rig=True)
    before = planner.plan(problem)
    dead = replace(problem, rigs=tuple(replace(r, out_from=3) if r.key == "r3" else r for r in problem.rigs))

    plan = planner.plan(planner.replanned(dead, before.places, from_slot=3))

    assert {(each.task, each.because) for each in plan.left} == {("t3", "VB-03 is out of use")}


def test_what_runs_on_when_a_rig_dies_is_begun_again_elsewhere():
    problem = small(task(1, minutes=50), slots=4, rigs=2)
    (before,) = planner.plan(problem).places
    assert (before.slot, before.length) == (1, 2)
    dead = replace(
        problem, rigs=tuple(replace(r, out_from=2) if r.key == before.rig else r for r in problem.rigs)
    )

    (after,) = planner.plan(planner.replanned(dead, [before], from_slot=2)).places

    assert after.rig != before.rig
    assert after.slot == 2


def test_what_runs_on_at_a_rig_that_lives_goes_on():
    problem = small(task(1, minutes=50), slots=4)
    (before,) = planner.plan(problem).places

    plan = planner.plan(planner.replanned(problem, [before], from_slot=2))

    assert plan.places == (before,)


def test_a_task_that_is_too_long_for_a_slot_takes_two():
    plan = planner.plan(small(task(1, minutes=35), slots=2))

    assert plan.places == (Place(team="p1", rig="r1", task="t1", slot=1, length=2),)


def test_a_task_that_fits_nowhere_says_how_many_slots_it_needs():
    assert words(planner.plan(small(task(1, minutes=35), slots=1))) == {
        "a 35-minute task needs two slots of 26"
    }


def test_a_prerequisite_is_over_before_what_requires_it_begins():
    problem = small(task(1, requires=frozenset({"t2"})), task(2, minutes=35), slots=3, rigs=2)

    plan = planner.plan(problem)

    assert [(each.task, each.slot) for each in plan.places] == [("t2", 1), ("t1", 3)]


def test_what_requires_something_that_is_not_planned_waits():
    needed = task(2)
    problem = small(task(1, requires=frozenset({"t2"})))
    assert words(planner.plan(replace(problem, tasks=(*problem.tasks, needed)))) == {"needs Task 2 first"}
    had = tuple(replace(team, has=frozenset({"t2"})) for team in problem.teams)
    assert planner.plan(replace(problem, teams=had)).left == ()


def test_one_assessor_for_twelve_takes_six_at_a_time():
    problem = uniform(own_rig=False, assessors=1)

    plan = planner.plan(problem)

    for slot in range(1, 7):
        assert sum(slot in each.slots for each in plan.places) <= 3
    assert len(plan.places) == 18
    assert {each.because for each in plan.idle} == {
        "the assessors have as many candidates as the ratio allows"
    }


def test_a_live_test_takes_an_assessor_to_itself():
    live, other = task(1, per_assessor=1), task(2)
    problem = small(live, other, teams=3, rigs=3, slots=4, assessors=2)

    plan = planner.plan(problem)

    assert plan.left == ()
    assert rules.broken(problem, plan.places) == ()
    for slot in range(1, 5):
        assert sum(each.task == "t1" and slot in each.slots for each in plan.places) <= 2


def test_a_pair_at_a_live_test_needs_two_assessors():
    assert words(planner.plan(small(task(1, per_assessor=1), size=2))) == {
        "one assessor to one candidate: there aren’t enough"
    }


@pytest.mark.parametrize("how", ["barred", "unwise"])
def test_a_team_is_planned_on_another_rig_than_one_it_is_kept_from(how):
    problem = small(task(1), rigs=2)
    (team,) = problem.teams
    kept = replace(problem, teams=(replace(team, **{how: frozenset({("r1", "t1")})}),))

    (place,) = planner.plan(kept).places

    assert place.rig == "r2"


def test_a_team_that_is_kept_from_every_rig_is_said_to_be():
    problem = small(task(1))
    (team,) = problem.teams
    kept = replace(problem, teams=(replace(team, barred=frozenset({("r1", "t1")})),))

    assert words(planner.plan(kept)) == {"can’t be assessed on any of the rigs that have it"}


def test_a_task_that_no_rig_has_is_said_to_be_done_nowhere():
    problem = small(task(1))
    (rig,) = problem.rigs
    assert words(planner.plan(replace(problem, rigs=(replace(rig, tasks=frozenset()),)))) == {
        "none of these rigs has this task"
    }


def test_the_same_problem_has_the_same_plan():
    problem = uniform(own_rig=False, assessors=1)
    assert planner.plan(problem) == planner.plan(problem)


# --- Laws -----------------------------------------------------------------------------------------


@st.composite
def problems(draw) -> Problem:
    count = draw(st.integers(1, 5))
    keys = [f"t{number}" for number in range(1, count + 1)]
    tasks = tuple(
        Task(
            key=key,
            title=f"Task {key}",
            minutes=draw(st.sampled_from([10, 25, 26, 27, 35, 50])),
            per_assessor=draw(st.sampled_from([1, 2, 6])),
            requires=frozenset(draw(st.sets(st.sampled_from(keys[:number]), max_size=1)) if number else ()),
        )
        for number, key in enumerate(keys)
    )
    slots = draw(st.integers(1, 5))
    rigs = tuple(
        Rig(
            key=f"r{number}",
            tag=f"VB-{number:02}",
            tasks=frozenset(draw(st.sets(st.sampled_from(keys)))),
            out_from=draw(st.one_of(st.none(), st.integers(1, slots))),
        )
        for number in range(1, draw(st.integers(1, 4)) + 1)
    )
    pairs = [(rig.key, key) for rig in rigs for key in keys]
    teams = tuple(
        Team(
            key=f"p{number}",
            name=f"Pair {number}",
            size=draw(st.integers(1, 2)),
            wants=tuple(key for key in keys if draw(st.booleans())),
            has=frozenset(draw(st.sets(st.sampled_from(keys)))),
            barred=frozenset(draw(st.sets(st.sampled_from(pairs), max_size=2))),
        )
        for number in range(1, draw(st.integers(1, 4)) + 1)
    )
    return Problem(
        timing=Timing(minutes=30 * slots, slots=slots, change_over=4),
        tasks=tasks,
        rigs=rigs,
        teams=teams,
        assessors=draw(st.integers(1, 3)),
    )


@given(problems())
def test_no_plan_breaks_a_rule(problem):
    assert rules.broken(problem, planner.plan(problem).places) == ()


@settings(max_examples=40)
@given(problems())
def test_every_wish_has_a_place_or_a_reason(problem):
    plan = planner.plan(problem)
    placed = [(each.team, each.task) for each in plan.places]
    left = [(each.team, each.task) for each in plan.left]
    assert sorted(placed + left) == sorted((team.key, key) for team in problem.teams for key in team.wants)
    assert all(each.because for each in plan.left)


@settings(max_examples=40)
@given(problems())
def test_everybody_has_a_place_or_a_reason_in_each_slot(problem):
    plan = planner.plan(problem)
    busy = {(each.team, slot) for each in plan.places for slot in each.slots}
    idle = {(each.team, each.slot) for each in plan.idle}
    every = {(team.key, slot) for team in problem.teams for slot in range(1, problem.timing.slots + 1)}
    assert busy | idle == every
    assert not busy & idle


@settings(max_examples=40)
@given(problems())
def test_no_whole_number_programme_finds_more(problem):
    assert len(exact.places(problem)) <= len(planner.plan(problem).places)


@settings(max_examples=40)
@given(problems(), st.data())
def test_planning_again_keeps_what_was_done_and_breaks_no_rule(problem, data):
    before = planner.plan(problem).places
    from_slot = data.draw(st.integers(1, problem.timing.slots))
    dying = data.draw(st.sampled_from([rig.key for rig in problem.rigs]))
    rigs = tuple(
        replace(rig, out_from=min(rig.out_from or from_slot, from_slot)) if rig.key == dying else rig
        for rig in problem.rigs
    )

    again = planner.replanned(replace(problem, rigs=rigs), before, from_slot=from_slot)
    plan = planner.plan(again)

    assert {each for each in before if each.after <= from_slot} <= set(plan.places)
    assert rules.broken(again, plan.places) == ()
