"""What an error in a baseline's or in checks' readings makes of a present value. SI; times in days."""

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.local_level import (
    BaselineLevel,
    CheckMean,
    LevelModel,
    asked,
    in_order,
    predictions,
    seen,
    spreads,
)

Column = NDArray[np.float64]


def passed_on(
    model: LevelModel,
    *,
    baseline: BaselineLevel,
    checks: Sequence[CheckMean],
    at: float,
    session: Hashable | None,
    of_baseline: Column,
    of_checks: Sequence[Column],
) -> Column:
    """Return the error of what `present_value` says at ``at``, for means that have these errors.

    The filter is linear in the means, and its gains depend on their times and numbers alone: the errors run
    through the same gains by themselves. Errors are columns, a row for each way that the error may have come
    about. Raises SampleError as `present_value` does.
    """
    means = [seen(check) for check in checks]
    error_of = {id(step): error for step, error in zip(means, of_checks, strict=True)}
    steps = in_order(baseline, [*means, asked(at, session)])
    none = np.zeros_like(of_baseline)
    last = predictions(
        of_baseline,
        readings=[error_of.get(id(step), none) for step in steps],
        steps=steps,
        spreads=list(spreads(model, baseline=baseline, steps=steps)),
    )[-1]
    return np.asarray(last.level if session is None else last.level + last.effect)
