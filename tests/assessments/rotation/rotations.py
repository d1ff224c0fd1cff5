"""Problems of invented mornings."""

from assessments.rotation.problem import Problem, Rig, Task, Team
from assessments.rotation.timing import Timing

MORNING = Timing(minutes=180, slots=6, change_over=4)


def task(
    number: int, *, minutes: int = 25, per_assessor: int = 6, requires: frozenset[str] = frozenset()
) -> Task:
    return Task(
        key=f"t{number}",
        title=f"Task {number}",
        minutes=minutes,
        per_assessor=per_assessor,
        requires=requires,
    )


def uniform(*, own_rig: bool, count: int = 6, assessors: int = 2) -> Problem:
    """Pairs, rigs, tasks and slots, as many of each; each task on a rig of its own, or on all of them."""
    tasks = tuple(task(number) for number in range(1, count + 1))
    every = frozenset(each.key for each in tasks)
    return Problem(
        timing=Timing(minutes=30 * count, slots=count, change_over=4),
        tasks=tasks,
        rigs=tuple(
            Rig(key=f"r{n}", tag=f"VB-0{n}", tasks=frozenset({f"t{n}"}) if own_rig else every)
            for n in range(1, count + 1)
        ),
        teams=tuple(
            Team(key=f"p{n}", name=f"Pair {n}", size=2, wants=tuple(each.key for each in tasks))
            for n in range(1, count + 1)
        ),
        assessors=assessors,
    )


def small(
    *tasks: Task, slots: int = 3, assessors: int = 1, size: int = 1, teams: int = 1, rigs: int = 1
) -> Problem:
    """Everything on every rig, for a handful of candidates."""
    keys = tuple(each.key for each in tasks)
    return Problem(
        timing=Timing(minutes=30 * slots, slots=slots, change_over=4),
        tasks=tasks,
        rigs=tuple(Rig(key=f"r{n}", tag=f"VB-0{n}", tasks=frozenset(keys)) for n in range(1, rigs + 1)),
        teams=tuple(Team(key=f"p{n}", name=f"Pair {n}", size=size, wants=keys) for n in range(1, teams + 1)),
        assessors=assessors,
    )
