"""What every plan keeps to, and what of it a given set of places breaks."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assessments.rotation.problem import Place, Problem, Team


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A rule that a place breaks, in words."""

    place: Place
    words: str


def broken(problem: Problem, places: Sequence[Place]) -> tuple[Broken, ...]:
    """Every rule that is broken, in the order of the places."""
    return (
        *_twice(places),
        *(each for place in places for each in _alone(problem, place)),
        *_out_of_order(problem, places),
        *_crowded(problem, places),
    )


def unwise(problem: Problem, places: Sequence[Place]) -> tuple[Broken, ...]:
    """What breaks no rule, but that somebody should have a reason for."""
    return tuple(each for place in places for each in _unwise(problem, places, place))


def _unwise(problem: Problem, places: Sequence[Place], place: Place) -> Iterator[Broken]:
    team = _teams(problem)[place.team]
    title = problem.by_key[place.task].title
    if (place.rig, place.task) in team.unwise:
        yield Broken(place=place, words=f"{team.name} did {title} on this rig the last time")
    if place.task not in team.wants:
        yield Broken(place=place, words=f"{team.name} has {title} already")
    again = [each for each in places if (each.team, each.task) == (place.team, place.task)]
    if again[0] != place:
        yield Broken(place=place, words=f"{team.name} would do {title} twice")


def load(problem: Problem, places: Sequence[Place], *, slot: int) -> Fraction:
    """How many assessors the work of a slot takes."""
    teams = _teams(problem)
    return sum(
        (problem.share_of(teams[each.team], each.task) for each in places if slot in each.slots), Fraction()
    )


def _teams(problem: Problem) -> dict[str, Team]:
    return {team.key: team for team in problem.teams}


def _twice(places: Sequence[Place]) -> Iterator[Broken]:
    teams: Counter[tuple[str, int]] = Counter()
    rigs: Counter[tuple[str, int]] = Counter()
    for place in places:
        for slot in place.slots:
            teams[place.team, slot] += 1
            rigs[place.rig, slot] += 1
        if any(teams[place.team, slot] > 1 for slot in place.slots):
            yield Broken(place=place, words="somebody would be at two places at once")
        if any(rigs[place.rig, slot] > 1 for slot in place.slots):
            yield Broken(place=place, words="the rig would be used twice in one slot")


def _alone(problem: Problem, place: Place) -> Iterator[Broken]:
    """What a place breaks by itself."""
    team = _teams(problem)[place.team]
    rig = next(each for each in problem.rigs if each.key == place.rig)
    title = problem.by_key[place.task].title
    if place.task not in rig.tasks:
        yield Broken(place=place, words=f"{title} isn’t done on {rig.tag}")
    if (place.rig, place.task) in team.barred:
        yield Broken(place=place, words=f"{team.name} can’t be assessed on {title} on {rig.tag}")
    if not rig.is_in_use(slot=place.slot, length=place.length):
        yield Broken(place=place, words=f"{rig.tag} is out of use then")
    if place.after > problem.timing.slots + 1 or place.length < problem.length_of(place.task):
        yield Broken(place=place, words=f"{title} doesn’t fit there")


def _out_of_order(problem: Problem, places: Sequence[Place]) -> Iterator[Broken]:
    teams = _teams(problem)
    for place in places:
        before = {each.task for each in places if each.team == place.team and each.after <= place.slot}
        missing = problem.lacking(teams[place.team], place.task) - before
        for task in sorted(missing):
            title = problem.by_key[task].title if task in problem.by_key else task
            yield Broken(place=place, words=f"{title} must come before {problem.by_key[place.task].title}")


def _crowded(problem: Problem, places: Sequence[Place]) -> Iterator[Broken]:
    for slot in range(1, problem.timing.slots + 1):
        if load(problem, places, slot=slot) > problem.assessors:
            last = [place for place in places if slot in place.slots][-1]
            yield Broken(place=last, words=f"slot {slot} needs more assessors than there are")
