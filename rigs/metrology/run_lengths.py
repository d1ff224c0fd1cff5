"""How often a chart cries wolf, and how soon it sees a real shift. In σ of one plotted value.

Integral equations on Gauss–Legendre nodes (Crowder, Technometrics 29 (1987) 401–407), not simulation.
"""

import math
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from rigs.metrology.drift import EWMA_WEIGHT, EWMA_WIDTH, ewma_half_widths
from rigs.metrology.samples import Column, SampleError, finite, positive

_NODES = 60
# A fixed limit on single values cuts the kernel off sharply: more nodes make up for it.
_NODES_BY_A_CUT = 200


def ewma_run_length(
    *, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH, shift: float = 0.0, outer: float = math.inf
) -> float:
    """Return the mean number of checks to an alarm, the limits as wide as they become in the end.

    ``shift`` is the mean's, in σ: 0 gives the run length in control. ``outer`` adds a fixed limit on single
    values, in σ (a watch at so many percent of the baseline is one).
    """
    finite(shift, of="shift")
    half = float(ewma_half_widths(10_000, weight=weight, width=width)[-1])
    nodes, areas = _quadrature(-half, half, cut=math.isfinite(outer))
    kernel = _ewma_kernel(nodes, nodes, weight=weight, shift=shift, outer=outer) * areas
    lengths = np.linalg.solve(np.eye(nodes.size) - kernel, np.ones(nodes.size))
    from_centre = _ewma_kernel(np.zeros(1), nodes, weight=weight, shift=shift, outer=outer) * areas
    return 1.0 + float((from_centre @ lengths)[0])


@lru_cache(maxsize=64)
def false_alarm_chance(
    *,
    checks: int,
    charts: int = 1,
    centre_u: float = 0.0,
    allowed_u: float = 0.0,
    weight: float = EWMA_WEIGHT,
    width: float = EWMA_WIDTH,
    outer: float = math.inf,
) -> float:
    """Return the chance that any of ``charts`` in control raises an alarm within ``checks`` checks each.

    Exact limits, as the chart draws them. ``centre_u`` is the standard uncertainty of the baseline's mean in
    σ: a chart around a mean that is off alarms oftener. ``allowed_u`` is what its limits are widened by for
    that, as `drift.ewma` does with its ``centre_u``. For the whole board, ``charts`` is the number of its
    rigs times that of the values charted on each, taken as independent.
    """
    if checks < 1 or charts < 1:
        raise SampleError(f"{checks} checks on {charts} charts. Give 1 or more of each.")
    positive(centre_u, of="baseline's uncertainty", or_zero=True)
    halves = np.hypot(
        ewma_half_widths(checks, weight=weight, width=width),
        width * positive(allowed_u, of="uncertainty allowed for", or_zero=True),
    )
    # An even number of points, and the chart is symmetric: the upper half says it all.
    offsets, chances = (points[6:] for points in np.polynomial.hermite_e.hermegauss(12))
    shifts = centre_u * offsets if centre_u else np.zeros(1)
    quiet = [_quiet(halves, shift=shift, weight=weight, outer=outer) for shift in shifts]
    return 1.0 - float(np.average(quiet, weights=chances if centre_u else None)) ** charts


def cusum_run_length(*, allowance: float, decision: float, shift: float = 0.0) -> float:
    """Return the mean number of checks to an alarm on either side, k and h in σ.

    Each side by its integral equation, with the sum's pile at zero apart; together 1/L = 1/L⁺ + 1/L⁻
    (van Dobben de Bruyn 1968).
    """
    sides = (_cusum_side(allowance, decision, sign * finite(shift, of="shift")) for sign in (1, -1))
    return 1.0 / sum(1.0 / side for side in sides)


def _quiet(halves: Column, *, shift: float, weight: float, outer: float) -> float:
    """Return the chance of no alarm within these half-widths: the density within, check by check."""
    nodes, mass = np.zeros(1), np.ones(1)
    for half in halves:
        nodes_next, areas = _quadrature(-half, half, cut=math.isfinite(outer))
        mass = (mass @ _ewma_kernel(nodes, nodes_next, weight=weight, shift=shift, outer=outer)) * areas
        nodes = nodes_next
    return float(mass.sum())


def _ewma_kernel(start: Column, end: Column, *, weight: float, shift: float, outer: float) -> Column:
    """Return the density of the average moving from each ``start`` (rows) to each ``end`` (columns)."""
    value = (end[None, :] - (1 - weight) * start[:, None]) / weight
    density = np.where(np.abs(value) <= outer, _normal(value - shift), 0.0)
    return np.asarray(density / weight)


def _cusum_side(allowance: float, decision: float, shift: float) -> float:
    positive(allowance, of="allowance", or_zero=True)
    nodes, areas = _quadrature(0.0, positive(decision, of="decision interval"))
    starts = np.append(nodes, 0.0)
    kernel = np.empty((_NODES + 1, _NODES + 1))
    kernel[:, :-1] = _normal(nodes[None, :] + allowance - starts[:, None] - shift) * areas
    kernel[:, -1] = ndtr(allowance - starts - shift)
    return float(np.linalg.solve(np.eye(_NODES + 1) - kernel, np.ones(_NODES + 1))[-1])


def _quadrature(low: float, high: float, *, cut: bool = False) -> tuple[Column, Column]:
    nodes, weights = _gauss_legendre(_NODES_BY_A_CUT if cut else _NODES)
    return (low + high) / 2 + nodes * (high - low) / 2, weights * (high - low) / 2


@lru_cache(maxsize=4)
def _gauss_legendre(count: int) -> tuple[Column, Column]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _normal(z: Column) -> Column:
    return np.asarray(np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi))
