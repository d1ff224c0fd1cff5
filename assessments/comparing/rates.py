"""Shares of competent decisions, group beside group, like compared with like.

Is one assessor, rig or task the odd one out? Each is set beside all the others, within strata that are alike
in what should make a difference: the same task in the same cohort. The difference of the two shares is put
together from the strata with the weights of Mantel & Haenszel, J. Natl. Cancer Inst. 22 (1959) 719–748, so
that a stratum counts for as much as it can tell. Its interval is Newcombe's (method 10, Stat. Med. 17 (1998)
873–890) on the effective numbers of decisions that those weights leave; with one stratum it is his exactly.
Whether it could be chance is told by the exact test on the strata's margins (Fisher's, with one stratum).
"""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import hypergeom

from rigs.metrology.agreement import Share, score_interval, wilson
from rigs.metrology.samples import probability

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """A decision: whose, of which stratum, and whether it found the candidate competent."""

    group: str
    stratum: Hashable
    competent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """A group's share less that of all others in the same strata; 0.1 is ten points in a hundred.

    ``n`` decisions of its own had others to be compared with. ``p`` is exact; ``adjusted_p`` allows for
    having looked at so many groups (Holm, Scand. J. Stat. 6 (1979) 65–70).
    """

    difference: float
    lower: float
    upper: float
    n: int
    others: int
    p: float
    adjusted_p: float

    @property
    def is_outside(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.lower > 0 or self.upper < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One group: its own share of ``competent``, and how it stands beside the others, if it can be told."""

    name: str
    competent: int
    share: Share
    beside: Beside | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Groups in the order of their names.

    ``by_chance``: how many intervals would leave zero out anyway. ``odd_ones``: the names of those that
    chance doesn't explain even after allowing for how many were looked at, the clearest first.
    """

    groups: tuple[Group, ...]
    by_chance: float
    odd_ones: tuple[str, ...]

    @property
    def compared(self) -> tuple[Group, ...]:
        return tuple(each for each in self.groups if each.beside is not None)

    @property
    def outside(self) -> tuple[Group, ...]:
        return tuple(each for each in self.groups if each.beside is not None and each.beside.is_outside)


def rates(decisions: Iterable[Decided], *, confidence: float = 0.95) -> Rates:
    """Each group beside all the others.

    One that is far off makes all the others look off the other way. So the odd ones are found one by one,
    each left out before the next is looked for, until nobody is odd or only two are left.
    """
    decisions = list(decisions)
    names = sorted({each.group for each in decisions})
    counts = _counted(decisions, names)
    everyone = counts.sum(axis=0)
    found = [_beside(own, everyone - own, confidence=confidence) for own in counts]
    adjusted = iter(holm([each.p for each in found if each is not None]))
    return Rates(
        groups=tuple(
            Group(
                name=name,
                competent=int(own[:, 1].sum()),
                share=wilson(count=int(own[:, 1].sum()), n=int(own.sum()), confidence=confidence),
                beside=None if each is None else replace(each, adjusted_p=next(adjusted)),
            )
            for name, own, each in zip(names, counts, found, strict=True)
        ),
        by_chance=(1 - confidence) * sum(each is not None for each in found),
        odd_ones=tuple(names[place] for place in _odd_ones(counts, least=1 - confidence)),
    )


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p values that allow for how many there are, in the same order."""
    order = np.argsort(p_values)
    steps = np.asarray(p_values)[order] * np.arange(len(order), 0, -1)
    adjusted = np.empty(len(order))
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return [float(each) for each in adjusted]


def _odd_ones(counts: Counts, *, least: float) -> list[int]:
    """The places of the odd ones out."""
    left, odd = list(range(len(counts))), list[int]()
    while len(left) > 2:
        everyone = counts[left].sum(axis=0)
        chances = {place: _chance(counts[place], everyone - counts[place]) for place in left}
        clearest = min(chances, key=chances.__getitem__)
        if chances[clearest] * len(left) >= least:
            break
        odd.append(clearest)
        left.remove(clearest)
    return odd


def _chance(own: Counts, others: Counts) -> float:
    """Like `_exact`, of the strata that both have decisions in; 1 where there are none."""
    both = (own.sum(axis=1) > 0) & (others.sum(axis=1) > 0)
    return _exact(own[both], others[both]) if both.any() else 1.0


def _counted(decisions: Sequence[Decided], names: Sequence[str]) -> Counts:
    """By group, stratum and decision: not yet competent, competent."""
    places = {name: place for place, name in enumerate(names)}
    strata: dict[Hashable, int] = {}
    counts = np.zeros((len(names), len({each.stratum for each in decisions}), 2), dtype=np.int64)
    for each in decisions:
        stratum = strata.setdefault(each.stratum, len(strata))
        counts[places[each.group], stratum, int(each.competent)] += 1
    return counts


def _beside(own: Counts, others: Counts, *, confidence: float) -> Beside | None:
    """As the only group looked at. None where no stratum has decisions of both."""
    both = (own.sum(axis=1) > 0) & (others.sum(axis=1) > 0)
    if not both.any():
        return None
    own, others = own[both], others[both]
    n, m = own.sum(axis=1), others.sum(axis=1)
    weights = n * m / (n + m)
    weights = weights / weights.sum()
    (one, one_lower, one_upper), (two, two_lower, two_upper) = (
        _weighted(counts[:, 1] / size, size, weights, confidence=confidence)
        for counts, size in ((own, n), (others, m))
    )
    p = _exact(own, others)
    return Beside(
        difference=one - two,
        lower=one - two - float(np.hypot(one - one_lower, two_upper - two)),
        upper=one - two + float(np.hypot(one_upper - one, two - two_lower)),
        n=int(n.sum()),
        others=int(m.sum()),
        p=p,
        adjusted_p=p,
    )


def _weighted(
    shares: NDArray[np.float64], sizes: Counts, weights: NDArray[np.float64], *, confidence: float
) -> tuple[float, float, float]:
    """The weighted share with its score interval on the effective number of decisions."""
    share = min(float(weights @ shares), 1.0)
    effective = 1 / float(np.sum(weights**2 / sizes))
    return share, *score_interval(
        share=share, n=effective, confidence=probability(confidence, of="confidence")
    )


def _exact(own: Counts, others: Counts) -> float:
    """Two-sided p: how likely a number of competent decisions is that is no likelier than the one seen.

    With the margins of each stratum as they are, that number is a sum of hypergeometric ones.
    """
    chances, lowest = np.ones(1), 0
    for size, (bad, good) in zip(own.sum(axis=1).tolist(), (own + others).tolist(), strict=True):
        least, most = max(0, size - bad), min(size, good)
        here = hypergeom.pmf(np.arange(least, most + 1), bad + good, good, size)
        chances, lowest = np.convolve(chances, here), lowest + least
    seen = chances[int(own[:, 1].sum()) - lowest]
    return min(float(chances[chances <= seen * (1 + 1e-7)].sum()), 1.0)


def answer(found: Rates, *, noun: str) -> str:
    """Whether one is the odd one out, and how many would look so by chance, in words."""
    looked_at, outside = len(found.compared), len(found.outside)
    if looked_at < 2:
        return f"There is no second {noun} with decisions on the same tasks: nothing to compare yet."
    verb = "leaves" if outside == 1 else "leave"
    chance = (
        f"Of {looked_at} intervals {outside or 'none'} {verb} zero out; about {found.by_chance:.1f} would by "
        "chance alone."
    )
    if looked_at == 2:
        one, other = found.compared
        sure = one.beside is not None and one.beside.p < found.by_chance / looked_at
        how = (
            "come out differently; with two, neither is the odd one" if sure else "don’t come out differently"
        )
        return f"{one.name} and {other.name} {how}."
    if not found.odd_ones:
        return f"No {noun} is the odd one out. {chance}"
    *before, last = found.odd_ones
    listed = f"{', '.join(before)} and {last}" if before else last
    return (
        f"{listed} {'stand' if before else 'stands'} out, even after allowing for {looked_at} {noun}s having "
        f"been looked at. {chance}"
    )
