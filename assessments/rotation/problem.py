"""What is to be planned, and a plan."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from assessments.rotation.timing import Timing


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """``per_assessor`` candidates at most to one assessor while they do it; ``requires`` comes before it."""

    key: str
    title: str
    minutes: int
    per_assessor: int
    requires: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.minutes < 0 or self.per_assessor < 1:
            raise ValueError("A task takes time, and an assessor has one candidate at the least.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """``tasks`` can be done on it; from slot ``out_from`` on it is out of use."""

    key: str
    tag: str
    tasks: frozenset[str]
    out_from: int | None = None

    def is_in_use(self, *, slot: int, length: int) -> bool:
        return self.out_from is None or slot + length <= self.out_from


@dataclass(frozen=True, slots=True, kw_only=True)
class Team:
    """Candidates who go round together: one, or a pair.

    It ``wants`` what at least one of them still has before them, in the order of the course, and ``has`` what
    all of them have. ``barred`` are rigs on which they can't be assessed on a task, as (rig, task); those
    that are ``unwise`` a plan leaves out, but somebody may choose them.
    """

    key: str
    name: str
    size: int
    wants: tuple[str, ...]
    has: frozenset[str] = frozenset()
    barred: frozenset[tuple[str, str]] = frozenset()
    unwise: frozenset[tuple[str, str]] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A team at a rig, doing a task for ``length`` slots from ``slot`` on."""

    team: str
    rig: str
    task: str
    slot: int
    length: int = 1

    @property
    def slots(self) -> range:
        return range(self.slot, self.slot + self.length)

    @property
    def after(self) -> int:
        """The first slot that is free again."""
        return self.slot + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """``fixed`` places stay, and nothing is planned before ``from_slot``."""

    timing: Timing
    tasks: tuple[Task, ...]
    rigs: tuple[Rig, ...]
    teams: tuple[Team, ...]
    assessors: int
    fixed: tuple[Place, ...] = ()
    from_slot: int = 1
    by_key: Mapping[str, Task] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_key", {task.key: task for task in self.tasks})

    def length_of(self, task: str) -> int:
        return self.timing.slots_for(self.by_key[task].minutes)

    def share_of(self, team: Team, task: str) -> Fraction:
        """How much of one assessor a team takes while it does a task."""
        return Fraction(team.size, self.by_key[task].per_assessor)

    def wanted(self, team: Team) -> tuple[str, ...]:
        """What of a team's wants isn't among the fixed places."""
        fixed = {place.task for place in self.fixed if place.team == team.key}
        return tuple(task for task in team.wants if task not in fixed)

    def possible(self, team: Team, task: str) -> Iterator[Rig]:
        """The rigs that a plan takes for this team and a task."""
        out = team.barred | team.unwise
        return (rig for rig in self.rigs if task in rig.tasks and (rig.key, task) not in out)

    def lacking(self, team: Team, task: str) -> frozenset[str]:
        """Prerequisites that the team has not, whether or not they are planned."""
        return self.by_key[task].requires - team.has


@dataclass(frozen=True, slots=True, kw_only=True)
class Idle:
    """A team with nothing to do in a slot, and why."""

    team: str
    slot: int
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What a team wants and the plan has no place for, and why."""

    team: str
    task: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Places in the order of slots, then of rigs."""

    places: tuple[Place, ...]
    idle: tuple[Idle, ...]
    left: tuple[Left, ...]
