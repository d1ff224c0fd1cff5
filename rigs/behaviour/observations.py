"""What was seen at a rig: which tests there are, one of them done, and the same tests done in many runs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from rigs.behaviour.contacts import LEADS, NC_POINTS
from rigs.behaviour.prediction import CONTACT_POINTS, SWITCH_POINTS
from rigs.behaviour.venturi import Column, Condition, Position, TestPoint
from rigs.metrology.conformity import CONTACT_STATES, ContactState

READ_THERE = {
    Condition.ISOLATED: frozenset({TestPoint.CONTACTS, TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO, *LEADS}),
    Condition.HAND_PUMP: frozenset(
        {TestPoint.PORTS, TestPoint.CONTACTS, TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO, *SWITCH_POINTS}
    ),
}


class ObservationError(ValueError):
    """Something that can't have been seen there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One thing to measure: a test point in a condition."""

    __test__: ClassVar[bool] = False  # the name is the trade's; pytest is not to collect it

    condition: Condition
    at: TestPoint

    @classmethod
    def of(cls, key: str) -> Self:
        """The test that a measurand's key names: “ports/fan-running”. ObservationError for any other text."""
        at, _, condition = key.partition("/")
        if at not in set(TestPoint) or condition not in set(Condition):
            raise ObservationError(f"“{key}” names no test point and condition that the model knows.")
        return cls(condition=Condition(condition), at=TestPoint(at))

    @property
    def key(self) -> str:
        return f"{self.at}/{self.condition}"

    @property
    def is_contact(self) -> bool:
        return self.at in CONTACT_POINTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """One test done: a pressure in Pa with the instrument's standard uncertainty, or a state of contacts.

    A state has the leads taken off. ``absent`` says of a make or break point that none could be found.
    ``coming_from`` is where the switch stood before, if that is known. Raises ObservationError for what
    doesn't fit the test point.
    """

    condition: Condition
    at: TestPoint
    value: float | None = None
    state: ContactState | None = None
    u: float = 0.0
    coming_from: Position | None = None
    absent: bool = False

    def __post_init__(self) -> None:
        if (self.value is not None) + (self.state is not None) + self.absent != 1:
            raise ObservationError(
                f"{self.at} needs one of a pressure, a state, or the word that it was absent."
            )
        if self.absent and self.at not in SWITCH_POINTS:
            raise ObservationError("Only a make or a break point can be absent: leave the reading out.")
        if not self.absent and (self.state is not None) != self.test.is_contact:
            raise ObservationError(
                f"{self.at} is read as {'a state' if self.test.is_contact else 'a pressure'}."
            )
        if not (math.isfinite(self.value or 0.0) and math.isfinite(self.u) and self.u >= 0):
            raise ObservationError(f"{self.at} needs a pressure and an uncertainty that are numbers.")
        if self.at in SWITCH_POINTS and self.condition is not Condition.HAND_PUMP:
            raise ObservationError("Make and break points are found with a hand pump.")

    @property
    def test(self) -> Test:
        return Test(condition=self.condition, at=self.at)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manometry:
    """How well a pressure still to be read will be known: u² = ``fixed``² + (``share`` × p)², in Pa.

    By default a display of 1 Pa in its last digit, two of which and half a per cent are its specification.
    """

    fixed: float = 1.2
    share: float = 0.003

    def u(self, pressure: float) -> float:
        return math.hypot(self.fixed, self.share * pressure)


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """The same tests done in many runs, a column each; a test may stand there more than once.

    ``values`` (runs × tests) in Pa; NaN for contacts, for a make or break point that wasn't to be found, and
    for a pressure that wasn't read in that run. ``states`` (runs × tests) indexes `CONTACT_STATES`, −1 for
    none. ``u`` (tests) is the instrument's standard uncertainty in Pa. ``coming_from`` (tests) is where the
    switch stood before, None where that isn't known.
    """

    tests: tuple[Test, ...]
    values: Column
    states: NDArray[np.int8]
    u: Column
    coming_from: tuple[Position | None, ...]

    def __len__(self) -> int:
        return len(self.values)

    def only(self, columns: Sequence[int]) -> "Runs":
        """The same runs with some of their tests alone."""
        kept = list(columns)
        return Runs(
            tests=tuple(self.tests[each] for each in kept),
            values=self.values[:, kept],
            states=self.states[:, kept],
            u=self.u[kept],
            coming_from=tuple(self.coming_from[each] for each in kept),
        )


def one_run(observed: Sequence[Observed]) -> Runs:
    """What was observed at one rig, as a single run."""
    return Runs(
        tests=tuple(each.test for each in observed),
        values=np.array([[math.nan if each.value is None else each.value for each in observed]]),
        states=np.array(
            [[-1 if each.state is None else CONTACT_STATES.index(each.state) for each in observed]],
            dtype=np.int8,
        ),
        u=np.array([each.u for each in observed]),
        coming_from=tuple(each.coming_from for each in observed),
    )


def tests_of(terminals: int) -> tuple[Test, ...]:
    """Every test that can be done on a switch with as many terminals."""
    return tuple(
        Test(condition=condition, at=at)
        for condition in Condition
        for at in TestPoint
        if at in READ_THERE.get(condition, frozenset(TestPoint) - SWITCH_POINTS)
        and (terminals == 3 or at not in NC_POINTS)
    )
