"""Columns of numbers, checked once at the door: every other function here may then trust them."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]


class SampleError(ValueError):
    """Numbers that can't be worked with. The message says what is wrong, and what to do."""


def sample(values: Sequence[float] | Column, *, of: str, at_least: int = 1) -> Column:
    """Return ``values`` as a column, or raise SampleError: too few of them, or one that isn't a number.

    ``of`` names them in the plural, as in "readings".
    """
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise SampleError(f"The {of} must be one plain list of numbers.")
    if column.size < at_least:
        raise SampleError(f"{_count(column.size, of)}: at least {at_least} are needed. Add more.")
    broken = np.flatnonzero(~np.isfinite(column))
    if broken.size:
        raise SampleError(
            f"Number {broken[0] + 1} of the {of} is {column[broken[0]]}. Type it again, or leave it out."
        )
    return column


def finite(value: float, *, of: str) -> float:
    """Return ``value``, or raise SampleError when it is infinite or not a number."""
    if not math.isfinite(value):
        raise SampleError(f"The {of} is {value}, not a number. Give a number.")
    return float(value)


def positive(value: float, *, of: str, or_zero: bool = False) -> float:
    """Return ``value``, or raise SampleError when it isn't above zero (or, if allowed, zero)."""
    if finite(value, of=of) < 0 or (value == 0 and not or_zero):
        allowed = "of zero or more" if or_zero else "above zero"
        raise SampleError(f"The {of} is {value:g}. Give a number {allowed}.")
    return float(value)


def each_finite(values: float | Column, *, of: str) -> None:
    """Raise SampleError where one of ``values`` is infinite or not a number."""
    finite(float(np.min(values)), of=of)
    finite(float(np.max(values)), of=of)


def each_positive(values: float | Column, *, of: str, or_zero: bool = False) -> None:
    """Raise SampleError where one of ``values`` isn't above zero (or, if allowed, zero)."""
    each_finite(values, of=of)
    positive(float(np.min(values)), of=of, or_zero=or_zero)


def probability(value: float, *, of: str) -> float:
    """Return ``value``, or raise SampleError when it isn't strictly between 0 and 1."""
    if not 0.0 < value < 1.0:
        raise SampleError(f"The {of} is {value:g}. Give a number between 0 and 1: 95 % is 0.95.")
    return float(value)


def _count(size: int, of: str) -> str:
    if size == 0:
        return f"There are no {of}"
    return f"There is only {size} of the {of}" if size == 1 else f"There are only {size} {of}"
