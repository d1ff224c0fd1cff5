"""Agreement between assessors, and shares with their intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from rigs.metrology.samples import Column, SampleError, probability


class Weights(StrEnum):
    """How far apart two verdicts count: all alike, or by the steps (squared) between ordered ones."""

    NONE = "none"
    LINEAR = "linear"
    QUADRATIC = "quadratic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Agreement seen, agreement by chance, and kappa with its standard error and interval.

    The interval holds for some dozens of attempts or more; under that it says little but that.
    """

    observed: float
    by_chance: float
    value: float
    standard_error: float
    lower: float
    upper: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share of ``n`` with its interval."""

    value: float
    lower: float
    upper: float
    n: int


def cohens_kappa(
    table: Sequence[Sequence[int]], *, weights: Weights = Weights.NONE, confidence: float = 0.95
) -> Kappa:
    """Return Cohen's kappa: ``table[i][j]`` attempts were given verdict i by one assessor, j by the other.

    Weighted as Cohen 1968; standard error as Fleiss, Cohen & Everitt, Psychological Bulletin 72 (1969)
    323–327. Raises SampleError for a table that isn't square, is empty, or has one verdict throughout.
    """
    counts = _counts(table)
    if counts.shape[0] != counts.shape[1] or counts.shape[0] < 2:
        raise SampleError("Two assessors' verdicts need a square table: a row and a column for each verdict.")
    n = int(counts.sum())
    shares = counts / n
    credit = _credit(len(shares), weights)
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    observed = float(np.sum(credit * shares))
    by_chance = float(rows @ credit @ columns)
    value = _kappa(observed, by_chance)
    drawn = (credit @ columns)[:, None] + (credit.T @ rows)[None, :]
    squares = float(np.sum(shares * (credit - drawn * (1 - value)) ** 2))
    variance = (squares - (value - by_chance * (1 - value)) ** 2) / (n * (1 - by_chance) ** 2)
    standard_error = math.sqrt(max(variance, 0.0))
    reach = -float(ndtri((1 - probability(confidence, of="confidence")) / 2))
    return _within_bounds(observed, by_chance, standard_error=standard_error, reach=reach, n=n)


def fleiss_kappa(counts: Sequence[Sequence[int]], *, confidence: float = 0.95) -> Kappa:
    """Return Fleiss' kappa: ``counts[i][j]`` assessors gave attempt i verdict j, as many to every attempt.

    Psychological Bulletin 76 (1971) 378–382. The standard error is over attempts, by linearisation (Gwet,
    Br. J. Math. Stat. Psychol. 61 (2008) 29–48, from memory), with t on n − 1: it holds for any kappa, where
    Fleiss' own holds for none. Raises SampleError for one attempt, one assessor, unequal numbers of them, or
    one verdict throughout.
    """
    table = _counts(counts)
    n = len(table)
    raters = table.sum(axis=1)
    if n < 2 or raters[0] < 2 or (raters != raters[0]).any():
        raise SampleError("Give at least 2 attempts, each judged by the same number of assessors, 2 or more.")
    each = (table * (table - 1)).sum(axis=1) / (raters * (raters - 1))
    verdicts = table.sum(axis=0) / table.sum()
    chance_each = table @ verdicts / raters
    observed, by_chance = float(each.mean()), float(verdicts @ verdicts)
    value = _kappa(observed, by_chance)
    pulls = (each - by_chance) / (1 - by_chance) - 2 * (1 - value) * (chance_each - by_chance) / (
        1 - by_chance
    )
    standard_error = math.sqrt(float(np.sum((pulls - value) ** 2)) / (n * (n - 1)))
    reach = float(stdtrit(n - 1, (1 + probability(confidence, of="confidence")) / 2))
    return _within_bounds(observed, by_chance, standard_error=standard_error, reach=reach, n=n)


def wilson(*, count: int, n: int, confidence: float = 0.95) -> Share:
    """Return ``count`` of ``n`` as a share, with Wilson's score interval.

    J. Am. Stat. Assoc. 22 (1927) 209–212. Of 0 and of n it has one end at 0 and at 1.
    """
    if n < 1:
        raise SampleError("A share of nothing. Count at least one.")
    if not 0 <= count <= n:
        raise SampleError(f"{count} of {n} is no share. Count both again.")
    lower, upper = score_interval(share=count / n, n=n, confidence=confidence)
    return Share(
        value=count / n,
        lower=0.0 if count == 0 else lower,
        upper=1.0 if count == n else upper,
        n=n,
    )


def score_interval(*, share: float, n: float, confidence: float = 0.95) -> tuple[float, float]:
    """Return Wilson’s score interval of a share of ``n``, an effective number that needn’t be whole."""
    z = -float(ndtri((1 - probability(confidence, of="confidence")) / 2))
    centre = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(share * (1 - share) / n + (z / n) ** 2 / 4) / (1 + z * z / n)
    return max(centre - half, 0.0), min(centre + half, 1.0)


def _counts(table: Sequence[Sequence[int]]) -> NDArray[np.float64]:
    try:
        counts = np.asarray(table, dtype=np.float64)
    except ValueError:
        raise SampleError(
            "The rows of the table differ in length. Give each row a number for each verdict."
        ) from None
    if counts.ndim != 2 or counts.size == 0 or not np.isfinite(counts).all():
        raise SampleError(
            "The table has no numbers, or not only numbers. Give each row a number for each verdict."
        )
    if (counts < 0).any() or (counts != np.floor(counts)).any():
        raise SampleError("The table counts verdicts, so it holds whole numbers of zero or more.")
    if not counts.any():
        raise SampleError("The table is empty. Agreement needs attempts that were judged twice.")
    return counts


def _credit(size: int, weights: Weights) -> Column:
    places = np.arange(size)
    steps = np.abs(places[:, None] - places[None, :])
    if weights == Weights.NONE:
        return np.eye(size)
    power = 1 if weights == Weights.LINEAR else 2
    return np.asarray(1.0 - (steps / (size - 1)) ** power)


def _within_bounds(
    observed: float, by_chance: float, *, standard_error: float, reach: float, n: int
) -> Kappa:
    value = _kappa(observed, by_chance)
    return Kappa(
        observed=observed,
        by_chance=by_chance,
        value=value,
        standard_error=standard_error,
        lower=max(value - reach * standard_error, -1.0),
        upper=min(value + reach * standard_error, 1.0),
        n=n,
    )


def _kappa(observed: float, by_chance: float) -> float:
    if by_chance > 1 - 1e-12:
        raise SampleError(
            "All gave one and the same verdict, so kappa says nothing. Show the share agreed instead."
        )
    return (observed - by_chance) / (1 - by_chance)
