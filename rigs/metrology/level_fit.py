"""How fast rigs of one design drift, and how much a session adds: estimated over their histories.

Repeat noise is fixed beforehand, from the repeats within checks. Fitted together with the other two it takes
over what is drift, and the ranges that follow are too narrow.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from rigs.metrology.local_level import BaselineLevel, CheckMean, LevelModel, log_likelihood
from rigs.metrology.samples import Column, SampleError, positive

MINIMUM_CHECKS = 8
# A variance this small beside the checks' own scatter isn't told from zero.
_NOTHING = 1e-6


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


def fit_levels(histories: Sequence[History]) -> LevelFit:
    """Return level drift (per √day) and session effect common to all ``histories``, repeat noise given.

    Maximises the sum of the filter's log-likelihoods over both variances, none below zero. Raises SampleError
    for fewer than eight checks in all.
    """
    count = sum(len(history.checks) for history in histories)
    if count < MINIMUM_CHECKS:
        raise SampleError(
            f"{count} checks in all can't show drift. Wait for {MINIMUM_CHECKS}, or set it by hand."
        )
    scale = _scale(histories)
    grid = np.array([0.0, 1e-3, 1e-2, 0.1, 0.5, 1.0])
    start = min(
        (np.array([d, s]) for d in grid for s in grid), key=lambda pair: _cost(pair, scale, histories)
    )
    best = minimize(_cost, start, args=(scale, histories), method="L-BFGS-B", bounds=((0, None), (0, None)))
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


def _cost(pair: Column, scale: Column, histories: Iterable[History]) -> float:
    drift, session = np.sqrt(np.maximum(pair, 0.0) * scale)
    total = 0.0
    for history in histories:
        model = LevelModel(
            drift_sd=float(drift), session_sd=float(session), repeat_sd=history.repeat_sd, repeat_dof=math.inf
        )
        total -= log_likelihood(model, baseline=history.baseline, checks=history.checks)
    return total


def _degrees_of_freedom(best: Column, scale: Column, histories: Iterable[History]) -> tuple[float, float]:
    """Return 2/Var(ln σ̂²) of each variance told from zero, by the curvature in ln σ². At least 1."""
    told = np.eye(2)[best > _NOTHING] * 0.05
    curvature = np.empty((len(told), len(told)))
    for i, j in np.ndindex(*curvature.shape):
        corners = ((1, 1), (1, -1), (-1, 1), (-1, -1))
        costs = (
            a * b * _cost(best * np.exp(a * told[i] + b * told[j]), scale, histories) for a, b in corners
        )
        curvature[i, j] = sum(costs) / (4 * 0.05**2)
    dofs = np.full(2, math.inf)
    variances = np.diag(np.linalg.pinv(curvature, hermitian=True)) if len(told) else np.empty(0)
    dofs[best > _NOTHING] = [max(2 / variance, 1.0) if variance > 0 else 1.0 for variance in variances]
    return float(dofs[0]), float(dofs[1])
