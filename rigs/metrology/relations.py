"""Checks between readings of one attempt: what must hold between them whatever the rig reads today.

Columns, as in `conformity`: arguments broadcast, `code` indexes VERDICTS, a row that isn't finite or has no
uncertainty can't be judged. U = t(95.45 %)·u, normal.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from rigs.metrology.conformity import (
    BORDERLINE,
    CANNOT_JUDGE,
    CONTACT_STATES,
    COVERAGE_OUT,
    IN_RANGE,
    OUT_OF_RANGE,
    TIE,
    Codes,
    Column,
    ConformityError,
    ContactState,
    Flags,
)
from rigs.metrology.uncertainty import COVERAGE, coverage_factor

K_IN: Final = coverage_factor(dof=np.inf, p=COVERAGE)
K_OUT: Final = coverage_factor(dof=np.inf, p=COVERAGE_OUT)


class RelationKind(StrEnum):
    REVERSES_SIGN = "reverses-sign"
    FALLS_BY = "falls-by"
    CHANGES_STATE = "changes-state"
    REPEATS_WITHIN = "repeats-within"
    CLOSES = "closes"
    EQUALS = "equals"


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """Columns of one shape. `margin` is by how much the relation holds, in the readings' unit."""

    margin: Column
    code: Codes


def reverses_sign(
    *, first: ArrayLike, second: ArrayLike, first_u: ArrayLike, second_u: ArrayLike
) -> Relation:
    """One reading is clearly above zero and the other clearly below, each by more than its own U.

    Out of range if both are clearly on one side; borderline if either could be zero.
    """
    a, b, a_u, b_u = _columns(first, second, first_u, second_u)
    told_apart = (np.abs(a) > K_IN * a_u) & (np.abs(b) > K_IN * b_u)
    margin = -np.sign(a) * b
    code = np.where(~told_apart, BORDERLINE, np.where(margin > 0, IN_RANGE, OUT_OF_RANGE))
    return _relation(margin, code, judged=_usable(a_u) & _usable(b_u))


def falls_by_at_least(
    *, before: ArrayLike, after: ArrayLike, percent: ArrayLike, before_u: ArrayLike, after_u: ArrayLike
) -> Relation:
    """A reading falls towards zero by `percent` or more, guarded by U either way.

    margin = s·(before·(1 − p/100) − after), s the sign of `before`. A reading that can't be told from zero
    has nothing to fall from, and can't be judged.
    """
    start, end, share, start_u, end_u = _columns(before, after, percent, before_u, after_u)
    kept = 1 - share / 100
    margin = np.sign(start) * (start * kept - end)
    expanded = K_IN * np.hypot(kept * start_u, end_u)
    code = np.where(margin >= expanded, IN_RANGE, np.where(margin < -expanded, OUT_OF_RANGE, BORDERLINE))
    judged = _usable(start_u) & _usable(end_u) & (np.abs(start) > K_IN * start_u)
    return _relation(margin, code, judged=judged)


def equals(*, reading: ArrayLike, computed: ArrayLike, u: ArrayLike, floor: ArrayLike = 0.0) -> Relation:
    """A reading equals what follows from the candidate's own other readings; `u` is that of the difference.

    In range within U or `floor`, the wider; out of range from 1.5 times that on (k = 3 against k = 2).
    """
    y, expected, spread, least = _columns(reading, computed, u, floor)
    half_width = np.maximum(K_IN * spread, least)
    off = np.abs(y - expected)
    tie = TIE * (np.abs(y) + half_width)
    far = half_width * K_OUT / K_IN
    code = np.where(off <= half_width + tie, IN_RANGE, np.where(off >= far - tie, OUT_OF_RANGE, BORDERLINE))
    return _relation(half_width - off, code, judged=_usable(spread))


def closes(
    *,
    high: ArrayLike,
    low: ArrayLike,
    difference: ArrayLike,
    high_u: ArrayLike,
    low_u: ArrayLike,
    difference_u: ArrayLike,
    floor: ArrayLike = 0.0,
) -> Relation:
    """Two pressures against the room and the one between them close: pH − pL = Δp.

    The three are taken as independent. With one instrument their errors partly cancel, so u is on the wide
    side.
    """
    p_high, p_low, u_high, u_low, u_difference = _columns(high, low, high_u, low_u, difference_u)
    u = np.sqrt(u_high**2 + u_low**2 + u_difference**2)
    return equals(reading=difference, computed=p_high - p_low, u=u, floor=floor)


def repeats_within(*, readings: ArrayLike, repeat_sd: ArrayLike, resolution: ArrayLike = 0.0) -> Relation:
    """Repeats along the last axis agree: their range is at most the critical range f(n)·s_r of ISO 5725-6.

    f(2) = 2.8, the repeatability limit. Out of range beyond the 99.73 % quantile of the same range. Two
    neighbouring digits always agree, so neither is less than one step of the display.
    """
    table = np.asarray(readings, dtype=np.float64)
    count = table.shape[-1] if table.ndim else 0
    if count < 2:
        raise ConformityError("Repeats can be compared from two on. Take another reading.")
    spread, step = _columns(repeat_sd, resolution)
    found = np.ptp(table, axis=-1)
    limit = np.maximum(critical_range_factor(n=count) * spread, step)
    far = np.maximum(critical_range_factor(n=count, p=COVERAGE_OUT) * spread, step)
    tie = TIE * (np.max(np.abs(table), axis=-1) + limit)
    code = np.where(found <= limit + tie, IN_RANGE, np.where(found > far + tie, OUT_OF_RANGE, BORDERLINE))
    return _relation(limit - found, code, judged=_usable(limit))


@cache
def critical_range_factor(*, n: int, p: float = 0.95) -> float:
    """Quantile f(n) of the range of n standard normals: ISO 5725-6, 4.1.4, unrounded (2.77, 3.31, 3.63 …)."""
    z = np.linspace(-9.0, 9.0, 2001)
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)

    def excess(width: float) -> float:
        within: NDArray[np.float64] = (ndtr(z + width) - ndtr(z)) ** (n - 1)
        return float(n * np.trapezoid(density * within, z)) - p

    return float(brentq(excess, 1e-6, 20.0, xtol=1e-10))


_CHANGES: Final = frozenset({ContactState.CLOSED, ContactState.OPEN})


def changes_state(*, before: ArrayLike, after: ArrayLike) -> Codes:
    """A contact goes from closed to open or back, given codes of CONTACT_STATES.

    Out of range if it stays as it is. A high resistance at either end is borderline: something moved, but
    it neither made nor broke as it should.
    """
    table = np.asarray(
        [[_change(first, second) for second in CONTACT_STATES] for first in CONTACT_STATES], dtype=np.int8
    )
    return np.asarray(table[np.asarray(before), np.asarray(after)])


def _change(before: ContactState, after: ContactState) -> np.int8:
    if ContactState.CANNOT_JUDGE in {before, after}:
        return CANNOT_JUDGE
    if {before, after} == _CHANGES:
        return IN_RANGE
    if before is after and before in _CHANGES | {ContactState.HIGH_RESISTANCE}:
        return OUT_OF_RANGE
    return BORDERLINE


def _columns(*columns: ArrayLike) -> tuple[Column, ...]:
    return tuple(np.asarray(column, dtype=np.float64) for column in columns)


def _usable(u: Column) -> Flags:
    return np.asarray(np.isfinite(u) & (u > 0))


def _relation(margin: Column, code: Codes, *, judged: Flags) -> Relation:
    known = judged & np.isfinite(margin)
    return Relation(
        margin=np.where(known, margin, np.nan),
        code=np.where(known, code, CANNOT_JUDGE).astype(np.int8),
    )
