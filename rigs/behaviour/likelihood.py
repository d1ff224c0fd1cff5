"""How likely readings are under each explanation, when any one of them may be a slip of the hand or the eye.

Readings that are right are normal together. One that is a slip could be anything that a display shows. The
sum over which of them are slips is taken up to as many as the best explanation needs: first none or any one,
then, after the one that fits worst, any other, and so on.
"""

import math
from dataclasses import dataclass

import numpy as np

from rigs.behaviour.explanations import Explanations, Marks
from rigs.behaviour.venturi import Column

AS_FAR = 4.0  # a display shows up to so many running Δp either way, or a hundred times that by its unit
FAR = 100.0
AT_ONCE = 1_000_000  # numbers in a column that is worked on at once
MISFIT = 5.0  # log units: a fit this much worse than chance has it is none
LOWEST, TINY = -1e300, 1e-300
LOG_2_PI = math.log(2 * math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Readings that are right, normal together under each explanation.

    ``mean`` (explanations × readings), ``precision`` (explanations × readings × readings) is the inverse of
    their covariance, ``log_peak`` (explanations) the log density of readings that fit exactly. ``may_slip``
    (explanations × readings) leaves out a make point where none can be found: that is one already.
    """

    mean: Column
    precision: Column
    log_peak: Column
    may_slip: Marks


def together(found: Explanations, *, u: Column, running: float) -> Together:
    """Add the instrument: half of its variance is the same error in every reading, half is each one's own.

    Which of the two an error is, isn't known of a display, so it is shared out (common practice, no source).
    A make point where none can be found is left aside: it is a slip already.
    """
    covariance = covariance_of(found, u=u, running=running)
    aside, which = np.nonzero(~found.readable)
    covariance[aside, which, which] = 1.0
    precision = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    precision[aside, which, which] = 0.0
    log_det = np.linalg.slogdet(covariance)[1]
    return Together(
        mean=found.mean,
        precision=precision,
        log_peak=-(log_det + found.readable.sum(axis=1) * LOG_2_PI) / 2,
        may_slip=found.readable,
    )


def covariance_of(found: Explanations, *, u: Column, running: float) -> Column:
    """(explanations × readings × readings), in Pa²."""
    shared = np.where(found.readable, found.times[:, None] * u / math.sqrt(2), 0.0)
    anything = np.where(found.readable, 0.0, AS_FAR * running)
    own = np.maximum(found.own_sd**2 + shared**2 + anything**2, (1e-6 * running) ** 2)
    covariance = found.slopes @ found.slopes.transpose(0, 2, 1) + shared[:, :, None] * shared[:, None, :]
    diagonal = np.arange(covariance.shape[1])
    covariance[:, diagonal, diagonal] += own
    return np.asarray(covariance)


def log_slip(values: Column, *, running: float) -> Column:
    """Give the log density of a slip, per Pa: half of them within ±4 running Δp, half within ±400."""
    near = AS_FAR * running
    return np.log(np.where(np.abs(values) <= near, 0.25 / near, 0.0) + 0.25 / (FAR * near))


def log_levels(known: Together, *, values: Column, log_odds: Column, beside: Column) -> Column:
    """The log likelihood of pressures: (runs × explanations).

    ``values`` and ``log_odds`` are (runs × readings), the latter the log of a slip's odds times its density.
    ``beside`` (runs × explanations) is what else is known of each, by which the best is told.
    """
    if values.shape[1] == 0:
        return np.zeros_like(beside)
    at_once = max(1, AT_ONCE // known.mean.size)
    parts = [
        _log_levels(known, values[rows], log_odds[rows], beside[rows])
        for rows in (slice(first, first + at_once) for first in range(0, len(values), at_once))
    ]
    return np.concatenate(parts) if parts else np.zeros_like(beside)


def kept_precision(known: Together, *, values: Column, log_odds: Column) -> Column:
    """The precision of one run's readings under each explanation, zero where one is more likely a slip.

    The inverse of the covariance of those that are kept: (explanations × readings × readings).
    """
    precision = known.precision.copy()
    off = values - known.mean
    left = known.may_slip.copy()
    for _ in range(off.shape[1]):
        own = np.where(left, np.diagonal(precision, axis1=1, axis2=2), 1.0)
        pulled = np.einsum("eij,ej->ei", precision, off)
        gained = np.where(left, _gained(pulled, own, log_odds), -np.inf)
        worst = gained.argmax(axis=1)
        rows = np.flatnonzero(gained.max(axis=1) > 0)
        if not len(rows):
            break
        out = worst[rows]
        column = precision[rows, :, out]
        precision[rows] -= column[:, :, None] * column[:, None, :] / own[rows, out][:, None, None]
        left[rows, out] = False
    return precision


def _log_levels(known: Together, values: Column, log_odds: Column, beside: Column) -> Column:
    off = values[None] - known.mean[:, None]
    pulled = off @ known.precision
    own = _own(known)[:, None]
    none = known.log_peak[:, None] - (off * pulled).sum(axis=2) / 2
    gained = np.where(known.may_slip[:, None], _gained(pulled, own, log_odds), -np.inf)
    total = np.logaddexp(none, none + _log_sum(gained))
    wanting = np.flatnonzero(_needs(1, total, known, log_odds, beside))
    at_once = max(1, AT_ONCE // known.precision.size)
    for first in range(0, len(wanting), at_once):
        rows = wanting[first : first + at_once]
        total[:, rows] = _deeper(known, off[:, rows], none[:, rows], log_odds[rows], beside[rows])
    return np.asarray(total.T)


def _deeper(known: Together, off: Column, none: Column, log_odds: Column, beside: Column) -> Column:
    """The sum over more slips than one, the worst taken out one after the other: (explanations × runs)."""
    shape = off.shape
    precision = np.broadcast_to(known.precision[:, None], (*shape, shape[2])).copy()
    left = np.broadcast_to(known.may_slip[:, None], shape).copy()
    total, here = none, none
    needing = np.ones(shape[1], dtype=bool)  # each run by itself, whatever company it is worked out in
    for slips in range(1, shape[2] + 1):
        pulled = np.einsum("erij,erj->eri", precision, off)
        own = np.where(left, np.diagonal(precision, axis1=2, axis2=3), 1.0)
        gained = np.where(left, _gained(pulled, own, log_odds), -np.inf)
        total = np.where(needing, np.logaddexp(total, here + _log_sum(gained)), total)
        needing &= _needs(slips, total, known, log_odds, beside)
        if not needing.any():
            break
        worst = gained.argmax(axis=2)[..., None]
        here = here + np.take_along_axis(gained, worst, axis=2)[..., 0]
        row = np.take_along_axis(precision, worst[..., None], axis=2)[:, :, 0]
        precision -= row[..., :, None] * row[..., None, :] / np.take_along_axis(own, worst, axis=2)[..., None]
        np.put_along_axis(left, worst, values=False, axis=2)
    return total


def _own(known: Together) -> Column:
    """The precision of each reading given the rest; anything at all for one that is left aside."""
    return np.where(known.may_slip, np.diagonal(known.precision, axis1=1, axis2=2), 1.0)


def _gained(pulled: Column, own: Column, log_odds: Column | float) -> Column:
    """Log of what is gained by calling a reading a slip: its normal density, given the rest, is dropped."""
    return np.asarray((pulled**2 / own - np.log(own) + LOG_2_PI) / 2 + log_odds)


def _needs(slips: int, total: Column, known: Together, log_odds: Column, beside: Column) -> Marks:
    """Which runs their best explanation doesn't fit with so many slips: off by more than chance has readings.

    A fit is as good as can be less half of χ², whose mean is the number of readings.
    """
    own = _own(known)
    readings = own.shape[1]
    if slips >= readings:
        return np.zeros(len(log_odds), dtype=bool)
    costs = np.where(known.may_slip, _gained(np.zeros_like(own), own, log_odds.max()), 0.0)
    fitting = known.log_peak + np.sort(costs, axis=1)[:, :slips].sum(axis=1) - readings / 2 - MISFIT
    best = (total + beside.T).argmax(axis=0)
    return np.asarray(total[best, np.arange(total.shape[1])] < fitting[best])


def _log_sum(logs: Column) -> Column:
    """Log of the sum of exponentials over the last axis."""
    most = np.maximum(logs.max(axis=-1, keepdims=True), LOWEST)
    return np.asarray(np.log(np.maximum(np.exp(logs - most).sum(axis=-1), TINY)) + most[..., 0])
