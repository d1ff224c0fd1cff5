"""A rotation as an integer programme: x = 1 where a team begins a task at a rig in a slot."""

from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from assessments.rotation.problem import Place, Problem, Team

LARGEST = 6000
"""Columns up to which it is tried: beyond, looking takes too long for somebody who waits."""
NODES = 400
"""Branches that are looked at, so that the same problem takes as long and gives the same each time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """Σ coefficient · x ≤ most."""

    columns: tuple[int, ...]
    coefficients: tuple[float, ...]
    most: float


def places(problem: Problem) -> list[Place]:
    """The most places that keep every rule; none where the problem is too large or has none."""
    columns = list(_columns(problem))
    if not columns or len(columns) > LARGEST:
        return []
    rows = list(_rows(problem, columns))
    shape = len(rows), len(columns)
    at = [(number, column) for number, row in enumerate(rows) for column in row.columns]
    values = [coefficient for row in rows for coefficient in row.coefficients]
    matrix = coo_array((values, tuple(zip(*at, strict=True))), shape=shape)
    found = milp(
        _cost(problem, columns),
        integrality=np.ones(len(columns)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix.tocsr(), ub=np.array([row.most for row in rows])),
        options={"node_limit": NODES},
    )
    if found.x is None:
        return []
    return [place for place, x in zip(columns, found.x, strict=True) if x > 0.5]


def _columns(problem: Problem) -> Iterator[Place]:
    for team in problem.teams:
        for task in problem.wanted(team):
            length = problem.length_of(task)
            for rig in problem.possible(team, task):
                for slot in range(problem.from_slot, problem.timing.slots - length + 2):
                    if rig.is_in_use(slot=slot, length=length):
                        yield Place(team=team.key, rig=rig.key, task=task, slot=slot, length=length)


def _cost(problem: Problem, columns: Sequence[Place]) -> np.ndarray:
    """One place more is worth more than any order; then what is earlier, in the order of the course."""
    order = {(team.key, task): n for team in problem.teams for n, task in enumerate(team.wants)}
    most = max(len(team.wants) for team in problem.teams) * problem.timing.slots
    earlier = [place.slot * (1 + order[place.team, place.task] / most) for place in columns]
    return np.array([-1.0 + each / (4 * problem.timing.slots * len(columns)) for each in earlier])


def _rows(problem: Problem, columns: Sequence[Place]) -> Iterator[_Row]:
    yield from _once(columns, lambda place: [(place.team, place.task)], taken=set())
    fixed = [(place, slot) for place in problem.fixed for slot in place.slots]
    yield from _once(
        columns,
        lambda place: [(place.team, slot) for slot in place.slots],
        taken={(place.team, slot) for place, slot in fixed},
    )
    yield from _once(
        columns,
        lambda place: [(place.rig, slot) for slot in place.slots],
        taken={(place.rig, slot) for place, slot in fixed},
    )
    yield from _ratios(problem, columns)
    for team in problem.teams:
        yield from _in_order(problem, columns, team)


def _once(
    columns: Sequence[Place], keys: Callable[[Place], Sequence[Hashable]], *, taken: Collection[Hashable]
) -> Iterator[_Row]:
    """Each key in one place at most; one that is taken already in none."""
    by_key: dict[Hashable, list[int]] = {}
    for number, place in enumerate(columns):
        for key in keys(place):
            by_key.setdefault(key, []).append(number)
    for key, numbers in by_key.items():
        most = 0.0 if key in taken else 1.0
        yield _Row(columns=tuple(numbers), coefficients=(1.0,) * len(numbers), most=most)


def _ratios(problem: Problem, columns: Sequence[Place]) -> Iterator[_Row]:
    teams = {team.key: team for team in problem.teams}
    for slot in range(problem.from_slot, problem.timing.slots + 1):
        held = sum(
            problem.share_of(teams[each.team], each.task) for each in problem.fixed if slot in each.slots
        )
        inside = [(number, place) for number, place in enumerate(columns) if slot in place.slots]
        shares = [problem.share_of(teams[place.team], place.task) for _, place in inside]
        if inside and held + sum(shares) > problem.assessors:
            yield _Row(
                columns=tuple(number for number, _ in inside),
                coefficients=tuple(float(each) for each in shares),
                most=float(problem.assessors - held) + 1e-9,
            )


def _in_order(problem: Problem, columns: Sequence[Place], team: Team) -> Iterator[_Row]:
    """What a task requires is over before it begins: in each slot, begun ≤ those over by then."""
    mine = [(number, place) for number, place in enumerate(columns) if place.team == team.key]
    for task in {place.task for _, place in mine}:
        for required in sorted(problem.lacking(team, task)):
            over = [each.after for each in problem.fixed if each.team == team.key and each.task == required]
            for slot in range(problem.from_slot, problem.timing.slots + 1):
                if any(after <= slot for after in over):
                    continue
                begun = [number for number, place in mine if place.task == task and place.slot == slot]
                done = [number for number, place in mine if place.task == required and place.after <= slot]
                yield _Row(
                    columns=(*begun, *done),
                    coefficients=(1.0,) * len(begun) + (-1.0,) * len(done),
                    most=0.0,
                )
