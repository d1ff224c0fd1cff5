"""Which faults some tests can't tell apart on one rig."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from scipy.special import expit

from rigs.behaviour.explanations import Marks, explain
from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Manometry, Runs, Test
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.posterior import SLIP, asked_about, log_joint
from rigs.behaviour.runs import Slips, simulate_runs
from rigs.behaviour.venturi import Column

ALIKE = 1 / 6  # of two faults, left to the wrong one on average (common practice, no source)
LEAST = 0.35  # severity: a range fault that is milder than this may pass for a healthy rig
RUNS = 120
SEED = 20260105  # the same rig and tests always give the same groups


def groups(
    rig: RigModel,
    *,
    tests: Sequence[Test],
    faults: Sequence[Fault],
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> tuple[frozenset[Fault | None], ...]:
    """Nothing wrong and the faults, in groups that the tests can't tell apart on this rig.

    Two are alike if readings simulated under the one leave, of the two, more than `ALIKE` to the other, on
    average over rigs such as this may be and over severities from `LEAST` to the worst. What is alike to the
    same one is in one group. A test that stands there twice is done twice.
    """
    asked = asked_about(faults)
    near = _near(rig, tuple(tests), asked, slip, manometer or Manometry())
    group = np.arange(len(asked))
    for one, other in zip(*np.nonzero(near), strict=True):
        group[group == group[other]] = group[one]
    return tuple(
        frozenset(fault for fault, number in zip(asked, group, strict=True) if number == wanted)
        for wanted in dict.fromkeys(group)
    )


def alike(
    rig: RigModel,
    *,
    fault: Fault | None,
    tests: Sequence[Test],
    faults: Sequence[Fault],
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> frozenset[Fault | None]:
    """The group of one fault, itself in it. Alone in its group, a fault asked about is told apart."""
    found = groups(rig, tests=tests, faults=faults, slip=slip, manometer=manometer)
    return next((group for group in found if fault in group), frozenset({fault}))


def told_apart(
    rig: RigModel,
    *,
    fault: Fault | None,
    tests: Sequence[Test],
    faults: Sequence[Fault],
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> bool:
    """Whether these tests tell a fault from every other, and from nothing being wrong."""
    group = alike(rig, fault=fault, tests=tests, faults=faults, slip=slip, manometer=manometer)
    return group == {fault}


@lru_cache(maxsize=64)
def _near(
    rig: RigModel,
    tests: tuple[Test, ...],
    asked: tuple[Fault | None, ...],
    slip: float,
    manometer: Manometry,
) -> Marks:
    """Which two are alike, either way about: (faults × faults)."""
    severity = LEAST + (1 - LEAST) * (np.arange(RUNS) + 0.5) / RUNS
    left = []
    for number, fault in enumerate(asked):
        runs = simulate_runs(
            rig,
            tests=tests,
            fault=fault,
            severity=severity,
            rng=np.random.default_rng(SEED),
            manometer=manometer,
            slips=Slips(contacts=0.0),
        )
        left.append(_left_to_others(rig, runs, asked, number, slip))
    both = np.array(left)
    return np.asarray((both > ALIKE) | (both.T > ALIKE))


def _left_to_others(
    rig: RigModel, runs: Runs, asked: tuple[Fault | None, ...], number: int, slip: float
) -> Column:
    """What readings under one fault leave, on average, to each other one if it were those two only."""
    logs = log_joint(rig, runs=runs, faults=[each for each in asked if each is not None], slip=slip)
    by_fault = np.logaddexp.reduceat(logs, explain(rig, tests=(), faults=asked).starts, axis=1)
    return np.asarray(expit(by_fault - by_fault[:, [number]]).mean(axis=0))
