"""Many runs of the same tests at once, sampled from the same model as `simulation`."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigs.behaviour.explanations import STATES, states_shown
from rigs.behaviour.faults import STAYS_AT_REST, Fault
from rigs.behaviour.likelihood import AS_FAR, FAR
from rigs.behaviour.observations import Manometry, Runs, Test
from rigs.behaviour.parameters import RigModel, many_of
from rigs.behaviour.prediction import HUNDRED, SWITCH_POINTS, as_written, can_be_read, level, noise
from rigs.behaviour.pressures import pressures
from rigs.behaviour.venturi import Column, Condition, Position, TestPoint, VenturiRig
from rigs.metrology.conformity import CONTACT_STATES

AS_CODES = np.array([CONTACT_STATES.index(state) for state in STATES], dtype=np.int8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slips:
    """How often something is written down otherwise than it was: a contact's state, a pressure."""

    contacts: float = 0.03
    pressures: float = 0.0


def simulate_runs(
    known: RigModel,
    *,
    tests: Sequence[Test],
    fault: Fault | None,
    severity: Column,
    rng: np.random.Generator,
    manometer: Manometry | None = None,
    slips: Slips | None = None,
    coming_from: Position | None = None,
) -> Runs:
    """As many runs as there are severities, each on a rig of its own drawn from what is known of this one.

    The switch stands the same way all through a condition; without ``coming_from``, where it came from is
    drawn too. Half of the instrument's variance is the same error all through a run. What a pressure that is
    a slip may be, see `likelihood.log_slip`; a make point is then found where there is none, or missed.
    """
    slips, manometer = slips or Slips(), manometer or Manometry()
    bench = _Bench(known=known, fault=fault, severity=severity, rng=rng, slips=slips)
    u = np.array([_instrument_u(known.rig, test, manometer) for test in tests])
    standing = {
        condition: bench.operated(condition, coming_from)
        for condition in dict.fromkeys(test.condition for test in tests)
    }
    shape = len(severity), len(tests)
    values, states = np.full(shape, math.nan), np.full(shape, -1, dtype=np.int8)
    shared = rng.normal(size=len(severity))
    for column, test in enumerate(tests):
        if test.is_contact:
            states[:, column] = bench.states(test, standing[test.condition])
        else:
            values[:, column] = bench.pressures(test, u=u[column], shared=shared)
    return Runs(
        tests=tuple(tests), values=values, states=states, u=u, coming_from=(coming_from,) * len(tests)
    )


def _instrument_u(rig: VenturiRig, test: Test, manometer: Manometry) -> float:
    return 0.0 if test.is_contact else manometer.u(level(rig, condition=test.condition, at=test.at))


class _Bench:
    """Rigs of which each has the same fault in a severity of its own, and chance."""

    def __init__(
        self,
        *,
        known: RigModel,
        fault: Fault | None,
        severity: Column,
        rng: np.random.Generator,
        slips: Slips,
    ) -> None:
        self.rig, self.fault, self.severity = known.rig, fault, severity
        self.known, self.rng, self.slips = known, rng, slips
        self.size = len(severity)
        self.rigs = many_of(known, rng=rng, size=self.size)

    def operated(self, condition: Condition, coming_from: Position | None) -> NDArray[np.bool_]:
        if self.fault in STAYS_AT_REST:
            return np.zeros(self.size, dtype=bool)
        if self.fault is Fault.CONTACT_WELDED or condition is Condition.HAND_PUMP:
            return np.ones(self.size, dtype=bool)
        written = as_written(condition, self.fault)
        truth = pressures(self.rigs, condition=written, fault=self.fault, severity=self.severity).ports
        found = self._noisy(truth, *noise(self.rig, condition=condition, at=TestPoint.PORTS))
        was = self.rng.random(self.size) < 0.5 if coming_from is None else coming_from is Position.OPERATED
        return np.asarray(found >= np.where(was, self.rigs.break_, self.rigs.make))

    def states(self, test: Test, standing: NDArray[np.bool_]) -> NDArray[np.int8]:
        at_rest, moved = states_shown(self.known, tests=(test,), faults=(self.fault,))[0, 0]
        there = np.where(standing, moved, at_rest)
        other = (there + self.rng.integers(1, len(STATES), self.size)) % len(STATES)
        return np.asarray(AS_CODES[np.where(self._slipping(self.slips.contacts), other, there)])

    def pressures(self, test: Test, *, u: float, shared: Column) -> Column:
        times = HUNDRED if self.fault is Fault.UNIT_SLIP else 1
        found = np.full(self.size, math.nan)
        if can_be_read(test.at, fault=self.fault):
            truth = level(
                self.rigs,
                condition=test.condition,
                at=test.at,
                fault=self.fault,
                severity=self.severity,
            )
            fixed, share = noise(self.rig, condition=test.condition, at=test.at)
            found = self._noisy(truth, times * fixed, share)
        found = found + times * u * (shared + self.rng.normal(size=self.size)) / math.sqrt(2)
        return self._written(test, found)

    def _written(self, test: Test, found: Column) -> Column:
        far = AS_FAR * self.rig.running * np.where(self._slipping(0.5), FAR, 1.0)
        anything = self.rng.uniform(-far, far)
        if test.at in SWITCH_POINTS:
            mistaken = np.where(np.isfinite(found), math.nan, anything)
            found = np.where(self._slipping(self.slips.contacts), mistaken, found)
        slipping = self._slipping(self.slips.pressures) & np.isfinite(found)
        return np.where(slipping, anything, found)

    def _noisy(self, truth: Column, fixed: float, share: float) -> Column:
        return np.asarray(self.rng.normal(truth, np.hypot(fixed, share * truth)))

    def _slipping(self, share: float) -> NDArray[np.bool_]:
        return np.asarray(self.rng.random(self.size) < share)
