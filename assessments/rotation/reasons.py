"""Why a team has nothing to do in a slot, and why a task has no place."""

from collections.abc import Iterator, Sequence

from assessments.rotation import rules
from assessments.rotation.problem import Idle, Left, Place, Problem, Team

WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def in_words(number: int) -> str:
    return WORDS[number] if number < len(WORDS) else str(number)


def idle(problem: Problem, places: Sequence[Place]) -> Iterator[Idle]:
    """Each team in each slot that is still to be planned and in which it has no place."""
    for team in problem.teams:
        for slot in range(problem.from_slot, problem.timing.slots + 1):
            if not any(place.team == team.key and slot in place.slots for place in places):
                yield Idle(team=team.key, slot=slot, because=_why_idle(problem, places, team, slot=slot))


def left(problem: Problem, places: Sequence[Place]) -> Iterator[Left]:
    for team in problem.teams:
        placed = {place.task for place in places if place.team == team.key}
        for task in team.wants:
            if task not in placed:
                yield Left(team=team.key, task=task, because=_why_left(problem, places, team, task))


def _why_idle(problem: Problem, places: Sequence[Place], team: Team, *, slot: int) -> str:
    done = {place.task for place in places if place.team == team.key and place.slot < slot}
    left_over = [task for task in team.wants if task not in done]
    if not left_over:
        return "nothing is left to do"
    ahead = [task for task in left_over if any(problem.possible(team, task))]
    if not ahead:
        return "no rig here has what is left"
    ready = [task for task in ahead if problem.lacking(team, task) <= done]
    if not ready:
        return "what is left waits for another task first"
    return _why_not_now(problem, places, team, ready, slot=slot)


def _why_not_now(
    problem: Problem, places: Sequence[Place], team: Team, ready: Sequence[str], *, slot: int
) -> str:
    """Why a team does none of what it could do by now."""
    taken = {place.rig for place in places if slot in place.slots}
    free = [
        task
        for task in ready
        for rig in problem.possible(team, task)
        if rig.key not in taken and rig.is_in_use(slot=slot, length=problem.length_of(task))
    ]
    fitting = [task for task in free if slot + problem.length_of(task) <= problem.timing.slots + 1]
    if not free:
        return "the rigs for what is left are taken or out of use"
    if not fitting:
        return "what is left is too long for the slots that remain"
    if all(_crowds(problem, places, team, task, slot=slot) for task in fitting):
        return "the assessors have as many candidates as the ratio allows"
    later = any(place.team == team.key and place.slot > slot for place in places)
    return "the rest is planned in other slots" if later else "the rigs are needed by others then"


def _crowds(problem: Problem, places: Sequence[Place], team: Team, task: str, *, slot: int) -> bool:
    """Whether this task in this slot would take more assessors than there are."""
    return rules.load(problem, places, slot=slot) + problem.share_of(team, task) > problem.assessors


def _why_left(problem: Problem, places: Sequence[Place], team: Team, task: str) -> str:
    for reason in (_no_rig, _too_long, _out_of_use, _waits_for_another, _takes_too_many, _no_turn):
        why = reason(problem, places, team, task)
        if why is not None:
            return why
    return "no rig for it is free when its turn could be"


def _no_rig(problem: Problem, _places: Sequence[Place], team: Team, task: str) -> str | None:
    if not any(task in rig.tasks for rig in problem.rigs):
        return "none of these rigs has this task"
    if not any(problem.possible(team, task)):
        return "can’t be assessed on any of the rigs that have it"
    return None


def _too_long(problem: Problem, places: Sequence[Place], team: Team, task: str) -> str | None:
    length, timing = problem.length_of(task), problem.timing
    never = length > timing.slots - problem.from_slot + 1
    if never or (length > 1 and not _gap(problem, places, team, task)):
        minutes = problem.by_key[task].minutes
        return f"a {minutes}-minute task needs {in_words(length)} slots of {timing.working_minutes}"
    return None


def _out_of_use(problem: Problem, _places: Sequence[Place], team: Team, task: str) -> str | None:
    rigs, length = list(problem.possible(team, task)), problem.length_of(task)
    if any(rig.is_in_use(slot=problem.from_slot, length=length) for rig in rigs):
        return None
    return f"{' and '.join(rig.tag for rig in rigs)} {'is' if len(rigs) == 1 else 'are'} out of use"


def _waits_for_another(problem: Problem, places: Sequence[Place], team: Team, task: str) -> str | None:
    planned = {place.task for place in places if place.team == team.key}
    missing = sorted(problem.lacking(team, task) - planned)
    titles = (problem.by_key[each].title if each in problem.by_key else each for each in missing)
    return f"needs {' and '.join(titles)} first" if missing else None


def _takes_too_many(problem: Problem, _places: Sequence[Place], team: Team, task: str) -> str | None:
    if problem.share_of(team, task) <= problem.assessors:
        return None
    most = problem.by_key[task].per_assessor
    return f"one assessor to {in_words(most)} candidate{'' if most == 1 else 's'}: there aren’t enough"


def _no_turn(problem: Problem, places: Sequence[Place], team: Team, task: str) -> str | None:
    slots = range(problem.from_slot, problem.timing.slots + 1)
    if all(_is_busy(places, team, slot) for slot in slots):
        return "no slot is left: other tasks come first"
    if _has_a_free_rig(problem, places, team, task):
        return "the assessors have as many candidates as the ratio allows"
    return None


def _has_a_free_rig(problem: Problem, places: Sequence[Place], team: Team, task: str) -> bool:
    """Whether a rig stands free in a slot in which the team has nothing to do."""
    free = [
        (rig, slot)
        for slot in range(problem.from_slot, problem.timing.slots + 1)
        if not _is_busy(places, team, slot)
        for rig in problem.possible(team, task)
        if rig.is_in_use(slot=slot, length=1)
    ]
    return any(not any(p.rig == rig.key and slot in p.slots for p in places) for rig, slot in free)


def _gap(problem: Problem, places: Sequence[Place], team: Team, task: str) -> bool:
    """Whether the team has as many free slots in a row as a task takes."""
    length = problem.length_of(task)
    return any(
        not any(_is_busy(places, team, slot) for slot in range(start, start + length))
        for start in range(problem.from_slot, problem.timing.slots - length + 2)
    )


def _is_busy(places: Sequence[Place], team: Team, slot: int) -> bool:
    return any(place.team == team.key and slot in place.slots for place in places)
