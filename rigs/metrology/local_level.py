"""The local-level filter of one rig's readings: a random walk, an effect of each session, repeat noise.

A reading in session j at time t is level(t) + effect(j) + noise. The level is a random walk (``drift_sd`` per
√day), the effect is drawn anew for each session (``session_sd``), the noise for each reading (``repeat_sd``).
The filter and the smoother are those of Durbin & Koopman, *Time Series Analysis by State Space Methods*,
2nd ed., chapters 2 and 4, on the state (level, effect of the running session), begun diffuse: the baseline
alone sets the first level.

Covariances don't depend on the readings, so they run ahead of them, in three parts (drift, session, repeat),
each in units of its own variance and each carried through the same gains in Joseph's form. The parts add up
to the whole, none can turn negative, and the share of repeat noise in an answer is exact.

SI units; times in days.
"""

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.samples import SampleError, finite, positive

# The distinct entries of a covariance of (level, effect): level, both, effect.
Covariance = tuple[float, float, float]
# One covariance for each source: drift, session, repeat.
Parts = tuple[Covariance, Covariance, Covariance]
Number = TypeVar("Number", float, NDArray[np.float64])


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelModel:
    """Three standard deviations, kept apart, with the degrees of freedom behind each.

    ``drift_sd`` is per √day. A value set by the centre has infinitely many degrees of freedom.
    """

    drift_sd: float
    session_sd: float
    repeat_sd: float
    repeat_dof: float
    drift_dof: float = math.inf
    session_dof: float = math.inf

    def __post_init__(self) -> None:
        positive(self.drift_sd, of="level drift", or_zero=True)
        positive(self.session_sd, of="session effect", or_zero=True)
        if self.repeat_sd == 0:
            raise SampleError(
                "The repeat noise is zero. It is at least r/√12: give the display's resolution r."
            )
        positive(self.repeat_sd, of="repeat noise")
        for dof in (self.repeat_dof, self.drift_dof, self.session_dof):
            if not dof > 0:
                raise SampleError(f"{dof:g} degrees of freedom. Give a number above zero, or infinity.")

    @property
    def variances(self) -> tuple[float, float, float]:
        """Drift (per day), session, repeat."""
        return self.drift_sd**2, self.session_sd**2, self.repeat_sd**2


@dataclass(frozen=True, slots=True, kw_only=True)
class BaselineLevel:
    """A baseline as the filter sees it: the mean of ``n`` readings over ``days`` sessions, around ``at``."""

    mean: float
    n: int
    days: int
    at: float

    def __post_init__(self) -> None:
        finite(self.mean, of="baseline's mean")
        finite(self.at, of="baseline's time")
        if not 1 <= self.days <= self.n:
            raise SampleError(f"A baseline of {self.n} readings over {self.days} days. Count both again.")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckMean:
    """The mean of ``n`` check readings, taken in one session around ``at``."""

    at: float
    mean: float
    n: int
    session: Hashable

    def __post_init__(self) -> None:
        finite(self.mean, of="check's mean")
        finite(self.at, of="check's time")
        if self.n < 1:
            raise SampleError(f"The check on day {self.at:g} has no readings. Add them, or leave it out.")
        if self.session is None:
            raise SampleError(f"The check on day {self.at:g} names no session. Name the one that it opened.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A moment on the filter's way: a check (``n`` readings) or a question (none).

    A question without a session is about the level alone, and leaves the running session as it is.
    """

    at: float
    session: Hashable | None
    mean: float = 0.0
    n: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What is unknown just before a step's reading is used.

    ``parts`` are in units of their own variance, ``whole`` is their sum. ``variance`` is that of the step's
    reading (infinite where there is none), ``gain`` what level and effect take of its surprise. ``begins``
    says that a session begins here: its effect is new.
    """

    parts: Parts
    whole: Covariance
    variance: float
    gain: tuple[float, float]
    begins: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction(Generic[Number]):
    """Level and effect just before a step's reading is used, and the reading's surprise."""

    level: Number
    effect: Number
    error: Number


def seen(check: CheckMean) -> Step:
    return Step(at=check.at, session=check.session, mean=check.mean, n=check.n)


def asked(at: float, session: Hashable | None) -> Step:
    return Step(at=finite(at, of="moment asked about"), session=session)


def in_order(baseline: BaselineLevel, steps: Iterable[Step]) -> list[Step]:
    """Return the steps by time, or raise SampleError: one before the baseline, sessions that interleave."""
    ordered = sorted(steps, key=lambda step: step.at)
    if ordered and ordered[0].at < baseline.at:
        raise SampleError(
            f"Day {ordered[0].at:g} is before the baseline, day {baseline.at:g}. "
            "Leave it out, or use the baseline that was in force then."
        )
    known: list[Hashable] = []
    for step in ordered:
        if step.session is None or (known and step.session == known[-1]):
            continue
        if step.session in known:
            raise SampleError(
                f"Day {step.at:g} belongs to a session that had made way for another. Correct its time."
            )
        known.append(step.session)
    return ordered


def spreads(model: LevelModel, *, baseline: BaselineLevel, steps: Sequence[Step]) -> Iterator[Spread]:
    """Yield what is unknown at each step: the half of the filter that doesn't depend on the readings."""
    parts: Parts = (0.0, 0.0, 0.0), (1 / baseline.days, 0.0, 0.0), (1 / baseline.n, 0.0, 0.0)
    at, session = baseline.at, None
    for step in steps:
        begins = step.session not in (None, session)
        drift, effect, repeat = parts
        drift = (drift[0] + step.at - at, *drift[1:])
        if begins:
            drift, effect, repeat = (drift[0], 0.0, 0.0), (effect[0], 0.0, 1.0), (repeat[0], 0.0, 0.0)
        spread = _spread(model, (drift, effect, repeat), n=step.n, begins=begins)
        yield spread
        parts = _taken(spread, n=step.n)
        at, session = step.at, session if step.session is None else step.session


def predictions(
    first: Number, *, readings: Sequence[Number], steps: Sequence[Step], spreads: Sequence[Spread]
) -> list[Prediction[Number]]:
    """Run the readings through the gains: linear, so whole columns of readings may run side by side."""
    level, effect = first, first * 0.0
    out = []
    for reading, step, spread in zip(readings, steps, spreads, strict=True):
        if spread.begins:
            effect = effect * 0.0
        error = reading - level - effect if step.n else effect * 0.0
        out.append(Prediction(level=level, effect=effect, error=error))
        level = level + spread.gain[0] * error
        effect = effect + spread.gain[1] * error
    return out


def log_likelihood(model: LevelModel, *, baseline: BaselineLevel, checks: Sequence[CheckMean]) -> float:
    """Return the log-likelihood of the checks, given the baseline (Durbin & Koopman 7.2, begun diffuse)."""
    steps = in_order(baseline, map(seen, checks))
    unknown = list(spreads(model, baseline=baseline, steps=steps))
    means = [step.mean for step in steps]
    surprises = predictions(baseline.mean, readings=means, steps=steps, spreads=unknown)
    return -0.5 * sum(
        math.log(2 * math.pi * spread.variance) + surprise.error**2 / spread.variance
        for spread, surprise in zip(unknown, surprises, strict=True)
    )


def _spread(model: LevelModel, parts: Parts, *, n: int, begins: bool) -> Spread:
    weighed = tuple(zip(model.variances, parts, strict=True))
    level, both, effect = (sum(variance * part[entry] for variance, part in weighed) for entry in range(3))
    variance, gain = math.inf, (0.0, 0.0)
    if n:
        variance = level + 2 * both + effect + model.repeat_sd**2 / n
        gain = (level + both) / variance, (both + effect) / variance
    return Spread(parts=parts, whole=(level, both, effect), variance=variance, gain=gain, begins=begins)


def _taken(spread: Spread, *, n: int) -> Parts:
    """Return the parts after the reading: (I − KH) P (I − KH)ᵀ + K R Kᵀ, R in the repeat part alone."""
    if not n:
        return spread.parts
    drift, effect, repeat = spread.parts
    return (
        _joseph(drift, spread.gain, noise=0.0),
        _joseph(effect, spread.gain, noise=0.0),
        _joseph(repeat, spread.gain, noise=1 / n),
    )


def _joseph(part: Covariance, gain: tuple[float, float], *, noise: float) -> Covariance:
    level, both, effect = part
    k, j = gain
    with_level, with_effect = level + both, both + effect
    reading = with_level + with_effect + noise
    return (
        level - 2 * k * with_level + k * k * reading,
        both - k * with_effect - j * with_level + k * j * reading,
        effect - 2 * j * with_effect + j * j * reading,
    )
