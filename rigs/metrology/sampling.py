"""What a sample of decisions can find. Exact (hypergeometric): decisions are drawn without putting back."""

import math
from collections.abc import Iterator

from rigs.metrology.samples import SampleError, probability


def detection_probability(*, population: int, wrong: int, sample_size: int) -> float:
    """Return the chance that a random sample holds at least one of the ``wrong``: 1 − C(N − D, n)/C(N, n)."""
    _counted(population=population, wrong=wrong)
    if not 0 <= sample_size <= population:
        raise SampleError(f"A sample of {sample_size} from {population}. Give 0 to {population}.")
    # C(N − D, n)/C(N, n) is the same with D and n exchanged: the shorter product will do.
    fewer, more = sorted((wrong, sample_size))
    if fewer + more > population:
        return 1.0
    missed = sum(math.log1p(-more / (population - place)) for place in range(fewer))
    return -math.expm1(missed)


def smallest_sample(*, population: int, wrong: int, chance: float) -> int:
    """Return the smallest sample that holds at least one of the ``wrong`` with ``chance`` or more."""
    _counted(population=population, wrong=wrong)
    probability(chance, of="chance of finding one")
    if wrong == 0:
        raise SampleError("None wrong, so no sample finds one. Say how many wrong decisions it should find.")
    low, high = 1, population - wrong + 1
    while low < high:
        middle = (low + high) // 2
        found = detection_probability(population=population, wrong=wrong, sample_size=middle)
        low, high = (low, middle) if found >= chance - 1e-12 else (middle + 1, high)
    return low


def most_wrong_if_none_found(
    *, sample_size: int, confidence: float = 0.95, population: int | None = None
) -> float:
    """Return the greatest share wrong that a sample without a wrong one still allows.

    Without ``population``: 1 − (1 − confidence)^(1/n), Clopper & Pearson's one-sided bound. With it: the
    greatest number wrong that the sample misses with a chance of at least 1 − ``confidence``, as a share.
    """
    doubt = 1 - probability(confidence, of="confidence")
    if sample_size < 1:
        raise SampleError("An empty sample says nothing. Sample at least one.")
    if population is None:
        return 1.0 - math.pow(doubt, 1.0 / sample_size)
    if sample_size > population:
        raise SampleError(f"A sample of {sample_size} from {population}. Give 1 to {population}.")
    return max(_still_possible(population, sample_size, doubt)) / population


def _still_possible(population: int, sample_size: int, doubt: float) -> Iterator[int]:
    for wrong in range(population - sample_size + 1):
        if detection_probability(population=population, wrong=wrong, sample_size=sample_size) > 1 - doubt:
            return
        yield wrong


def _counted(*, population: int, wrong: int) -> None:
    if population < 1:
        raise SampleError("There are no decisions to sample from.")
    if not 0 <= wrong <= population:
        raise SampleError(f"{wrong} wrong among {population}. Give 0 to {population}.")
