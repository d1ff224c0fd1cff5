"""What a rig reads today, and what it read on a day gone by. SI units; times in days.

See ``local_level`` for the model: level drift, session effect and repeat noise, kept apart.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.local_level import (
    BaselineLevel,
    CheckMean,
    Covariance,
    LevelModel,
    Numbers,
    Prediction,
    Spread,
    Step,
    asked,
    in_order,
    predictions,
    seen,
    spreads,
)
from rigs.metrology.samples import SampleError, positive
from rigs.metrology.uncertainty import welch_satterthwaite

__all__ = ("BaselineLevel", "CheckMean", "LevelModel", "PresentValue", "present_value", "smoothed_values")


@dataclass(frozen=True, slots=True, kw_only=True)
class PresentValue:
    """What the rig reads at a moment, before a candidate's own repeat noise.

    ``u`` holds level drift, session effects, the air and the reference instrument, with ``dof`` degrees of
    freedom. It leaves out the repeat noise, whose part of the variance is ``repeat_share`` × ``repeat_sd``².
    Columns where the model or the means were.
    """

    value: Numbers
    u: Numbers
    dof: Numbers
    repeat_share: Numbers
    repeat_sd: Numbers

    @property
    def total_u(self) -> Numbers:
        return np.hypot(self.u, self.repeat_sd * np.sqrt(self.repeat_share))


def present_value(
    model: LevelModel,
    *,
    baseline: BaselineLevel,
    checks: Sequence[CheckMean],
    at: float,
    session: Hashable | None = None,
    reference_u: float = 0.0,
    air_u: float = 0.0,
) -> PresentValue:
    """Return what the rig reads at ``at``, from its baseline and the checks up to then.

    With a check in ``session``, the session's own effect has been seen and is part of the value. Without, the
    effect of a fresh session is unknown, and is part of ``u``. The reference instrument's ``reference_u`` is
    the same in every reading, so it is added outside the filter. ``air_u`` is the standard uncertainty that
    the air of the moment asked about adds; where its session has been checked, that check's counts instead.

    Raises SampleError for a check before the baseline or after ``at``, and for a session that comes back
    after another.
    """
    late = max((check.at for check in checks), default=at)
    if late > at:
        raise SampleError(
            f"The check on day {late:g} is after the moment asked about, day {at:g}. Leave it out."
        )
    steps = in_order(baseline, [*map(seen, checks), asked(at, session, air_u=air_u)])
    unknown = list(spreads(model, baseline=baseline, steps=steps))
    means = [step.mean for step in steps]
    last = predictions(baseline.mean, readings=means, steps=steps, spreads=unknown)[-1]
    drift, effect, repeat, air = (_of_reading(part, session) for part in unknown[-1].parts)
    drift_variance, session_variance, _ = model.variances
    if session is None:
        effect, air = effect + 1.0, air + air_u**2
    u, dof = _other_u(
        model,
        drift=drift * drift_variance,
        session=effect * session_variance,
        certain=air + positive(reference_u, of="reference instrument's uncertainty", or_zero=True) ** 2,
    )
    value = last.level if session is None else last.level + last.effect
    return PresentValue(value=value, u=u, dof=dof, repeat_share=repeat, repeat_sd=model.repeat_sd)


def smoothed_values(
    model: LevelModel,
    *,
    baseline: BaselineLevel,
    checks: Sequence[CheckMean],
    at: Sequence[float],
    sessions: Sequence[Hashable | None] | None = None,
    reference_u: float = 0.0,
) -> tuple[PresentValue, ...]:
    """Return what the rig read at each of ``at``, from *all* its checks, those taken later as well.

    This is for looking back on a drifted rig, never for marking on the day; one rig at a time. ``sessions``
    names the session of each moment, as in ``present_value``. Errors as there. Quadratic in the number of
    checks: the smoother is linear, so it runs besides on one unit reading at a time, and has then the weight
    of each reading and with the weights the share of the repeat noise.
    """
    questions = [asked(time, session) for time, session in zip(at, sessions or [None] * len(at), strict=True)]
    steps = in_order(baseline, [*map(seen, checks), *questions])
    unknown = list(spreads(model, baseline=baseline, steps=steps))
    first, readings, repeats = _with_unit_readings(baseline, steps)
    found = predictions(first, readings=readings, steps=steps, spreads=unknown)
    looks = {id(step): look for step, look in zip(steps, _looking_back(steps, unknown, found), strict=True)}
    return tuple(
        _answer(model, question, *looks[id(question)], repeats=repeats, reference_u=reference_u)
        for question in questions
    )


def _of_reading(part: Covariance, session: Hashable | None) -> Numbers:
    level, both, effect = part
    return level if session is None else level + 2 * both + effect


def _other_u(
    model: LevelModel, *, drift: Numbers, session: Numbers, certain: Numbers
) -> tuple[Numbers, Numbers]:
    """Return u without the repeat noise, and its degrees of freedom (Welch–Satterthwaite, JCGM 100 G.4.1).

    ``certain`` is a variance with infinitely many of them: the air's and the reference instrument's.
    """
    u = np.sqrt(drift + session + certain)
    parts = np.sqrt(drift), np.sqrt(session), np.sqrt(certain)
    dof = welch_satterthwaite(u=parts, dof=(model.drift_dof, model.session_dof, math.inf))
    return u, dof[()]


def _with_unit_readings(
    baseline: BaselineLevel, steps: Sequence[Step]
) -> tuple[NDArray[np.float64], list[NDArray[np.float64]], NDArray[np.float64]]:
    """Return the baseline and each step's reading as rows: the reading itself, then a 1 in its own column.

    The third is the number of repeats behind each of those columns, the baseline's first.
    """
    checks = [index for index, step in enumerate(steps) if step.n]
    rows = np.zeros((1 + len(steps), 2 + len(checks)))
    rows[:, 0] = [baseline.mean, *(step.mean for step in steps)]
    rows[[0, *(1 + index for index in checks)], 1 + np.arange(1 + len(checks))] = 1.0
    repeats = np.array([baseline.n, *(steps[index].n for index in checks)], dtype=np.float64)
    return rows[0], list(rows[1:]), repeats


def _looking_back(
    steps: Sequence[Step], unknown: Sequence[Spread], found: Sequence[Prediction]
) -> list[tuple[NDArray[np.float64], float]]:
    """Return value and variance at each step, given all readings (Durbin & Koopman 4.4)."""
    pull = np.zeros((2, np.size(found[0].level) if found else 0))
    weight = np.zeros((2, 2))
    reading = np.ones(2)
    out = []
    for step, spread, prediction in zip(reversed(steps), reversed(unknown), reversed(found), strict=True):
        keep = np.eye(2) - np.outer(np.array(spread.gain, dtype=np.float64), reading)
        surprise = np.asarray(prediction.error / spread.variance)
        pull = np.outer(reading, surprise) + keep.T @ pull
        weight = np.outer(reading, reading) / spread.variance + keep.T @ weight @ keep
        level, both, effect = spread.whole
        asked_for = np.array([1.0, 0.0 if step.session is None else 1.0])
        reach = np.array([[level, both], [both, effect]], dtype=np.float64) @ asked_for
        value = asked_for @ np.array([prediction.level, prediction.effect]) + reach @ pull
        out.append((value, float(reach @ asked_for - reach @ weight @ reach)))
        if spread.begins:
            pull[1], weight[1], weight[:, 1] = 0.0, 0.0, 0.0
    return out[::-1]


def _answer(
    model: LevelModel,
    question: Step,
    value: NDArray[np.float64],
    variance: float,
    *,
    repeats: NDArray[np.float64],
    reference_u: float,
) -> PresentValue:
    """Take the repeat noise out of ``variance``. The rest counts with the fewer of its degrees of freedom."""
    share = float(np.sum(value[1:] ** 2 / repeats))
    other = max(variance - share * float(model.repeat_sd) ** 2, 0.0)
    if question.session is None:
        other += float(model.session_sd) ** 2
    drift = other if model.drift_dof < model.session_dof else 0.0
    reference = positive(reference_u, of="reference instrument's uncertainty", or_zero=True)
    u, dof = _other_u(model, drift=drift, session=other - drift, certain=reference**2)
    return PresentValue(value=float(value[0]), u=u, dof=dof, repeat_share=share, repeat_sd=model.repeat_sd)
