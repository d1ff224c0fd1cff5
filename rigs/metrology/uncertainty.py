"""Uncertainty budgets: components, their combination, coverage factors, and the one place that rounds.

Symbols and rules as in JCGM 100:2008 (GUM).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

COVERAGE: Final = 0.9545
"""Level of confidence of every expanded uncertainty here: k = 2 for a normal distribution."""


class UncertaintyError(ValueError):
    """A component or a figure that no uncertainty follows from. The message says what is wrong with it."""


class Distribution(StrEnum):
    """How a half-width is spread."""

    STANDARD = "standard"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u-shaped"
    EVEN_CHANCE = "even chance"
    TWO_IN_THREE = "two chances in three"

    @property
    def divisor(self) -> float:
        """What makes a standard uncertainty of the half-width."""
        return _DIVISORS[self]


_DIVISORS: Mapping[Distribution, float] = {
    Distribution.STANDARD: 1.0,  # is one already
    Distribution.RECTANGULAR: math.sqrt(3),  # GUM 4.3.7
    Distribution.TRIANGULAR: math.sqrt(6),  # GUM 4.3.9
    Distribution.U_SHAPED: math.sqrt(2),  # GUM H.1.3.4, the temperature of a cycling bath
    Distribution.EVEN_CHANCE: 1 / 1.48,  # GUM 4.3.5
    Distribution.TWO_IN_THREE: 1.0,  # GUM 4.3.6
}


def trapezoid_divisor(*, top: float) -> float:
    """Divisor for a symmetric trapezoid whose top is `top` times its base: √(6 / (1 + β²)), GUM 4.3.9."""
    if not 0 <= top <= 1:
        raise UncertaintyError("A trapezoid's top is between 0 and 1 times its base.")
    return math.sqrt(6 / (1 + top**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One line of a budget.

    `half_width` is in the input's own unit, and `sensitivity` turns it into the result's. `dof` is infinite
    for a half-width taken as certain, n − 1 for a mean of n readings.
    """

    name: str
    half_width: float
    distribution: Distribution = Distribution.RECTANGULAR
    sensitivity: float = 1.0
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.half_width) and self.half_width >= 0):
            raise UncertaintyError(f"{self.name}: a half-width is a finite number, 0 or more.")
        if not math.isfinite(self.sensitivity):
            raise UncertaintyError(f"{self.name}: a sensitivity is a finite number.")
        if not self.dof > 0:
            raise UncertaintyError(f"{self.name}: no degrees of freedom. Take at least two readings.")

    @classmethod
    def standard(cls, *, name: str, u: float, dof: float = math.inf) -> "Component":
        return cls(name=name, half_width=u, distribution=Distribution.STANDARD, dof=dof)

    @classmethod
    def display(cls, *, name: str, resolution: float) -> "Component":
        """Half a digit either way, rectangular: u = resolution / √12 (GUM F.2.2.1)."""
        return cls(name=name, half_width=resolution / 2)

    @property
    def u(self) -> float:
        """Standard uncertainty that this line adds to the result, in the result's unit."""
        return abs(self.sensitivity) * self.half_width / self.distribution.divisor


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Independent components in quadrature (GUM 5.1.2)."""

    components: tuple[Component, ...]

    def __post_init__(self) -> None:
        if not self.components:
            raise UncertaintyError("A budget has at least one component.")

    @property
    def combined(self) -> float:
        return math.hypot(*(component.u for component in self.components))

    @property
    def dof(self) -> float:
        return float(
            welch_satterthwaite(
                u=[component.u for component in self.components],
                dof=[component.dof for component in self.components],
            ),
        )

    def coverage_factor(self, *, p: float = COVERAGE) -> float:
        return coverage_factor(dof=self.dof, p=p)

    def expanded(self, *, p: float = COVERAGE) -> float:
        return self.coverage_factor(p=p) * self.combined


def coverage_factor(*, dof: float, p: float = COVERAGE) -> float:
    """Coverage factor t_p(ν), at ν as it is: the GUM's own examples truncate it first (G.4.1)."""
    return float(t_quantile(p=p, dof=dof))


def t_quantile(*, p: float, dof: ArrayLike) -> NDArray[np.float64]:
    """Two-sided Student quantile t_p(ν) of each ν. Infinite ν gives the normal's; NaN or 0 gives NaN."""
    return t_quantiles(ps=(p,), dof=dof)[0]


def t_quantiles(*, ps: tuple[float, ...], dof: ArrayLike) -> tuple[NDArray[np.float64], ...]:
    """`t_quantile` at several levels of confidence."""
    if not all(0 < p < 1 for p in ps):
        raise UncertaintyError("A level of confidence is between 0 and 1.")
    nu = np.asarray(dof, dtype=np.float64)
    nu = np.where(nu > 0, nu, np.nan)
    if nu.size < WORTH_SORTING:
        return tuple(np.asarray(stdtrit(nu, (1 + p) / 2)) for p in ps)
    distinct, where = np.unique(nu, return_inverse=True)
    return tuple(stdtrit(distinct, (1 + p) / 2)[where].reshape(nu.shape) for p in ps)


WORTH_SORTING: Final = 32
"""Finding a longer column's distinct values costs a tenth of the quantiles, and often saves most of them."""


def welch_satterthwaite(*, u: Sequence[ArrayLike], dof: Sequence[ArrayLike]) -> NDArray[np.float64]:
    """Effective degrees of freedom ν_eff = (Σu²)² / Σ(u⁴/ν), GUM G.4.1 (G.2b).

    `u` and `dof` hold one column for each component, all of one shape or broadcast to it. Components with
    u = 0 or ν = ∞ add nothing to the sum; if no component does, ν_eff is infinite. A component with ν = 0
    makes it 0, NaN makes it NaN.
    """
    variances = [np.square(np.asarray(column, dtype=np.float64)) for column in u]
    total = sum(variances, start=np.zeros(()))
    reciprocal = np.zeros(np.shape(total))
    with np.errstate(divide="ignore", invalid="ignore"):
        for variance, nu in zip(variances, dof, strict=True):
            share = np.where(variance > 0, variance / total, variance)
            reciprocal = reciprocal + np.where(
                share == 0, 0.0, np.square(share) / np.asarray(nu, dtype=np.float64)
            )
        return np.asarray(1 / reciprocal)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """A result as it is written down: estimate and expanded uncertainty to the same decimal."""

    value: Decimal
    expanded: Decimal


def reported(*, value: Decimal | float, expanded: Decimal | float) -> Reported:
    """Uncertainty to two significant digits, the estimate to the same decimal (GUM 7.2.6).

    The GUM rounds 10.47 up to 11 but 28.05 to 28. The rule here that gives both: round up, unless what is
    dropped is a tenth of the last digit kept or less.
    """
    uncertainty = Decimal(str(expanded))
    if not (uncertainty.is_finite() and uncertainty > 0):
        raise UncertaintyError("Only an uncertainty above 0 can be rounded to two digits.")
    last = Decimal(1).scaleb(uncertainty.adjusted() - 1)
    kept = uncertainty.quantize(last, rounding=ROUND_DOWN)
    if (uncertainty - kept) * 10 > last:
        kept += last
    # 99.5 becomes 100, three digits: one decimal fewer.
    last = Decimal(1).scaleb(kept.adjusted() - 1)
    return Reported(value=rounded(value=value, last=last), expanded=rounded(value=kept, last=last))


def rounded(*, value: Decimal | float, last: Decimal) -> Decimal:
    """`value` to the decimal place of `last` (0.01, 1, 10 …), halves to even."""
    exact = Decimal(str(value))
    if not exact.is_finite():
        raise UncertaintyError("Only a finite number can be rounded.")
    return exact.quantize(last, rounding=ROUND_HALF_EVEN)


def last_place(number: Decimal) -> Decimal:
    """One step of the last digit written: 0.01 for 2.40, 1 for 230."""
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int):
        raise UncertaintyError("Only a finite number has a last digit.")
    return Decimal(1).scaleb(exponent)
