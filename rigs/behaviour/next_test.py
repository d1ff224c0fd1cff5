"""Which test would tell most about what is still possible, and how few would have done."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigs.behaviour.contacts import LEADS
from rigs.behaviour.explanations import STATES, explain, operated, states_shown
from rigs.behaviour.faults import Fault
from rigs.behaviour.likelihood import covariance_of, kept_precision, log_slip, together
from rigs.behaviour.lookalikes import alike
from rigs.behaviour.observations import Manometry, Observed, Runs, Test, one_run
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.posterior import SLIP, asked_about, log_joint, posterior, states_given
from rigs.behaviour.prediction import SWITCH_POINTS, can_be_read, level
from rigs.behaviour.venturi import Column, Position
from rigs.metrology.conformity import CONTACT_STATES

WORTH = 0.01  # bits: a test that tells less isn't worth doing
LEAST_WEIGHT = 1e-4  # explanations less probable than this are left aside
AT, WEIGHT = np.polynomial.hermite_e.hermegauss(5)
TWICE = 2  # how often a test may be done before another is better (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """A test, and the information in bits that it is expected to give about which fault it is."""

    test: Test
    bits: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Left:
    """What is still possible: explanations with their weights, which sum to 1, and the fault of each."""

    rig: RigModel
    asked: tuple[Fault | None, ...]
    kept: np.ndarray
    fault: np.ndarray
    weight: Column
    slip: float
    run: Runs


def gains(
    rig: RigModel,
    *,
    observed: Sequence[Observed],
    tests: Sequence[Test],
    faults: Sequence[Fault],
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> tuple[Gain, ...]:
    """What each test would tell, the most first, given what was observed.

    Expected information: the mutual information of the fault and the reading, I = H(fault) − E H(fault |
    reading), in bits (Lindley 1956, from memory). Readings already taken say what another of the same would
    be: those that are more likely slips are left aside for that. ``manometer`` says how well a pressure will
    be known.
    """
    run = one_run(observed)
    logs = log_joint(rig, runs=run, faults=faults, prior=prior, slip=slip)[0]
    weight = np.exp(logs - logs.max())
    kept = np.flatnonzero(weight > LEAST_WEIGHT * weight.sum())
    asked = asked_about(faults)
    left = _Left(
        rig=rig,
        asked=asked,
        kept=kept,
        fault=explain(rig, tests=(), faults=asked).fault[kept],
        weight=weight[kept] / weight[kept].sum(),
        slip=slip,
        run=run,
    )
    pressures = [test for test in dict.fromkeys(tests) if not test.is_contact]
    bits = _bits_of_pressures(left, pressures, manometer or Manometry())
    bits |= {test: _bits_of_contact(left, test) for test in tests if test.is_contact}
    found = [Gain(test=test, bits=max(0.0, bits[test])) for test in dict.fromkeys(tests)]
    return tuple(sorted(found, key=lambda gain: -gain.bits))


def next_test(
    rig: RigModel,
    *,
    observed: Sequence[Observed],
    tests: Sequence[Test],
    faults: Sequence[Fault],
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> Gain | None:
    """The test that would tell most, or None if none is worth doing."""
    found = gains(
        rig, observed=observed, tests=tests, faults=faults, prior=prior, slip=slip, manometer=manometer
    )
    return found[0] if found and found[0].bits >= WORTH else None


def fewest_tests(
    rig: RigModel,
    *,
    fault: Fault | None,
    tests: Sequence[Test],
    faults: Sequence[Fault],
    sure: float = 0.95,
    prior: Mapping[Fault | None, float] | None = None,
    slip: float = SLIP,
    manometer: Manometry | None = None,
) -> tuple[Test, ...]:
    """How few tests would do under a fault: in order, the most telling one each time, as it would come out.

    Done when the fault and what these tests can't tell from it have the probability ``sure``, or no test
    tells anything more. Taking the best each time is near the fewest, not always the fewest: an upper bound.
    """
    using = manometer or Manometry()
    group = alike(rig, fault=fault, tests=tests, faults=faults, slip=slip, manometer=using)
    observed: list[Observed] = []
    while posterior(rig, observed=observed, faults=faults, prior=prior, slip=slip).mass(group) < sure:
        done = [each.test for each in observed]
        best = next_test(
            rig,
            observed=observed,
            tests=[test for test in tests if done.count(test) < TWICE],
            faults=faults,
            prior=prior,
            slip=slip,
            manometer=using,
        )
        if best is None:
            break
        observed.append(typical(rig, test=best.test, fault=fault, manometer=using))
    return tuple(each.test for each in observed)


def typical(
    rig: RigModel, *, test: Test, fault: Fault | None, manometer: Manometry | None = None
) -> Observed:
    """What a test would show under a fault of middling severity, without noise, coming from rest."""
    condition, at = test.condition, test.at
    if test.is_contact:
        standing = operated(rig, visits=((condition, Position.AT_REST),), faults=(fault,))
        stands = int(standing[len(standing) // 2, 0] > 0.5)
        state = STATES[states_shown(rig, tests=(test,), faults=(fault,))[0, 0, stands]]
        return Observed(condition=condition, at=at, state=state)
    if not can_be_read(at, fault=fault):
        return Observed(condition=condition, at=at, absent=True)
    value = level(rig.rig, condition=condition, at=at, fault=fault)
    return Observed(condition=condition, at=at, value=value, u=(manometer or Manometry()).u(value))


def _bits_of_contact(left: _Left, test: Test) -> float:
    """Exact: a contact shows one of three states."""
    shown = states_shown(left.rig, tests=(test,), faults=left.asked)[left.fault, 0]
    standing = _standing(left, test)[:, None]
    seen = states_given(left.slip)[[CONTACT_STATES.index(state) for state in STATES]].T
    chance = seen[shown[:, 0]] * (1 - standing) + seen[shown[:, 1]] * standing
    by_fault = _by_fault(left, chance)
    return float((left.weight @ (chance * _log2_ratio(by_fault[left.fault], by_fault, left))).sum())


def _standing(left: _Left, test: Test) -> Column:
    """The probability of the switch standing operated, given the contacts read in that condition already."""
    visit = (test.condition, None)
    before = operated(left.rig, visits=(visit,), faults=left.asked)[left.kept, 0]
    among = [
        column
        for column, other in enumerate(left.run.tests)
        if other.is_contact and other.at not in LEADS and other.condition == test.condition
    ]
    shown = states_shown(left.rig, tests=[left.run.tests[k] for k in among], faults=left.asked)
    seen = states_given(left.slip)[left.run.states[0, among]]
    chance = seen[np.arange(len(among))[:, None], shown].prod(axis=1)[left.fault]
    moved = before * chance[:, 1]
    return np.asarray(moved / (moved + (1 - before) * chance[:, 0]))


def _bits_of_pressures(left: _Left, tests: Sequence[Test], manometer: Manometry) -> dict[Test, float]:
    """By quadrature over the readings that each explanation would give, slips left out of them."""
    if not tests:
        return {}
    mean, sd, readable = _foreseen(left, tests, manometer)
    bits = {}
    for column, test in enumerate(tests):
        presence = _presence(left, test, readable[:, column])
        bits[test] = _bits_of_pressure(left, mean[:, column], sd[:, column], presence)
    return bits


def _presence(left: _Left, test: Test, readable: np.ndarray) -> Column:
    """The probability that there is anything to be read."""
    if test.at not in SWITCH_POINTS:
        return np.ones(len(readable))
    return np.where(readable, 1 - left.slip, left.slip)


def _bits_of_pressure(left: _Left, mean: Column, sd: Column, presence: Column) -> float:
    readings = (mean[:, None] + sd[:, None] * AT).ravel()
    anything = left.slip * np.exp(log_slip(readings, running=left.rig.rig.running))
    off = (readings[None] - mean[:, None]) / sd[:, None]
    normal = np.exp(-(off**2) / 2) / (sd[:, None] * math.sqrt(2 * math.pi))
    density = presence[:, None] * ((1 - left.slip) * normal + anything)
    by_fault = _by_fault(left, density)
    fault = np.repeat(left.fault, len(AT))
    told = np.log2(by_fault[fault, np.arange(len(readings))] / _overall(left, by_fault))
    quadrature = (told.reshape(-1, len(AT)) @ WEIGHT) / WEIGHT.sum()
    absent = (1 - presence)[:, None]
    nothing = _by_fault(left, absent)
    told_by_nothing = absent[:, 0] * _log2_ratio(nothing[left.fault], nothing, left)[:, 0]
    return float(left.weight @ ((1 - left.slip) * presence * quadrature + told_by_nothing))


def _foreseen(left: _Left, tests: Sequence[Test], manometer: Manometry) -> tuple[Column, Column, np.ndarray]:
    """Mean and standard deviation of readings still to be taken, given those that were: the normal's rule."""
    run = left.run
    taken = np.flatnonzero(np.isfinite(run.values[0]))
    rig = left.rig.rig
    new_u = [manometer.u(level(rig, condition=test.condition, at=test.at)) for test in tests]
    both = explain(left.rig, tests=(*(run.tests[k] for k in taken), *tests), faults=left.asked).only(
        left.kept
    )
    covariance = covariance_of(both, u=np.array([*run.u[taken], *new_u]), running=rig.running)
    n = len(taken)
    own = np.diagonal(covariance, axis1=1, axis2=2)[:, n:]
    if not n:
        return both.mean, np.sqrt(own), both.readable
    values = run.values[0, taken]
    log_odds = math.log(left.slip / (1 - left.slip)) + log_slip(values, running=rig.running)
    old = explain(left.rig, tests=tuple(run.tests[k] for k in taken), faults=left.asked).only(left.kept)
    known = together(old, u=run.u[taken], running=rig.running)
    weights = covariance[:, n:, :n] @ kept_precision(known, values=values, log_odds=log_odds)
    mean = both.mean[:, n:] + np.einsum("enk,ek->en", weights, values - old.mean)
    explained = np.einsum("enk,enk->en", weights, covariance[:, n:, :n])
    return mean, np.sqrt(np.maximum(own - explained, 1e-12 * own)), both.readable[:, n:]


def _by_fault(left: _Left, of_each: Column) -> Column:
    """The mean over each fault's explanations: (faults × columns), zero for a fault that none is left of."""
    weight = np.zeros((len(left.asked), len(left.weight)))
    weight[left.fault, np.arange(len(left.weight))] = left.weight
    share = weight / np.maximum(weight.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    return np.asarray(share @ of_each)


def _overall(left: _Left, by_fault: Column) -> Column:
    """The mean over the faults, by their weights."""
    return np.asarray(np.bincount(left.fault, left.weight, len(left.asked)) @ by_fault)


def _log2_ratio(wanted: Column, by_fault: Column, left: _Left) -> Column:
    overall = _overall(left, by_fault)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(wanted > 0, np.log2(wanted / overall), 0.0)
