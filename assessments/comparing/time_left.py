"""Whether the work that is left fits into the time that rigs have left."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Minutes of work that may be done on any rig of these designs."""

    designs: frozenset[str]
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall:
    """Designs whose rigs can't take all that can be done on them alone: minutes needed, and there."""

    designs: tuple[str, ...]
    needed: int
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """``short`` names the designs where it is tightest; None if all of it fits."""

    needed: int
    left: int
    short: Shortfall | None


def fit(needs: Iterable[Need], *, capacity: Mapping[str, int]) -> Fit:
    """Spread the needs over the designs' minutes, as well as it can be done.

    A maximum flow from the needs to the rigs; where it falls short, the minimum cut is the set of designs
    that is too small for what can be done nowhere else (Ford & Fulkerson, Can. J. Math. 8 (1956) 399–404).
    A need without any design fits nowhere.
    """
    together: dict[frozenset[str], int] = {}
    for need in needs:
        together[need.designs] = together.get(need.designs, 0) + need.minutes
    wanted = {designs: minutes for designs, minutes in together.items() if minutes}
    return Fit(
        needed=sum(wanted.values()),
        left=sum(capacity.values()),
        short=_short(wanted, capacity),
    )


def _short(wanted: Mapping[frozenset[str], int], capacity: Mapping[str, int]) -> Shortfall | None:
    needed = sum(wanted.values())
    if not needed:
        return None
    designs = sorted({*capacity, *chain.from_iterable(wanted)})
    pipes = _pipes(wanted, capacity, designs)
    flow = maximum_flow(pipes, 0, pipes.shape[0] - 1)
    if flow.flow_value >= needed:
        return None
    spare = csr_array(np.maximum(pipes.toarray() - flow.flow.toarray(), 0))
    reached = {int(each) for each in breadth_first_order(spare, 0, return_predecessors=False)}
    first = 1 + len(wanted)
    tight = [each for place, each in enumerate(designs) if first + place in reached]
    bound = [minutes for place, minutes in enumerate(wanted.values(), start=1) if place in reached]
    return Shortfall(
        designs=tuple(tight), needed=sum(bound), left=sum(capacity.get(each, 0) for each in tight)
    )


def _pipes(
    wanted: Mapping[frozenset[str], int], capacity: Mapping[str, int], designs: list[str]
) -> csr_array:
    """Source, needs, designs, sink: how much may pass from each to each."""
    size = 2 + len(wanted) + len(designs)
    first, sink = 1 + len(wanted), size - 1
    table = np.zeros((size, size), dtype=np.int32)
    for place, (allowed, minutes) in enumerate(wanted.items(), start=1):
        table[0, place] = minutes
        for design in allowed:
            table[place, first + designs.index(design)] = minutes
    for place, design in enumerate(designs):
        table[first + place, sink] = capacity.get(design, 0)
    return csr_array(table)
