"""What a reading shows: does it agree with the rig today, conform to limits, is a contact open or closed.

Everything here works on columns: arguments broadcast, results are arrays of one shape, in whatever one unit
the arguments share. A row with a NaN or infinite figure, or with no uncertainty at all, can't be judged, and
its code says so: no row gets another verdict by accident. A figure that can't be right in any row (a negative
spread, limits the wrong way round) raises ConformityError.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from rigs.metrology.uncertainty import COVERAGE, t_quantiles, welch_satterthwaite

COVERAGE_OUT: Final = 0.9973
"""A reading further off than this level of confidence allows is out of range: k = 3 for a normal."""

TIE: Final = 1e-9
"""Decimals as typed are not exact in binary: this close to a bound, relatively, is on it."""

Column: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Codes: TypeAlias = NDArray[np.int8]


class ConformityError(ValueError):
    """A column that can't be right. The message names it, and the first row at fault."""


class Verdict(StrEnum):
    IN_RANGE = "in-range"
    BORDERLINE = "borderline"
    OUT_OF_RANGE = "out-of-range"
    CANNOT_JUDGE = "cannot-judge"


VERDICTS: Final = tuple(Verdict)
IN_RANGE, BORDERLINE, OUT_OF_RANGE, CANNOT_JUDGE = (np.int8(code) for code in range(len(VERDICTS)))


class ContactState(StrEnum):
    CLOSED = "closed"
    OPEN = "open"
    HIGH_RESISTANCE = "high-resistance"
    BORDERLINE = "borderline"
    BELOW_LEADS = "below-leads"
    CANNOT_JUDGE = "cannot-judge"


CONTACT_STATES: Final = tuple(ContactState)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Columns of one shape. `code` indexes VERDICTS; `lower` and `upper` are the ends of the expected range.

    `zeta` of a row that can't be judged is not finite, nor is its range if that can't be known. In range is
    |ζ| ≤ `t_in`, out of range |ζ| ≥ `t_out`.
    """

    zeta: Column
    u: Column
    dof: Column
    t_in: Column
    t_out: Column
    lower: Column
    upper: Column
    code: Codes


def agrees(
    *,
    reading: ArrayLike,
    value: ArrayLike,
    repeat_sd: ArrayLike,
    repeat_dof: ArrayLike,
    repeat_share: ArrayLike,
    value_u: ArrayLike,
    value_dof: ArrayLike,
    instrument_u: ArrayLike,
    floor: ArrayLike = 0.0,
) -> Agreement:
    """Compare readings with today's value: ζ = (y − m)/u, as the zeta score of ISO 13528.

    u² = s_r²(1 + k) + u_m² + u_inst². `repeat_share` k is the part of the value's variance that comes from
    the same repeats, so s_r²(1 + k) is one component with `repeat_dof`; `value_u` leaves that part out and
    has `value_dof`; the instrument's ν is infinite. In range if |ζ| ≤ t(95.45 %, ν_eff), out of range if
    |ζ| ≥ t(99.73 %, ν_eff), else borderline (JCGM 100, G.4). `floor` is a half-width that the expected range
    is never narrower than: where it is the wider one, u is scaled up to it, and ζ and `t_out` with it.
    """
    sd, share = _not_negative(repeat_sd, "repeat spread"), _not_negative(repeat_share, "repeat share")
    parts = [
        np.asarray(sd * np.sqrt(1 + share)),
        _not_negative(value_u, "value's uncertainty"),
        _not_negative(instrument_u, "instrument's uncertainty"),
    ]
    dof = [
        _not_negative(repeat_dof, "repeat dof"),
        _not_negative(value_dof, "value's dof"),
        np.asarray(math.inf),
    ]
    computed_u = np.sqrt(sum((part**2 for part in parts), start=np.zeros(())))
    known_u = np.where(np.isfinite(computed_u) & (computed_u > 0), computed_u, np.nan)
    effective = welch_satterthwaite(u=parts, dof=dof)
    t_in, t_out = t_quantiles(ps=(COVERAGE, COVERAGE_OUT), dof=effective)
    u = np.maximum(known_u, _not_negative(floor, "floor") / t_in)
    m, y = _finite(value), _finite(reading)
    zeta = (y - m) / u
    share_in, share_out = np.abs(zeta) / t_in, np.abs(zeta) / t_out
    code = np.where(share_in <= 1 + TIE, IN_RANGE, np.where(share_out >= 1 - TIE, OUT_OF_RANGE, BORDERLINE))
    names = ("zeta", "u", "dof", "t_in", "t_out", "lower", "upper")
    columns = np.broadcast_arrays(zeta, u, effective, t_in, t_out, m - t_in * u, m + t_in * u)
    return Agreement(
        **dict(zip(names, columns, strict=True)),
        code=_or_cannot_judge(code, judged=np.isfinite(zeta)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Conformance:
    """Columns of one shape. `code` indexes VERDICTS.

    `probability` is that of the true value lying within the limits, normal (JCGM 106, 7.1), NaN where a row
    can't be judged. `decidable` says whether a reading could be found in range at all.
    """

    code: Codes
    probability: Column
    decidable: Flags


def conforms(
    *,
    reading: ArrayLike,
    lower_limit: ArrayLike,
    upper_limit: ArrayLike,
    u: ArrayLike,
    expanded: ArrayLike,
) -> Conformance:
    """Judge readings by stated limits, with guard bands w = U (ILAC-G8:09/2019, JCGM 106 clause 8).

    In range if T_L + U ≤ y ≤ T_U − U, out of range if y < T_L − U or y > T_U + U, else borderline. A limit
    may be infinite on one side. Raises ConformityError for limits without a range between them.
    """
    low, high = _limits(lower_limit, upper_limit)
    y, w, spread = _finite(reading), _not_negative(expanded, "expanded uncertainty"), _not_negative(u, "u")
    tie = TIE * (np.abs(y) + w)
    inside = (low + w <= y + tie) & (y - tie <= high - w)
    outside = (y + tie < low - w) | (y - tie > high + w)
    with np.errstate(divide="ignore", invalid="ignore"):
        probability = ndtr((high - y) / spread) - ndtr((low - y) / spread)
    judged = np.isfinite(y) & np.isfinite(w) & np.isfinite(spread) & (spread > 0) & (w > 0)
    code = np.where(inside, IN_RANGE, np.where(outside, OUT_OF_RANGE, BORDERLINE))
    decidable = can_decide(lower_limit=low, upper_limit=high, expanded=w)
    return Conformance(
        code=_or_cannot_judge(code, judged=judged),
        probability=np.where(judged, probability, np.nan),
        decidable=np.broadcast_to(decidable, np.broadcast_shapes(code.shape, judged.shape)),
    )


def can_decide(*, lower_limit: ArrayLike, upper_limit: ArrayLike, expanded: ArrayLike) -> Flags:
    """Say before any reading whether one could be in range: U ≤ (T_U − T_L)/2."""
    low, high = _limits(lower_limit, upper_limit)
    return np.asarray(_not_negative(expanded, "expanded uncertainty") <= (high - low) / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Columns of one shape. `code` indexes CONTACT_STATES.

    `resistance` is without leads, never below 0 unless by more than its uncertainty; NaN where over-limit.
    """

    resistance: Column
    expanded: Column
    code: Codes


def contact_state(
    *,
    resistance: ArrayLike,
    over_limit: ArrayLike,
    lead_resistance: ArrayLike,
    instrument_u: ArrayLike,
    lead_u: ArrayLike,
    closed_limit: ArrayLike = 1.0,
    open_limit: ArrayLike = 1e6,
    coverage: ArrayLike = 2.0,
) -> Contact:
    """Tell what a contact is from a resistance read across it, in ohms, guarded by U = k·√(u² + u_leads²).

    Closed if R − R_leads + U ≤ `closed_limit`. Over-limit, or at least `open_limit`: open. Not closed, and
    not open: high resistance, which is neither and a finding of its own. Between: borderline. Leads that read
    more than the contact does, by more than U, are below-leads: one of the two is wrong.

    Leads not measured are NaN: an over-limit contact is open all the same, any other can't be judged. Leads
    over the limit themselves are infinite, and then nothing read with them can be judged.
    """
    over = np.asarray(over_limit, dtype=np.bool_)
    read, leads = _column(resistance), _column(lead_resistance)
    meter_u, leads_u = (
        _not_negative(instrument_u, "meter's uncertainty"),
        _not_negative(lead_u, "leads' uncertainty"),
    )
    expanded = _not_negative(coverage, "coverage factor") * np.hypot(meter_u, leads_u)
    with np.errstate(invalid="ignore"):
        net = read - leads
    limit = _column(closed_limit)
    known = np.isfinite(net) & np.isfinite(expanded) & (expanded > 0)
    is_open = (over & ~np.isinf(leads)) | (known & ~over & (read >= _column(open_limit)))
    cases = {
        ContactState.OPEN: is_open,
        ContactState.CANNOT_JUDGE: over | ~known,
        ContactState.BELOW_LEADS: net < -expanded,
        ContactState.CLOSED: net + expanded <= limit * (1 + TIE),
        ContactState.HIGH_RESISTANCE: net - expanded > limit * (1 + TIE),
    }
    code = np.select(
        list(cases.values()),
        [CONTACT_STATES.index(state) for state in cases],
        default=CONTACT_STATES.index(ContactState.BORDERLINE),
    ).astype(np.int8)
    floored = np.where((net < 0) & (net >= -expanded), 0.0, net)
    without_leads = np.where(over | ~known, np.nan, floored)
    return Contact(resistance=without_leads, expanded=np.broadcast_to(expanded, code.shape), code=code)


_STATE_VERDICTS: Final = {
    ContactState.BORDERLINE: BORDERLINE,
    ContactState.BELOW_LEADS: BORDERLINE,
    ContactState.CANNOT_JUDGE: CANNOT_JUDGE,
}


def is_in_state(*, code: ArrayLike, expected: ContactState) -> Codes:
    """Verdict codes where one state was expected. Below-leads is borderline: the assessor looks at it."""
    return np.asarray(_verdicts_of_states(expected)[np.asarray(code)])


@cache
def _verdicts_of_states(expected: ContactState) -> Codes:
    return np.asarray(
        [
            IN_RANGE if state is expected else _STATE_VERDICTS.get(state, OUT_OF_RANGE)
            for state in CONTACT_STATES
        ],
        dtype=np.int8,
    )


def _column(values: ArrayLike) -> Column:
    return np.asarray(values, dtype=np.float64)


def _finite(values: ArrayLike) -> Column:
    """With NaN for infinity: neither is a figure to reckon with."""
    column = _column(values)
    return np.where(np.isfinite(column), column, np.nan)


def _not_negative(values: ArrayLike, name: str) -> Column:
    column = _column(values)
    if np.any(column < 0):
        row = int(np.argmax(np.ravel(column) < 0))
        raise ConformityError(f"The {name} is below zero in row {row + 1}: {np.ravel(column)[row]:g}.")
    return column


def _limits(lower_limit: ArrayLike, upper_limit: ArrayLike) -> tuple[Column, Column]:
    low, high = np.broadcast_arrays(_column(lower_limit), _column(upper_limit))
    wrong = ~(low < high) | (np.isinf(low) & np.isinf(high))
    if np.any(wrong):
        row = int(np.argmax(np.ravel(wrong)))
        raise ConformityError(
            f"The limits in row {row + 1} have no range between them: "
            f"{np.ravel(low)[row]:g} to {np.ravel(high)[row]:g}. Give a lower and a higher one.",
        )
    return low, high


def _or_cannot_judge(code: NDArray[np.int8], *, judged: Flags) -> Codes:
    return np.where(judged, code, CANNOT_JUDGE).astype(np.int8)
