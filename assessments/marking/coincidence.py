"""How often two honest candidates write down the same digits, on the same rig, by chance.

A reading is a level plus repeat noise, rounded to the display. Two readings of the same level agree with
probability Σ pₖ², over the digits that the display can show; for s well above the resolution r that is
r/(2s√π). Where the level lies between two digits isn't known (the instrument's own error shifts it), so all
places between them count alike; but it is one place for all readings of a quantity, which therefore agree,
or don't, together. So do readings taken in two sessions, whose effects differ.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Column = NDArray[np.float64]

PLACES: Final = 40
NODES: Final = 21
SMOOTH_FROM: Final = 3.0
"""From this s/r up, where the level lies between two digits makes no difference (less than 1e-30)."""
REACH: Final = 6.0
"""Digits further than so many standard deviations from the level aren't counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A quantity that both read ``readings`` times, in one unit.

    ``session_sd`` is that of a session's effect, 0 where both read in the same one.
    """

    readings: int
    repeat_sd: float
    resolution: float
    session_sd: float = 0.0


def chance_of(*, matches: int, quantities: Iterable[Quantity]) -> float:
    """The probability that at least so many of all the readings agree, in order, by chance."""
    counts = np.ones(1)
    for each in quantities:
        counts = np.convolve(counts, _counts(each))
    return float(min(1.0, counts[matches:].sum()))


def match_probability(*, repeat_sd: float, resolution: float, session_sd: float = 0.0) -> float:
    """The probability that one pair of readings agrees."""
    weights, probabilities = _conditions(repeat_sd, resolution, session_sd)
    return float(weights @ probabilities)


def _counts(quantity: Quantity) -> Column:
    """The distribution of how many readings of a quantity agree."""
    weights, p = _conditions(quantity.repeat_sd, quantity.resolution, quantity.session_sd)
    n = quantity.readings
    return np.array([math.comb(n, k) * float(weights @ (p**k * (1 - p) ** (n - k))) for k in range(n + 1)])


@lru_cache(maxsize=4096)
def _conditions(repeat_sd: float, resolution: float, session_sd: float) -> tuple[Column, Column]:
    """Weights, and the probability of agreeing, over places between digits and shifts between sessions."""
    if repeat_sd <= 0:
        return np.ones(1), np.ones(1)  # what never varies says nothing when it agrees
    shifts, weights = _shifts(session_sd)
    if repeat_sd >= SMOOTH_FROM * resolution:
        smooth = resolution / (2 * repeat_sd * math.sqrt(math.pi)) * np.exp(-((shifts / repeat_sd) ** 2) / 4)
        return weights, smooth
    places = (np.arange(PLACES) + 0.5) / PLACES * resolution
    first = _digits(places[:, None], repeat_sd, resolution, shifts)
    second = _digits(places[:, None] + shifts, repeat_sd, resolution, shifts)
    agree = (first * second).sum(axis=-1)
    return np.tile(weights / PLACES, PLACES), np.clip(agree.ravel(), 0.0, 1.0)


def _shifts(session_sd: float) -> tuple[Column, Column]:
    """Differences between two sessions' effects, by Gauss-Hermite quadrature of N(0, 2 s²)."""
    if session_sd <= 0:
        return np.zeros(1), np.ones(1)
    nodes, weights = np.polynomial.hermite.hermgauss(NODES)
    return 2 * session_sd * nodes, weights / math.sqrt(math.pi)


def _digits(level: Column, sd: float, resolution: float, shifts: Column) -> Column:
    """The probability of each digit on the display, in a last axis that reaches all levels."""
    far = int(np.ceil((REACH * sd + float(np.abs(shifts).max())) / resolution)) + 1
    edges = (np.arange(-far, far + 3) - 0.5) * resolution
    level = np.broadcast_to(level, (PLACES, len(shifts)))
    return np.diff(ndtr((edges - level[..., None]) / sd), axis=-1)
