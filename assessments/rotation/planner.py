"""Finding a plan: slot by slot, by matching teams with rigs; where something is left over, by whole numbers.

A slot's matching covers first the teams with most before them and the rigs with most to come, which for tasks
of one slot, one rig each and no prerequisites leaves nobody over that need be: colouring the edges of a
bipartite graph with as many colours as its largest degree (König 1916, from memory), a colour a slot. What
that leaves is tried once more as an integer programme, which knows prerequisites, long tasks and ratios.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from assessments.rotation import exact, reasons, rules
from assessments.rotation.problem import Place, Plan, Problem, Rig, Team


def plan(problem: Problem) -> Plan:
    """A plan that keeps every rule, with as many tasks in it as could be found. The same each time."""
    places = _by_slots(problem)
    if len(places) < _most(problem):
        better = exact.places(problem)
        if len(better) > len(places):
            places = better
    order = {rig.key: number for number, rig in enumerate(problem.rigs)}
    found = tuple(sorted((*problem.fixed, *places), key=lambda place: (place.slot, order[place.rig])))
    return Plan(
        places=found, idle=tuple(reasons.idle(problem, found)), left=tuple(reasons.left(problem, found))
    )


def replanned(problem: Problem, before: Sequence[Place], *, from_slot: int) -> Problem:
    """The same problem with what was done before a slot kept, and all that comes after it open again.

    What is under way when the slot begins goes on, unless its rig is out of use by then.
    """
    rigs = {rig.key: rig for rig in problem.rigs}
    kept = tuple(
        place
        for place in before
        if place.slot < from_slot
        and place.length >= problem.length_of(place.task)
        and rigs[place.rig].is_in_use(slot=place.slot, length=place.length)
    )
    return replace(problem, fixed=kept, from_slot=from_slot)


def _most(problem: Problem) -> int:
    """No plan has more places than this."""
    slots = problem.timing.slots - problem.from_slot + 1
    wanted = sum(min(slots, len(problem.wanted(team))) for team in problem.teams)
    return min(wanted, slots * sum(rig.out_from is None for rig in problem.rigs))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chance:
    """A team at a rig in the slot at hand, with the best of what it could do there."""

    team: Team
    rig: Rig
    task: str
    worth: float


def _by_slots(problem: Problem) -> list[Place]:
    placed: list[Place] = []
    for slot in range(problem.from_slot, problem.timing.slots + 1):
        placed += _in_slot(problem, [*problem.fixed, *placed], slot=slot)
    return placed


def _in_slot(problem: Problem, before: list[Place], *, slot: int) -> list[Place]:
    """The best matching of a slot within the ratios: what takes an assessor too many waits its turn."""
    passed_over: set[tuple[str, str]] = set()
    while True:
        chosen = _matching(_chances(problem, before, passed_over, slot=slot))
        places = [
            Place(
                team=each.team.key,
                rig=each.rig.key,
                task=each.task,
                slot=slot,
                length=problem.length_of(each.task),
            )
            for each in chosen
        ]
        if rules.load(problem, [*before, *places], slot=slot) <= problem.assessors:
            return places
        last = min(chosen, key=lambda each: (-problem.share_of(each.team, each.task), each.worth))
        passed_over.add((last.team.key, last.task))


def _chances(
    problem: Problem, before: Sequence[Place], passed_over: set[tuple[str, str]], *, slot: int
) -> list[_Chance]:
    taken = {place.rig for place in before if slot in place.slots}
    busy = {place.team for place in before if slot in place.slots}
    waiting = {team.key: _waiting(problem, team, before) for team in problem.teams}
    rigs_load = _to_come(problem, waiting)
    found = []
    for team in problem.teams:
        if team.key in busy:
            continue
        ready = [
            task
            for task in waiting[team.key]
            if (team.key, task) not in passed_over and _is_ready(problem, team, task, before, slot=slot)
        ]
        slots_left = sum(problem.length_of(task) for task in waiting[team.key])
        for rig in problem.rigs:
            worth = slots_left + rigs_load[rig.key]
            tasks = [task for task in ready if _fits(problem, team, rig, task, slot=slot)]
            if rig.key not in taken and tasks:
                best = min(tasks, key=lambda task: _rank(problem, team, task, waiting[team.key]))
                found.append(_Chance(team=team, rig=rig, task=best, worth=worth))
    return found


def _waiting(problem: Problem, team: Team, before: Iterable[Place]) -> list[str]:
    done = {place.task for place in before if place.team == team.key}
    return [task for task in team.wants if task not in done and any(problem.possible(team, task))]


def _to_come(problem: Problem, waiting: dict[str, list[str]]) -> dict[str, float]:
    """Slots that each rig has yet to give, where a task that several rigs offer counts in part on each."""
    loads = dict.fromkeys((rig.key for rig in problem.rigs), 0.0)
    for team in problem.teams:
        for task in waiting[team.key]:
            rigs = [rig for rig in problem.possible(team, task) if rig.out_from is None]
            for rig in rigs:
                loads[rig.key] += problem.length_of(task) / len(rigs)
    return loads


def _is_ready(problem: Problem, team: Team, task: str, before: Iterable[Place], *, slot: int) -> bool:
    done = {place.task for place in before if place.team == team.key and place.after <= slot}
    return problem.lacking(team, task) <= done


def _fits(problem: Problem, team: Team, rig: Rig, task: str, *, slot: int) -> bool:
    length = problem.length_of(task)
    return (
        task in rig.tasks
        and (rig.key, task) not in team.barred | team.unwise
        and slot + length <= problem.timing.slots + 1
        and rig.is_in_use(slot=slot, length=length)
    )


def _rank(problem: Problem, team: Team, task: str, waiting: Sequence[str]) -> tuple[int, int, int]:
    """What a team does first: what others wait for, what few rigs offer, and then the order of the course."""
    waited_for = sum(task in problem.by_key[other].requires for other in waiting)
    return -waited_for, len(list(problem.possible(team, task))), waiting.index(task)


def _matching(chances: Sequence[_Chance]) -> list[_Chance]:
    """As many teams at rigs as can be; of those matchings the one that is worth most."""
    if not chances:
        return []
    teams = list(dict.fromkeys(each.team.key for each in chances))
    rigs = list(dict.fromkeys(each.rig.key for each in chances))
    grid = np.zeros((len(teams), len(rigs)))
    known = {(teams.index(each.team.key), rigs.index(each.rig.key)): each for each in chances}
    one_more = 1.0 + 2.0 * min(len(teams), len(rigs)) * max(each.worth for each in chances)
    for (row, column), each in known.items():
        grid[row, column] = one_more + each.worth
    rows, columns = linear_sum_assignment(grid, maximize=True)
    pairs = zip(rows.tolist(), columns.tolist(), strict=True)
    return [known[pair] for pair in pairs if pair in known]
