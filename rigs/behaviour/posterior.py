"""Which fault it is, from what was seen: the posterior over faults, and over nothing being wrong."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigs.behaviour.explanations import STATES, explain, operated, states_shown
from rigs.behaviour.faults import Fault
from rigs.behaviour.likelihood import AS_FAR, FAR, log_levels, log_slip, together
from rigs.behaviour.observations import Observed, Runs, one_run
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.prediction import SWITCH_POINTS
from rigs.behaviour.venturi import Column, RigError
from rigs.metrology.conformity import CONTACT_STATES, ContactState

SLIP = 0.03  # of readings, written down otherwise than they were (common practice, no source)
WITHIN = 2.0  # log units: what is this near the most probable remains

MEANT: Mapping[ContactState, tuple[ContactState, ...]] = {
    ContactState.CLOSED: (ContactState.CLOSED,),
    ContactState.OPEN: (ContactState.OPEN,),
    ContactState.HIGH_RESISTANCE: (ContactState.HIGH_RESISTANCE,),
    ContactState.BELOW_LEADS: (ContactState.CLOSED,),
    ContactState.BORDERLINE: (ContactState.CLOSED, ContactState.HIGH_RESISTANCE),
    ContactState.CANNOT_JUDGE: STATES,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Probabilities that sum to 1, over nothing wrong (None, first) and the faults asked about."""

    faults: tuple[Fault | None, ...]
    probabilities: tuple[float, ...]

    def of(self, fault: Fault | None) -> float:
        return self.probabilities[self.faults.index(fault)] if fault in self.faults else 0.0

    def mass(self, faults: Sequence[Fault | None] | frozenset[Fault | None]) -> float:
        return math.fsum(self.of(each) for each in frozenset(faults))

    @property
    def best(self) -> Fault | None:
        return self.ranked()[0][0]

    def ranked(self) -> tuple[tuple[Fault | None, float], ...]:
        """The most probable first; what is alike stays in the order of the faults."""
        pairs = zip(self.faults, self.probabilities, strict=True)
        return tuple(sorted(pairs, key=lambda pair: -pair[1]))

    def remaining(self, *, within: float = WITHIN) -> tuple[Fault | None, ...]:
        """What can't be told from the most probable: everything within so many log units of it."""
        least = max(self.probabilities) * math.exp(-within)
        return tuple(fault for fault, probability in self.ranked() if probability >= least)


def posterior(
    rig: RigModel,
    *,
    observed: Sequence[Observed],
    faults: Sequence[Fault],
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
) -> Posterior:
    """Bayes' rule over the faults given and None, each as likely beforehand unless ``prior`` says otherwise.

    See `posteriors`. With nothing observed, the prior.
    """
    asked = asked_about(faults)
    (row,) = posteriors(rig, runs=one_run(observed), faults=faults, prior=prior, slip=slip)
    return Posterior(faults=asked, probabilities=tuple(float(each) for each in row))


def posteriors(
    rig: RigModel,
    *,
    runs: Runs,
    faults: Sequence[Fault],
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
) -> Column:
    """The posterior of every run, a row each: None, then the faults in their order.

    A range fault is integrated over its severity, evenly spread. The rig's figures with their uncertainties
    and the session's effect are common to a run's pressures, as is half of the instrument's variance. The
    switch stands the same way all through a condition; between break and make either way is as likely unless
    it is known where it came from. Each reading is a slip with probability ``slip``: a pressure is then
    anything that a display shows, a contact either of the other two states. Raises RigError for a prior or a
    slip that is no probability, and for contacts that the rig hasn't.
    """
    logs = log_joint(rig, runs=runs, faults=faults, prior=prior, slip=slip)
    starts = explain(rig, tests=(), faults=asked_about(faults)).starts
    each = np.exp(logs - logs.max(axis=1, keepdims=True))
    sums = np.add.reduceat(each, starts, axis=1)
    return np.asarray(sums / sums.sum(axis=1, keepdims=True))


def log_joint(
    rig: RigModel,
    *,
    runs: Runs,
    faults: Sequence[Fault],
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
) -> Column:
    """The log of prior × likelihood of every explanation: (runs × explanations), see `explanations`."""
    if not 0 < slip < 1:
        raise RigError("The probability of a slip lies between 0 and 1.")
    asked = asked_about(faults)
    found = explain(rig, tests=(), faults=asked)
    beforehand = log_prior(asked, prior)[found.fault] + found.log_share
    logs = beforehand + _log_contacts(rig, runs, asked, slip)
    logs += _log_presence(rig, runs, asked, slip)
    return logs + _log_pressures(rig, runs, asked, slip, beside=logs)


def asked_about(faults: Sequence[Fault]) -> tuple[Fault | None, ...]:
    """Nothing wrong, then the faults, each once."""
    return (None, *dict.fromkeys(faults))


def log_prior(asked: Sequence[Fault | None], prior: Mapping[Fault | None, float] | None) -> Column:
    """Logs of probabilities that sum to 1; what the prior leaves out has none. RigError for what is none."""
    weights = np.array([1.0 if prior is None else prior.get(each, 0.0) for each in asked])
    if not np.isfinite(weights).all() or (weights < 0).any() or not weights.sum() > 0:
        raise RigError("A prior is made of numbers not below zero, with one at least above it.")
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(weights / weights.sum()))


def states_given(slip: float) -> Column:
    """The probability of what is seen, given what is there: (`CONTACT_STATES` and none at all × `STATES`).

    A state that may be one of several is seen with the sum of theirs.
    """
    rows = [
        [
            sum(1 - slip if meant is there else slip / (len(STATES) - 1) for meant in MEANT[seen])
            for there in STATES
        ]
        for seen in CONTACT_STATES
    ]
    return np.array([*rows, [1.0] * len(STATES)])


def _log_contacts(rig: RigModel, runs: Runs, asked: tuple[Fault | None, ...], slip: float) -> Column:
    """(runs × explanations). Runs that saw the same states are worked out once."""
    columns = [column for column, test in enumerate(runs.tests) if test.is_contact]
    seen, inverse = np.unique(runs.states[:, columns], axis=0, return_inverse=True)
    tests = [runs.tests[column] for column in columns]
    came = [runs.coming_from[column] for column in columns]
    index = explain(rig, tests=(), faults=asked).fault
    shown = states_shown(rig, tests=tests, faults=asked)
    chance = states_given(slip)[seen][:, np.arange(len(columns))[:, None], shown]
    visits = tuple(dict.fromkeys((test.condition, origin) for test, origin in zip(tests, came, strict=True)))
    standing = operated(rig, visits=visits, faults=asked)
    total = np.zeros((len(seen), len(index)))
    for number, visit in enumerate(visits):
        among = [k for k, test in enumerate(tests) if (test.condition, came[k]) == visit]
        at_rest, moved = np.moveaxis(chance[:, :, among].prod(axis=2), -1, 0)
        share = standing[:, number]
        total += np.log(at_rest[:, index] * (1 - share) + moved[:, index] * share)
    return np.asarray(total[inverse.reshape(-1)])


def _log_presence(rig: RigModel, runs: Runs, asked: tuple[Fault | None, ...], slip: float) -> Column:
    """Whether make and break points were there to be found, as they should be: (runs × explanations)."""
    columns = [column for column, test in enumerate(runs.tests) if test.at in SWITCH_POINTS]
    tests = tuple(runs.tests[column] for column in columns)
    should = explain(rig, tests=tests, faults=asked).readable
    was = np.isfinite(runs.values[:, columns])
    agreeing = (was[:, None] == should[None]).sum(axis=2)
    return np.asarray(agreeing * math.log(1 - slip) + (len(columns) - agreeing) * math.log(slip))


def _log_pressures(
    rig: RigModel, runs: Runs, asked: tuple[Fault | None, ...], slip: float, *, beside: Column
) -> Column:
    """(runs × explanations). Runs that read the same pressures are worked out together."""
    total = np.zeros_like(beside)
    there = np.isfinite(runs.values)
    patterns, inverse = np.unique(there, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns):
        rows = np.flatnonzero(inverse.reshape(-1) == number)
        columns = np.flatnonzero(pattern)
        if not len(columns):
            continue
        tests = tuple(runs.tests[column] for column in columns)
        found = explain(rig, tests=tests, faults=asked)
        known = together(found, u=runs.u[columns], running=rig.rig.running)
        farthest = AS_FAR * FAR * rig.rig.running  # beyond it all are alike: nothing shows so much
        values = np.clip(runs.values[np.ix_(rows, columns)], -farthest, farthest)
        log_slips = log_slip(values, running=rig.rig.running)
        log_odds = math.log(slip / (1 - slip)) + log_slips
        out_of_place = log_slips @ ~found.readable.T
        total[rows] = out_of_place + log_levels(
            known, values=values, log_odds=log_odds, beside=beside[rows] + out_of_place
        )
    return total
