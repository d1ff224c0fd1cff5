"""An instrument that was found in error: how wrong it was on the days since it was last known to be right.

Nobody saw the error come about. So it is taken three ways, and what depends on it is worked out under each:
in full over the whole time, growing in proportion to time, and there at once from a known event on.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.certificates import CertificatePoint, CorrectionCurve
from rigs.metrology.instruments import InstrumentError
from rigs.metrology.quantities import Quantity

Column = NDArray[np.float64]


class Course(StrEnum):
    """How the error came about."""

    FULL = "full"
    GROWTH = "growth"
    STEP = "step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """``curves`` are the errors as found, in SI. ``since`` is the last good evidence, ``until`` the finding.

    ``event`` is a moment between them at which something happened to the instrument, if one is known.
    """

    curves: Mapping[Quantity, CorrectionCurve]
    since: datetime
    until: datetime
    event: datetime | None = None

    def __post_init__(self) -> None:
        if not self.since < self.until:
            raise InstrumentError("The last good evidence must be from before the finding.")
        if self.event is not None and not self.since <= self.event <= self.until:
            raise InstrumentError("What happened to it lies between the last good evidence and the finding.")

    @property
    def courses(self) -> tuple[Course, ...]:
        return tuple(Course) if self.event is not None else (Course.FULL, Course.GROWTH)

    def shares(self, at: datetime) -> Column:
        """How much of the error was there at a moment, from 0 to 1, for each of ``courses``.

        Outside the time in doubt nothing: before it the instrument was right, after it made right or taken
        away.
        """
        if not self.since <= at <= self.until:
            return np.zeros(len(self.courses))
        found = [1.0, (at - self.since) / (self.until - self.since)]
        if self.event is not None:
            found.append(1.0 if at >= self.event else 0.0)
        return np.array(found)

    def error_found(self, *, quantity: Quantity, reading: float, corrected_by: float = 0.0) -> float:
        """The error in full of a figure that is a reading (SI), NaN where it isn't known.

        ``corrected_by`` is what an earlier certificate already added to the reading to make the figure.
        """
        curve = self.curves.get(quantity)
        if curve is None:
            return float("nan")
        return float(curve.correct(reading=reading).error) + corrected_by

    def errors(
        self, *, quantity: Quantity, reading: float, at: datetime, corrected_by: float = 0.0
    ) -> Column:
        """What is to be taken off a figure read at a moment, for each of ``courses``. NaN where unknown."""
        shares = self.shares(at)
        if not shares.any():
            return shares
        return shares * self.error_found(quantity=quantity, reading=reading, corrected_by=corrected_by)


def curve_as_found(points: Mapping[float, float]) -> CorrectionCurve:
    """Errors as found at nominal values, all in SI, as straight lines between them.

    Where all nominals are above zero the lines go on from the lowest to no error at zero, for instruments are
    zeroed before they are used; and below zero the errors are taken to be as large, the other way (common
    practice, no source). Beyond the highest nothing is known.
    """
    known = dict(points)
    if known and min(known) > 0:
        known |= {-nominal: -error for nominal, error in points.items()} | {0.0: 0.0}
    # What the laboratory's own uncertainty was plays no part in a correction.
    return CorrectionCurve(
        points=tuple(
            CertificatePoint(nominal=nominal, error=known[nominal], expanded=1.0) for nominal in sorted(known)
        )
    )
