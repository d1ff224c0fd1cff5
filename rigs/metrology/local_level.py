"""The local-level filter of one rig's readings: a random walk, an effect of each session, repeat noise.

A reading in session j at time t is level(t) + effect(j) + noise. The level is a random walk (``drift_sd`` per
√day), the effect is drawn anew for each session (``session_sd``), the noise for each reading (``repeat_sd``).
Where levels are carried in reference air, what isn't known of a session's own air (``air_u``) is one more
effect of that session: its reading and a candidate's are made in the same air.
The filter and the smoother are those of Durbin & Koopman, *Time Series Analysis by State Space Methods*,
2nd ed., chapters 2 and 4, on the state (level, effect of the running session), begun diffuse: the baseline
alone sets the first level.

Covariances don't depend on the readings, so they run ahead of them, in four parts (drift, session, repeat,
air), each in units of its own variance (air in SI, squared) and each carried through the same gains in
Joseph's form. The parts add up to the whole, none can turn negative, and the share of repeat noise in an
answer is exact.

SI units; times in days. Means and the three standard deviations may be columns of one shape: many rigs with
the same dates, or one under many models, then run side by side.
"""

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.samples import SampleError, each_finite, each_positive, finite, positive

Numbers: TypeAlias = float | NDArray[np.float64]
# The distinct entries of a covariance of (level, effect): level, both, effect.
Covariance: TypeAlias = tuple[Numbers, Numbers, Numbers]
# One covariance for each source: drift, session, repeat, air.
Parts: TypeAlias = tuple[Covariance, Covariance, Covariance, Covariance]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelModel:
    """Three standard deviations, kept apart, with the degrees of freedom behind each.

    ``drift_sd`` is per √day. A value set by the centre has infinitely many degrees of freedom.
    """

    drift_sd: Numbers
    session_sd: Numbers
    repeat_sd: Numbers
    repeat_dof: float
    drift_dof: float = math.inf
    session_dof: float = math.inf

    def __post_init__(self) -> None:
        each_positive(self.drift_sd, of="level drift", or_zero=True)
        each_positive(self.session_sd, of="session effect", or_zero=True)
        if np.any(np.equal(self.repeat_sd, 0)):
            raise SampleError(
                "The repeat noise is zero. It is at least r/√12: give the display's resolution r."
            )
        each_positive(self.repeat_sd, of="repeat noise")
        for dof in (self.repeat_dof, self.drift_dof, self.session_dof):
            if not dof > 0:
                raise SampleError(f"{dof:g} degrees of freedom. Give a number above zero, or infinity.")

    @property
    def variances(self) -> tuple[Numbers, Numbers, Numbers]:
        """Drift (per day), session, repeat."""
        return self.drift_sd**2, self.session_sd**2, self.repeat_sd**2


@dataclass(frozen=True, slots=True, kw_only=True)
class BaselineLevel:
    """A baseline as the filter sees it: the mean of ``n`` readings over ``days`` sessions, around ``at``.

    ``air_u`` is the standard uncertainty that the air of those days adds to the mean.
    """

    mean: Numbers
    n: int
    days: int
    at: float
    air_u: float = 0.0

    def __post_init__(self) -> None:
        each_finite(self.mean, of="baseline's mean")
        positive(self.air_u, of="uncertainty of the baseline's air", or_zero=True)
        finite(self.at, of="baseline's time")
        if not 1 <= self.days <= self.n:
            raise SampleError(f"A baseline of {self.n} readings over {self.days} days. Count both again.")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckMean:
    """The mean of ``n`` check readings, taken in one session around ``at``.

    ``air_u`` is the standard uncertainty that the session's air adds to it: the same in each of its checks.
    """

    at: float
    mean: Numbers
    n: int
    session: Hashable
    air_u: float = 0.0

    def __post_init__(self) -> None:
        each_finite(self.mean, of="check's mean")
        positive(self.air_u, of="uncertainty of the session's air", or_zero=True)
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
    mean: Numbers = 0.0
    n: int = 0
    air_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What is unknown just before a step's reading is used.

    ``parts`` are in units of their own variance, ``whole`` is their sum. ``variance`` is that of the step's
    reading (infinite where there is none), ``gain`` what level and effect take of its surprise. ``begins``
    says that a session begins here: its effect is new.
    """

    parts: Parts
    whole: Covariance
    variance: Numbers
    gain: tuple[Numbers, Numbers]
    begins: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """Level and effect just before a step's reading is used, and the reading's surprise."""

    level: Numbers
    effect: Numbers
    error: Numbers


def seen(check: CheckMean) -> Step:
    return Step(at=check.at, session=check.session, mean=check.mean, n=check.n, air_u=check.air_u)


def asked(at: float, session: Hashable | None, *, air_u: float = 0.0) -> Step:
    positive(air_u, of="uncertainty of the air", or_zero=True)
    return Step(at=finite(at, of="moment asked about"), session=session, air_u=air_u)


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
    parts: Parts = (
        (0.0, 0.0, 0.0),
        (1 / baseline.days, 0.0, 0.0),
        (1 / baseline.n, 0.0, 0.0),
        (baseline.air_u**2, 0.0, 0.0),
    )
    at, session = baseline.at, None
    for step in steps:
        begins = step.session not in (None, session)
        drift, effect, repeat, air = parts
        parts = (drift[0] + step.at - at, *drift[1:]), effect, repeat, air
        if begins:
            parts = _begun(parts, air_u=step.air_u)
        spread = _spread(model, parts, n=step.n, begins=begins)
        yield spread
        parts = _taken(spread, n=step.n)
        at, session = step.at, session if step.session is None else step.session


def _begun(parts: Parts, *, air_u: float) -> Parts:
    """Return the parts as a session begins: the level as it was, an effect that is new."""
    drift, session, repeat, air = (part[0] for part in parts)
    return (drift, 0.0, 0.0), (session, 0.0, 1.0), (repeat, 0.0, 0.0), (air, 0.0, air_u**2)


def predictions(
    first: Numbers, *, readings: Sequence[Numbers], steps: Sequence[Step], spreads: Sequence[Spread]
) -> list[Prediction]:
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


def log_likelihood(
    model: LevelModel, *, baseline: BaselineLevel, checks: Sequence[CheckMean]
) -> NDArray[np.float64]:
    """Return the log-likelihood of the checks, given the baseline (Durbin & Koopman 7.2, begun diffuse).

    Of a model whose standard deviations are columns, one for each row.
    """
    steps = in_order(baseline, map(seen, checks))
    unknown = list(spreads(model, baseline=baseline, steps=steps))
    means = [step.mean for step in steps]
    surprises = predictions(baseline.mean, readings=means, steps=steps, spreads=unknown)
    total: Numbers = 0.0
    for spread, surprise in zip(unknown, surprises, strict=True):
        total = total + np.log(2 * math.pi * spread.variance) + surprise.error**2 / spread.variance
    return np.asarray(-0.5 * total)


def _spread(model: LevelModel, parts: Parts, *, n: int, begins: bool) -> Spread:
    weighed = tuple(zip((*model.variances, 1.0), parts, strict=True))
    level, both, effect = (sum(variance * part[entry] for variance, part in weighed) for entry in range(3))
    variance: Numbers = math.inf
    gain: tuple[Numbers, Numbers] = (0.0, 0.0)
    if n:
        variance = level + 2 * both + effect + model.repeat_sd**2 / n
        gain = (level + both) / variance, (both + effect) / variance
    return Spread(parts=parts, whole=(level, both, effect), variance=variance, gain=gain, begins=begins)


def _taken(spread: Spread, *, n: int) -> Parts:
    """Return the parts after the reading: (I − KH) P (I − KH)ᵀ + K R Kᵀ, R in the repeat part alone."""
    if not n:
        return spread.parts
    drift, effect, repeat, air = spread.parts
    return (
        _joseph(drift, spread.gain, noise=0.0),
        _joseph(effect, spread.gain, noise=0.0),
        _joseph(repeat, spread.gain, noise=1 / n),
        _joseph(air, spread.gain, noise=0.0),
    )


def _joseph(part: Covariance, gain: tuple[Numbers, Numbers], *, noise: float) -> Covariance:
    level, both, effect = part
    k, j = gain
    with_level, with_effect = level + both, both + effect
    reading = with_level + with_effect + noise
    return (
        level - 2 * k * with_level + k * k * reading,
        both - k * with_effect - j * with_level + k * j * reading,
        effect - 2 * j * with_effect + j * j * reading,
    )
