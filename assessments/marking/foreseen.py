"""What a test should read on one rig under one fault: a span of pressures, or the states of a contact."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from rigs.behaviour.explanations import STATES, UNKNOWN, explain, operated, states_shown
from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Test
from rigs.behaviour.parameters import RigModel
from rigs.metrology.conformity import ContactState

COVERAGE: Final = 2.0
"""Standard deviations that a span of pressures reaches beyond its middle, or beyond a range fault's ends."""
SELDOM: Final = 0.02
"""A state that is less likely than this isn't foreseen (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """A pressure is normal with ``sd`` about some level from ``lower`` to ``upper``, in Pa.

    The uncertainty of the rig's figures and a reading's own noise are in ``sd``, the instrument's u isn't. A
    contact shows one of ``states``. With neither there is nothing to be had there.
    """

    test: Test
    lower: float | None = None
    upper: float | None = None
    sd: float = 0.0
    states: tuple[ContactState, ...] = ()

    @property
    def span(self) -> tuple[float, float] | None:
        """From where to where a pressure is nearly always read, in Pa."""
        if self.lower is None or self.upper is None:
            return None
        return self.lower - COVERAGE * self.sd, self.upper + COVERAGE * self.sd

    def zeta(self, *, value: float, u: float) -> float | None:
        """How far a pressure in Pa, read with standard uncertainty ``u``, is from what is foreseen."""
        if self.lower is None or self.upper is None:
            return None
        away = value - min(max(value, self.lower), self.upper)
        return away / math.hypot(self.sd, u)


def foreseen(model: RigModel, *, test: Test, fault: Fault | None) -> Foreseen:
    """RigError for terminals that the rig hasn't."""
    if test.is_contact:
        return Foreseen(test=test, states=_states(model, test, fault))
    found = explain(model, tests=(test,), faults=(fault,))
    if not found.readable.any():
        return Foreseen(test=test)
    level, known = found.mean[:, 0], found.slopes[:, 0, :UNKNOWN]
    sd = np.sqrt(found.own_sd[:, 0] ** 2 + (known**2).sum(axis=1))
    return Foreseen(test=test, lower=float(level.min()), upper=float(level.max()), sd=float(sd.max()))


def _states(model: RigModel, test: Test, fault: Fault | None) -> tuple[ContactState, ...]:
    likely = operated(model, visits=((test.condition, None),), faults=(fault,))[:, 0]
    at_rest, made = states_shown(model, tests=(test,), faults=(fault,))[0, 0]
    found = set()
    if (likely < 1 - SELDOM).any():
        found.add(STATES[at_rest])
    if (likely > SELDOM).any():
        found.add(STATES[made])
    return tuple(state for state in STATES if state in found)
