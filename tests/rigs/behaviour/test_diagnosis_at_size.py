"""The diagnosis on many simulated runs: the right fault is named, and probabilities mean what they say.

Look-alikes are those of the trade, fixed beforehand. Every run has a rig of its own, whose figures differ
from those the engine is given by as much as a baseline leaves unknown.
"""

from dataclasses import replace

import numpy as np
import pytest

from rigs.behaviour.faults import DEGREES, Fault, faults_of
from rigs.behaviour.observations import Runs, Test
from rigs.behaviour.parameters import RigModel, characterised, drawn
from rigs.behaviour.posterior import posteriors
from rigs.behaviour.runs import Slips, simulate_runs
from tests.rigs.behaviour.boards import WHOLE, WHOLE_OF_THREE

RUNS = 2_000
RIGS = 4  # of each design, a quarter of the runs on each
# Severity of a range fault: a milder one may pass for healthy, a hole that is worse for a tube that is off.
LEAST, MOST = 0.35, 0.9

SAME_LOSS = (
    {Fault.INLET_BLOCKED, Fault.FAN_NOT_RUNNING},  # looked at, not measured
    {Fault.H_TAPPING_BLOCKED, Fault.H_TUBE_OFF, Fault.H_TUBE_KINKED},
    {Fault.L_TAPPING_BLOCKED, Fault.L_TUBE_OFF, Fault.L_TUBE_KINKED},
    {Fault.MANOMETER_REVERSED, Fault.SIGN_SLIP},
)
GROUPS = {
    2: (*SAME_LOSS, {Fault.STUCK_AT_REST, Fault.CONTACT_OPEN, Fault.WRONG_TERMINALS}),
    3: (*SAME_LOSS, {Fault.CONTACT_OPEN, Fault.WRONG_TERMINALS}),
}
SETS = {2: WHOLE, 3: WHOLE_OF_THREE}


def group_of(fault: Fault | None, terminals: int) -> int:
    """The same number for what looks alike."""
    found = [number for number, group in enumerate(GROUPS[terminals]) if fault in group]
    return found[0] if found else 100 + [None, *Fault].index(fault)


def some_rigs(terminals: int) -> list[tuple[RigModel, np.random.Generator]]:
    rigs = []
    for seed in range(RIGS):
        rng = np.random.default_rng([20260105, terminals, seed])
        rigs.append((characterised(drawn(rng, terminals=terminals), rng=rng), rng))
    return rigs


@pytest.mark.parametrize("terminals", [2, 3])
def test_with_a_whole_set_of_tests_each_fault_or_its_look_alikes_are_named(terminals) -> None:
    named = dict.fromkeys([None, *faults_of(some_rigs(terminals)[0][0].rig)], 0)
    for rig, rng in some_rigs(terminals):
        faults = faults_of(rig.rig)
        asked = np.array([group_of(each, terminals) for each in (None, *faults)])
        numbers = np.unique(asked)
        for fault in named:
            runs = simulate_runs(
                rig,
                tests=SETS[terminals],
                fault=fault,
                severity=rng.uniform(LEAST, MOST, RUNS // RIGS),
                rng=rng,
            )
            found = posteriors(rig, runs=runs, faults=faults)
            mass = np.stack([found[:, asked == number].sum(axis=1) for number in numbers], axis=1)
            named[fault] += int((numbers[mass.argmax(axis=1)] == group_of(fault, terminals)).sum())
    short = {str(fault): hits / RUNS for fault, hits in named.items() if hits < 0.99 * RUNS}
    assert not short


def some_sets(tests: tuple[Test, ...], rng: np.random.Generator, count: int) -> list[list[int]]:
    return [
        sorted(rng.choice(len(tests), size=rng.integers(1, 10), replace=False).tolist()) for _ in range(count)
    ]


def matched(
    rig: RigModel, tests: tuple[Test, ...], size: int, rng: np.random.Generator
) -> tuple[list[int], list[Runs]]:
    """Runs whose faults, severities and slips are as likely as the engine takes them to be."""
    truths, found = [], []
    drawn_faults = rng.integers(0, 1 + len(faults_of(rig.rig)), size)
    for number in np.unique(drawn_faults):
        fault = (None, *faults_of(rig.rig))[number]
        count = int((drawn_faults == number).sum())
        low = -1.0 if fault is Fault.MANOMETER_NOT_ZEROED else 0.0
        found.append(
            simulate_runs(
                rig,
                tests=tests,
                fault=fault,
                severity=rng.uniform(low, 1, count) if fault in DEGREES else np.full(count, 0.5),
                rng=rng,
                slips=Slips(contacts=0.03, pressures=0.03),
            )
        )
        truths += [int(number)] * count
    return truths, found


def test_on_part_of_the_tests_stated_probabilities_come_true() -> None:
    sets, size = 20, 500
    stated, right = [], []
    for terminals in (2, 3):
        rig, rng = some_rigs(terminals)[0]
        for columns in some_sets(SETS[terminals], rng, sets):
            tests = tuple(SETS[terminals][column] for column in columns)
            truths, parts = matched(rig, tests, size, rng)
            runs = replace(
                parts[0],
                values=np.concatenate([part.values for part in parts]),
                states=np.concatenate([part.states for part in parts]),
            )
            found = posteriors(rig, runs=runs, faults=faults_of(rig.rig))
            best = found.argmax(axis=1)
            stated.append(found[np.arange(len(found)), best])
            right.append(best == np.array(truths))
    probabilities, hits = np.concatenate(stated), np.concatenate(right)
    assert len(hits) == 20_000
    assert expected_calibration_error(probabilities, hits) <= 0.02
    assert abs(probabilities.mean() - hits.mean()) < 0.01


def expected_calibration_error(stated: np.ndarray, right: np.ndarray, *, bins: int = 15) -> float:
    """Σ share of a bin × |mean stated − share right|, bins of equal width (Guo et al. 2017, from memory)."""
    bin_of = np.minimum((stated * bins).astype(int), bins - 1)
    return sum(
        abs(stated[bin_of == each].sum() - right[bin_of == each].sum()) / len(stated) for each in range(bins)
    )
