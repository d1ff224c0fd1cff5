"""Whether what a device logged on a step fits what stands there. Knows no database."""

from collections.abc import Collection
from enum import Enum, auto
from uuid import UUID

from assessments.sync.entries import Logged


class Fit(Enum):
    FREE = auto()  # nothing stands there
    CORRECTS = auto()  # what stands there is what the person saw
    SAME = auto()  # another device logged the same
    SETTLED = auto()  # a person has seen both, and decided
    CONFLICT = auto()  # something stands there that the person hasn't seen
    EARLY = auto()  # what it corrects isn't in yet


def fit(logged: Logged, *, standing: UUID | None, same: bool, known: Collection[UUID]) -> Fit:
    """How an entry fits the one that stands on its step, if any.

    ``same`` says that it says the same; ``known`` are the ids of all that was ever logged for the attempt.
    """
    if logged.decided is not None and logged.decided.against == standing:
        return Fit.SETTLED
    if logged.corrects is not None:
        if logged.corrects not in known:
            return Fit.EARLY
        return Fit.CORRECTS if logged.corrects == standing else Fit.CONFLICT
    if standing is None:
        return Fit.FREE
    return Fit.SAME if same else Fit.CONFLICT
