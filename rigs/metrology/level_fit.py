"""How fast rigs of one design drift, and how much a session adds: estimated over their histories.

Repeat noise is fixed beforehand, from the repeats within checks. Fitted together with the other two it takes
over what is drift, and the ranges that follow are too narrow.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import chdtri

from rigs.metrology.local_level import BaselineLevel, CheckMean, LevelModel, log_likelihood
from rigs.metrology.samples import Column, SampleError, positive, probability
from rigs.metrology.uncertainty import COVERAGE

MINIMUM_CHECKS = 8
# A variance this small beside the checks' own scatter isn't told from zero.
_NOTHING = 1e-6
# Steps of a variance in ``level_intervals``: 25 % apart, so 12 % in the standard deviation.
_STEPS = 78


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """One rig's baseline and the checks since, with its own repeat noise."""

    baseline: BaselineLevel
    checks: tuple[CheckMean, ...]
    repeat_sd: float

    def __post_init__(self) -> None:
        positive(self.repeat_sd, of="repeat noise")


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFit:
    """Maximum-likelihood estimates. Degrees of freedom follow from the curvature: Var(ln σ̂²) = 2/ν.

    One that couldn't be told from zero is named in ``undetected`` ("drift", "session"). These checks then say
    nothing of how large it may be: keep the centre's own value.
    """

    drift_sd: float
    session_sd: float
    drift_dof: float
    session_dof: float
    checks: int
    undetected: tuple[str, ...]

    def model(
        self, *, repeat_sd: float, repeat_dof: float, set_drift: float, set_session: float
    ) -> LevelModel:
        """Return the model to mark with. What is undetected takes the value that the centre set."""
        drift_told, session_told = ("drift" not in self.undetected), ("session" not in self.undetected)
        return LevelModel(
            drift_sd=self.drift_sd if drift_told else set_drift,
            session_sd=self.session_sd if session_told else set_session,
            repeat_sd=repeat_sd,
            repeat_dof=repeat_dof,
            drift_dof=self.drift_dof,
            session_dof=self.session_dof,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Where a standard deviation lies. ``lower`` 0: it can't be told from zero; ``upper`` may be infinite."""

    lower: float
    upper: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelIntervals:
    drift: Interval
    session: Interval


def fit_levels(histories: Sequence[History]) -> LevelFit:
    """Return level drift (per √day) and session effect common to all ``histories``, repeat noise given.

    Maximises the sum of the filter's log-likelihoods over both variances, none below zero. Raises SampleError
    for fewer than eight checks in all.
    """
    count = _require_checks(histories)
    scale = _scale(histories)
    grid = np.array([0.0, 1e-3, 1e-2, 0.1, 0.5, 1.0])
    pairs = np.stack([each.ravel() for each in np.meshgrid(grid, grid)], axis=-1)
    start = pairs[np.argmin(_costs(pairs, scale, histories))]
    bounds = ((0, None), (0, None))
    best = minimize(
        _cost_and_slope, start, args=(scale, histories), jac=True, method="L-BFGS-B", bounds=bounds
    )
    dofs = _degrees_of_freedom(best.x, scale, histories)
    drift_sd, session_sd = np.sqrt(np.where(best.x > _NOTHING, best.x, 0.0) * scale)
    return LevelFit(
        drift_sd=float(drift_sd),
        session_sd=float(session_sd),
        drift_dof=dofs[0],
        session_dof=dofs[1],
        checks=count,
        undetected=tuple(name for name, sd in (("drift", drift_sd), ("session", session_sd)) if sd == 0),
    )


def level_intervals(histories: Sequence[History], *, confidence: float = COVERAGE) -> LevelIntervals:
    """Return the profile-likelihood interval of each standard deviation, the other at its best.

    All σ with 2·(ℓ_max − ℓ(σ)) ≤ χ²₁ at ``confidence`` (Wilks 1938; Barndorff-Nielsen & Cox, *Inference and
    Asymptotics*, 1994, 3.4). Worked out on a grid of both, 12 % apart, the other refined by a parabola and
    the ends by a line between neighbours: to about 1 %. Errors as in ``fit_levels``.
    """
    probability(confidence, of="confidence")
    _require_checks(histories)
    scale = _scale(histories)
    shares = np.concatenate([[0.0], np.geomspace(1e-6, 30.0, _STEPS)])
    pairs = np.stack([each.ravel() for each in np.meshgrid(shares, shares, indexing="ij")], axis=-1)
    costs = _costs(pairs, scale, histories).reshape(shares.size, shares.size)
    allowed = float(chdtri(1, 1 - confidence)) / 2
    drift, session = (
        _interval(np.sqrt(shares * scale[axis]), _profile(costs if axis == 0 else costs.T), allowed)
        for axis in (0, 1)
    )
    return LevelIntervals(drift=drift, session=session)


def _profile(costs: Column) -> Column:
    """Return each row's least cost, refined by the parabola through it and its neighbours."""
    lowest = costs.argmin(axis=1)
    middle = np.clip(lowest, 2, costs.shape[1] - 2)  # beside σ = 0 the steps aren't even
    rows = np.arange(len(costs))
    left, here, right = (costs[rows, middle + step] for step in (-1, 0, 1))
    bend = left - 2 * here + right
    with np.errstate(divide="ignore", invalid="ignore"):
        refined = here - (left - right) ** 2 / (8 * bend)
    inner = (middle == lowest) & (bend > 0)
    return np.asarray(np.where(inner, refined, costs[rows, lowest]))


def _interval(sds: Column, costs: Column, allowed: float) -> Interval:
    inside = np.flatnonzero(costs <= costs.min() + allowed)
    first, last = int(inside[0]), int(inside[-1])
    top = costs.min() + allowed
    lower = 0.0 if first <= 1 else _crossing(sds, costs, first - 1, first, top)
    upper = math.inf if last == len(sds) - 1 else _crossing(sds, costs, last + 1, last, top)
    return Interval(lower=lower, upper=upper)


def _crossing(sds: Column, costs: Column, outside: int, inside: int, top: float) -> float:
    share = (top - costs[inside]) / (costs[outside] - costs[inside])
    return float(sds[inside] + share * (sds[outside] - sds[inside]))


def _require_checks(histories: Iterable[History]) -> int:
    count = sum(len(history.checks) for history in histories)
    if count < MINIMUM_CHECKS:
        raise SampleError(
            f"{count} checks in all can't show drift. Wait for {MINIMUM_CHECKS}, or set it by hand."
        )
    return count


def _scale(histories: Iterable[History]) -> Column:
    """Return drift and session variances as large as if each alone moved the checks."""
    steps: list[float] = []
    moves: list[float] = []
    for history in histories:
        checks = sorted(history.checks, key=lambda check: check.at)
        at = np.array([history.baseline.at, *(check.at for check in checks)])
        mean = np.array([history.baseline.mean, *(check.mean for check in checks)])
        steps.extend(np.diff(at))
        moves.extend(np.diff(mean))
    square = float(np.mean(np.square(moves)))
    days = float(np.mean(steps))
    if square == 0 or days == 0:
        raise SampleError(
            "All checks read the same, or all are of one moment: drift can't be told. Set it by hand."
        )
    return np.array([square / days, square])


def _cost_and_slope(pair: Column, scale: Column, histories: Iterable[History]) -> tuple[float, Column]:
    """Return the cost and its slopes by forward differences, which stay within bounds: in one run."""
    steps = np.vstack([np.zeros(2), np.eye(2) * 1e-8])
    costs = _costs(pair + steps, scale, histories)
    return float(costs[0]), (costs[1:] - costs[0]) / 1e-8


def _costs(pairs: Column, scale: Column, histories: Iterable[History]) -> Column:
    """Return −log-likelihood at each row of ``pairs``: drift and session variance, each in its ``scale``."""
    drift, session = np.sqrt(np.maximum(pairs, 0.0) * scale).T
    total = np.zeros(len(pairs))
    for history in histories:
        model = LevelModel(
            drift_sd=drift, session_sd=session, repeat_sd=history.repeat_sd, repeat_dof=math.inf
        )
        total -= log_likelihood(model, baseline=history.baseline, checks=history.checks)
    return total


def _degrees_of_freedom(best: Column, scale: Column, histories: Iterable[History]) -> tuple[float, float]:
    """Return 2/Var(ln σ̂²) of each variance told from zero, by the curvature in ln σ². At least 1."""
    told = np.eye(2)[best > _NOTHING] * 0.05
    corners = np.array([(1, 1), (1, -1), (-1, 1), (-1, -1)])
    curvature = np.empty((len(told), len(told)))
    for i, j in np.ndindex(*curvature.shape):
        costs = _costs(best * np.exp(corners @ told[[i, j]]), scale, histories)
        curvature[i, j] = float(corners.prod(axis=1) @ costs) / (4 * 0.05**2)
    dofs = np.full(2, math.inf)
    variances = np.diag(np.linalg.pinv(curvature, hermitian=True)) if len(told) else np.empty(0)
    dofs[best > _NOTHING] = [max(2 / variance, 1.0) if variance > 0 else 1.0 for variance in variances]
    return float(dofs[0]), float(dofs[1])
