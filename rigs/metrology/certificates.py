"""What a calibration certificate says: the error of an instrument, as found and as left.

All figures of one curve are in one unit; SI where a range's specification is judged.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.conformity import VERDICTS, Verdict, conforms
from rigs.metrology.instruments import InstrumentError, RangeSpec


class OutsideCertificate(InstrumentError):
    """A certificate says nothing outside the span of its points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatePoint:
    """`error` is indication − reference at `nominal`; `expanded` is the certificate's U, with its k."""

    nominal: float
    error: float
    expanded: float
    k: float = 2.0

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.nominal, self.error, self.expanded, self.k))):
            raise InstrumentError(
                "A certificate's point needs a nominal value, an error, U and k: all numbers."
            )
        if self.expanded <= 0 or self.k <= 0:
            raise InstrumentError(f"At {self.nominal:g}, U and k must be above 0.")

    @property
    def u(self) -> float:
        return self.expanded / self.k


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """Columns of one shape. Where the certificate doesn't reach, `covered` is False and the rest NaN."""

    value: NDArray[np.float64]
    error: NDArray[np.float64]
    u: NDArray[np.float64]
    covered: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionCurve:
    """Points in order of their nominal values, joined by straight lines."""

    points: tuple[CertificatePoint, ...]

    def __post_init__(self) -> None:
        if not self.points:
            raise InstrumentError("A certificate has at least one point.")
        for before, after in pairwise(self.points):
            if after.nominal == before.nominal:
                raise InstrumentError(f"The certificate has two points at {after.nominal:g}. Leave one out.")
            if after.nominal < before.nominal:
                raise InstrumentError(
                    f"The point at {after.nominal:g} is out of order. Sort them by nominal value."
                )

    def correct(self, *, reading: ArrayLike) -> Corrections:
        """Take the error off readings: value = y − e(y), with the uncertainty of e.

        Both error and u are interpolated along the reading. Taking the error at the reading rather than at
        the corrected value makes a difference of the error times its own slope, far below u. Neighbouring
        points share a reference, so their u is joined as if fully correlated (GUM F.1.2.3): in quadrature
        it would be smaller between the points than at them.
        """
        y = np.asarray(reading, dtype=np.float64)
        nominal = self._column("nominal")
        covered = (y >= nominal[0]) & (y <= nominal[-1])
        at = np.where(covered, y, np.nan)
        error = np.interp(at, nominal, self._column("error"))
        u = np.interp(at, nominal, self._column("u"))
        return Corrections(value=at - error, error=error, u=u, covered=covered)

    def correct_one(self, *, reading: float) -> tuple[float, float]:
        """Corrected value and u of its correction. Raises OutsideCertificate beyond the points."""
        found = self.correct(reading=reading)
        if not found.covered:
            raise OutsideCertificate(
                f"The certificate covers {self.points[0].nominal:g} to {self.points[-1].nominal:g}; "
                f"{reading:g} is outside it.",
            )
        return float(found.value), float(found.u)

    def verdicts(self, *, spec: RangeSpec) -> tuple[Verdict, ...]:
        """Judge each point's error (in SI) by the range's specification, guarded by the point's U."""
        allowed = [spec.half_width(reading_si=point.nominal) for point in self.points]
        found = conforms(
            reading=self._column("error"),
            lower_limit=np.negative(allowed),
            upper_limit=allowed,
            u=self._column("u"),
            expanded=self._column("expanded"),
        )
        return tuple(VERDICTS[code] for code in found.code)

    def _column(self, name: str) -> NDArray[np.float64]:
        return np.asarray([getattr(point, name) for point in self.points], dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """As found is what the instrument was worth until then; as left, if it was adjusted, from then on."""

    as_found: CorrectionCurve
    as_left: CorrectionCurve | None = None

    @property
    def before(self) -> CorrectionCurve:
        return self.as_found

    @property
    def after(self) -> CorrectionCurve:
        return self.as_left or self.as_found
