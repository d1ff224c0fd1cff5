"""Levels in reference air where some rooms were recorded and others were not.

A history in which no room was ever recorded stays as it was read: what a session adds to it then holds the
weather's share too. As soon as one room is known, all of it is carried in reference air. A session without
one is taken to have had the usual air, the mean of those known, and how far a room strays from that is part
of its uncertainty. A barometer's or thermometer's own error is taken as new in each session, which is on the
safe side: what is the same in all of them cancels.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rigs.metrology.environment import Density
from rigs.metrology.samples import SampleError, positive

USUAL_SPREAD = 0.013
"""Relative standard deviation of a room's air density from day to day at one place.

Pressure 11 hPa of 1013, 1.1 %; a room's temperature 2 K of 293, 0.7 % (both from memory, north-west Europe).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualAir:
    """kg/m³, the mean of ``known`` recorded rooms."""

    density: float
    known: int

    def __post_init__(self) -> None:
        positive(self.density, of="usual density of the air")
        if self.known < 1:
            raise SampleError("No room is known. Leave the history as it was read.")

    @property
    def of_a_session(self) -> Density:
        """A session whose room isn't known: u² = s²(1 + 1/n), the session's own and the mean's."""
        u = USUAL_SPREAD * math.sqrt(1 + 1 / self.known)
        return Density(value=self.density, u=u * self.density, stated=False)

    def mean_u(self, *, days: Sequence[tuple[int, Density | None]]) -> float:
        """Relative standard uncertainty that the air adds to the mean of readings on several days.

        ``days`` has the number of readings of each day, and its density where it is known. The known ones
        and each unknown one's own straying are independent; the usual air's is common to the unknown:
        u² = Σ_known w²u² + s²(Σ_unknown w² + (Σ_unknown w)²/n).
        """
        total = sum(count for count, _ in days)
        if total < 1:
            raise SampleError("No readings on any day. Count them again.")
        known = sum((count / total * air.u / air.value) ** 2 for count, air in days if air is not None)
        unknown = [count / total for count, air in days if air is None]
        own = math.fsum(share**2 for share in unknown)
        return math.sqrt(known + USUAL_SPREAD**2 * (own + math.fsum(unknown) ** 2 / self.known))


def usual_air(densities: Sequence[Density]) -> UsualAir | None:
    """The mean of what is known; None where nothing is, and the history stays as it was read."""
    if not densities:
        return None
    mean = math.fsum(each.value for each in densities) / len(densities)
    return UsualAir(density=mean, known=len(densities))
