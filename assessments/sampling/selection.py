"""A sample of decisions: by risk, so that everything is covered, and at random, so that it says something.

The same decisions and the same seed give the same sample. Rates are the centre's; those here are where it
may start (common practice, no source).
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from rigs.metrology.sampling import detection_probability, smallest_sample


class Risk(StrEnum):
    """Why a decision is likelier to be wrong, or matters more if it is."""

    OVERRIDE = "override"
    FLAGGED = "flagged"
    BREACH = "breach"
    NEW_ASSESSOR = "new-assessor"
    NEW_TASK = "new-task"
    NEW_RIG = "new-rig"
    BORDERLINE = "borderline"
    NOT_YET = "not-yet"
    HASTY = "hasty"
    SAME_WORDS = "same-words"
    LATE = "late"


class Coverage(StrEnum):
    """What a sample leaves no one of out."""

    ASSESSOR = "assessor"
    TASK = "task"
    RIG = "rig"
    COHORT = "cohort"


RATES: Mapping[Risk, float] = MappingProxyType(
    {
        Risk.OVERRIDE: 1.0,
        Risk.FLAGGED: 1.0,
        Risk.BREACH: 0.25,
        Risk.NEW_ASSESSOR: 0.5,
        Risk.NEW_TASK: 0.5,
        Risk.NEW_RIG: 0.5,
        Risk.BORDERLINE: 0.25,
        Risk.NOT_YET: 0.25,
        Risk.HASTY: 1.0,
        Risk.SAME_WORDS: 1.0,
        Risk.LATE: 0.25,
    }
)


class SelectionError(ValueError):
    """A plan that can't be drawn. The message says what to change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """A decision as far as sampling goes. ``parts`` says which assessor, task, rig and cohort it is of."""

    key: str
    risks: frozenset[Risk]
    parts: Mapping[Coverage, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """``wrong_share`` of the decisions without a risk, if wrong, is found with ``chance`` by the random part.

    ``least_random`` decisions are drawn at random in any case, where there are so many.
    """

    seed: int
    rates: Mapping[Risk, float] = field(default_factory=lambda: RATES)
    wrong_share: float = 0.1
    chance: float = 0.8
    least_random: int = 1

    def __post_init__(self) -> None:
        if not 0 < self.wrong_share <= 1 or not 0 < self.chance < 1:
            raise SelectionError("Give the share wrong and the chance of finding one between 0 and 100 %.")
        if any(not 0 <= rate <= 1 for rate in self.rates.values()):
            raise SelectionError("Each rate is between 0 and 100 %.")
        if self.seed < 0:
            raise SelectionError("The seed is a whole number from 0 up.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A decision in the sample: by which risks, to cover what, or at random."""

    key: str
    risks: tuple[Risk, ...] = ()
    covers: tuple[Coverage, ...] = ()
    is_random: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the random part says: ``size`` drawn of ``population`` find one of ``wrong`` with ``chance``."""

    population: int
    size: int
    wrong: int
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    chosen: tuple[Chosen, ...]
    stated: Stated


def select(decisions: Sequence[Decided], *, settings: Settings) -> Sample:
    """Draw a sample, in the order of keys. Raises SelectionError for none to draw from, or a key twice.

    The random part is drawn first, from all decisions, so that its statement is about all of them and isn't
    spoilt by what was chosen for a reason; the risks' shares and what is left uncovered are then made up.
    """
    ordered = sorted(decisions, key=lambda each: each.key)
    if not ordered:
        raise SelectionError("Nothing was decided in that time: there is nothing to sample.")
    if len({each.key for each in ordered}) < len(ordered):
        raise SelectionError("A decision is there twice.")
    draw = np.random.default_rng(settings.seed)
    stated = _stated(len(ordered), settings)
    at_random = frozenset(_some(draw, [each.key for each in ordered], stated.size))
    by_risk = _by_risk(draw, ordered, settings.rates, taken=at_random)
    covering = _covering(draw, ordered, taken=at_random | by_risk.keys())
    return Sample(
        chosen=tuple(
            Chosen(
                key=each.key,
                risks=by_risk.get(each.key, ()),
                covers=covering.get(each.key, ()),
                is_random=each.key in at_random,
            )
            for each in ordered
            if each.key in at_random or each.key in by_risk or each.key in covering
        ),
        stated=stated,
    )


def _stated(population: int, settings: Settings) -> Stated:
    wrong = max(1, math.ceil(settings.wrong_share * population - 1e-9))
    wanted = smallest_sample(population=population, wrong=wrong, chance=settings.chance)
    size = min(population, max(wanted, settings.least_random))
    chance = detection_probability(population=population, wrong=wrong, sample_size=size)
    return Stated(population=population, size=size, wrong=wrong, chance=chance)


def _some(draw: np.random.Generator, keys: Sequence[str], number: int) -> list[str]:
    return [keys[index] for index in draw.permutation(len(keys))[:number]]


def _by_risk(
    draw: np.random.Generator,
    ordered: Sequence[Decided],
    rates: Mapping[Risk, float],
    *,
    taken: Iterable[str],
) -> dict[str, tuple[Risk, ...]]:
    """The share of each risk's decisions, those counted that are in the sample already."""
    chosen: dict[str, list[Risk]] = {}
    known = set(taken)
    for risk in Risk:
        with_it = [each.key for each in ordered if risk in each.risks]
        wanted = math.ceil(rates.get(risk, 0.0) * len(with_it) - 1e-9)
        have = [key for key in with_it if key in known]
        more = _some(draw, [key for key in with_it if key not in known], max(0, wanted - len(have)))
        for key in more:
            chosen.setdefault(key, []).append(risk)
        known.update(more)
    return {key: tuple(risks) for key, risks in chosen.items()}


def _covering(
    draw: np.random.Generator, ordered: Sequence[Decided], *, taken: Iterable[str]
) -> dict[str, tuple[Coverage, ...]]:
    """One decision of every assessor, task, rig and cohort that has none in the sample yet."""
    chosen: dict[str, list[Coverage]] = {}
    known = set(taken)
    by_key = {each.key: each for each in ordered}
    for part in Coverage:
        covered = {by_key[key].parts[part] for key in known}
        for name in sorted({each.parts[part] for each in ordered} - covered):
            (key,) = _some(draw, [each.key for each in ordered if each.parts[part] == name], 1)
            chosen.setdefault(key, []).append(part)
            known.add(key)
    return {key: tuple(parts) for key, parts in chosen.items()}
