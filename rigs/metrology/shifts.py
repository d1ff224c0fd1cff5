"""Whose shift is it? Readings off in the same direction point to the rig, an instrument, or one person.

A reading's deviation is told from the rig's value on the sheet that it was marked against. Each explanation
says which readings share a shift, of unknown size; the marginal likelihood of all of them under each, with
its prior, gives its probability (Bayes' theorem for four simple normal models). Priors and the size of a
shift worth looking for are common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from rigs.metrology.samples import SampleError

SHIFT = 0.06  # standard deviation of a shift worth looking for, as a share of the rig's value
LEAST = 4  # readings, under which nothing is said


class Cause(StrEnum):
    """What the readings that are off have in common; chance where they are not off."""

    CHANCE = "chance"
    RIG = "rig"
    INSTRUMENT = "instrument"
    PERSON = "person"


PRIOR: Mapping[Cause, float] = MappingProxyType(
    {Cause.CHANCE: 0.85, Cause.RIG: 0.05, Cause.INSTRUMENT: 0.05, Cause.PERSON: 0.05}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """One reading's distance from the rig's value, as a share of that value, and what it has part in.

    ``u`` is the standard uncertainty that is its own, ``sheet_u`` that of the value, which every reading with
    the same ``sheet`` shares. Whether it is one of the rig's, the instrument's or the person's in question is
    for each of the three to say.
    """

    value: float
    u: float
    sheet: str
    sheet_u: float
    of_rig: bool
    of_instrument: bool
    of_person: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """How probable each cause is. ``shift`` is the likely one under the most probable, as a share."""

    probabilities: Mapping[Cause, float]
    shift: float

    @property
    def cause(self) -> Cause:
        return max(self.probabilities, key=lambda cause: self.probabilities[cause])

    @property
    def probability(self) -> float:
        return self.probabilities[self.cause]


def explain(
    deviations: Sequence[Deviation], *, shift: float = SHIFT, prior: Mapping[Cause, float] = PRIOR
) -> Explanation:
    """Weigh the four explanations of readings that were taken about the same time.

    Raises SampleError for fewer than ``LEAST`` readings, for an uncertainty that isn't above zero, and for
    figures that are no numbers.
    """
    values, own = _columns(deviations)
    within = np.diag(own**2) + _shared_by_sheet(deviations)
    parts = {
        Cause.RIG: np.array([each.of_rig for each in deviations], float),
        Cause.INSTRUMENT: np.array([each.of_instrument for each in deviations], float),
        Cause.PERSON: np.array([each.of_person for each in deviations], float),
    }
    spreads = {Cause.CHANCE: within} | {
        cause: within + shift**2 * np.outer(part, part) for cause, part in parts.items()
    }
    weights = {
        cause: np.log(prior[cause]) + _log_likelihood(values, spread) for cause, spread in spreads.items()
    }
    total = logsumexp(list(weights.values()))
    probabilities = {cause: float(np.exp(weight - total)) for cause, weight in weights.items()}
    best = max(probabilities, key=lambda cause: probabilities[cause])
    found = 0.0 if best is Cause.CHANCE else _shift(values, spreads[best], parts[best], shift)
    return Explanation(probabilities=MappingProxyType(probabilities), shift=found)


def _columns(deviations: Sequence[Deviation]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if len(deviations) < LEAST:
        raise SampleError(f"Nothing can be said of fewer than {LEAST} readings.")
    values = np.array([each.value for each in deviations], float)
    own = np.array([each.u for each in deviations], float)
    shared = np.array([each.sheet_u for each in deviations], float)
    if not np.isfinite([values, own, shared]).all():
        raise SampleError("A deviation or its uncertainty is no number.")
    if (own <= 0).any() or (shared < 0).any():
        raise SampleError("Each reading needs an uncertainty above zero.")
    return values, own


def _shared_by_sheet(deviations: Sequence[Deviation]) -> NDArray[np.float64]:
    """The covariance of readings that were compared with the same uncertain value."""
    sheets = np.array([each.sheet for each in deviations])
    u = np.array([each.sheet_u for each in deviations], float)
    same: NDArray[np.float64] = np.where(sheets[:, None] == sheets[None, :], np.outer(u, u), 0.0)
    return same


def _log_likelihood(values: NDArray[np.float64], spread: NDArray[np.float64]) -> float:
    """Of a normal distribution about zero, without the factor that all four have."""
    _, log_determinant = np.linalg.slogdet(spread)
    return float(-0.5 * (log_determinant + values @ np.linalg.solve(spread, values)))


def _shift(
    values: NDArray[np.float64], spread: NDArray[np.float64], part: NDArray[np.float64], shift: float
) -> float:
    """What the shift is expected to be, given the readings: τ²·aᵀ·C⁻¹·d."""
    return float(shift**2 * part @ np.linalg.solve(spread, values))
