"""How fast marking is beside what it can't do without: ratios of times within one run.

``manage.py benchmark marking`` runs it, in a process and a database of its own.
"""

import gc
import resource
import statistics
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import numpy as np

from assessments import remarking
from assessments.models import Outcome
from assessments.shared_inputs import Shared
from rigs.metrology.conformity import Agreement, agrees
from rigs.metrology.instruments import spec_uncertainty
from tests.benchmarks import by_hand
from tests.benchmarks.by_hand import Readings
from tests.benchmarks.window import Row, Window, open_window, row_of
from tests.factories.academy import AT

GOAL = 2.0
ROUNDS = 5
REMARKED_AT = AT + timedelta(days=60)

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """Our time over the other's, in each round; a round has both."""

    rounds: tuple[tuple[float, float], ...]
    goal: float = GOAL

    @property
    def median(self) -> float:
        return statistics.median(ours / other for ours, other in self.rounds)

    def __str__(self) -> str:
        ratios = sorted(ours / other for ours, other in self.rounds)
        over = ", over" if self.median > self.goal else ""
        return f"{self.median:.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f}), goal {self.goal:.1f}{over}"


def run(*, count: int, tell: Tell) -> None:
    """Measure both with so many readings, and say what came out."""
    before = peak_megabytes()
    opened = open_window(readings=count)
    made = peak_megabytes()
    ratio = remarking_ratio(opened)
    tell(
        f"Marking again, database to database, {opened.readings:,} readings of {len(opened.attempts):,} "
        f"attempts ÷ the same rows read, hashed and written raw: {ratio}."
    )
    tell(
        f"Peak memory: {peak_megabytes():.0f} MB; {before:.0f} MB before anything was done, "
        f"{made:.0f} MB with the attempts made."
    )
    columns = by_hand.readings(count=count)
    tell(
        f"In memory, {count:,} readings, the engine's columns ÷ the same arithmetic written out in NumPy: "
        f"{columns_ratio(columns)}."
    )


def peak_megabytes() -> float:
    """The most memory that this process has had so far."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def agreement_by_engine(columns: Readings) -> Agreement:
    return agrees(
        reading=columns.reading,
        value=columns.value,
        repeat_sd=columns.repeat_sd,
        repeat_dof=columns.repeat_dof,
        repeat_share=columns.repeat_share,
        value_u=columns.value_u,
        value_dof=np.inf,
        instrument_u=spec_uncertainty(
            reading=columns.reading,
            percent_reading=columns.percent_reading,
            counts=columns.counts,
            resolution=columns.resolution,
        ),
        floor=columns.floor,
    )


def columns_ratio(columns: Readings) -> Ratio:
    ways = (lambda: agreement_by_engine(columns), lambda: by_hand.agreement_by_hand(columns))
    rounds = []
    for number in range(ROUNDS):
        first, second = ways if number % 2 else ways[::-1]
        times = seconds(first), seconds(second)
        rounds.append(times if number % 2 else times[::-1])
    return Ratio(rounds=tuple(rounds))


def remarking_ratio(opened: Window) -> Ratio:
    """Batch by batch both ways; what was written is taken out again before the next."""
    spent = [(0.0, 0.0)] * ROUNDS
    shared = Shared()
    for number, attempts in enumerate(_batches(opened.attempts)):
        by_hand.read_hash_write(attempts, [])  # so that neither is the first to ask for these pages
        ours = seconds(lambda: remark(attempts, opened=opened, shared=shared))  # noqa: B023 - called at once
        written = take_out(attempts)
        other = seconds(lambda: by_hand.read_hash_write(attempts, written))  # noqa: B023
        take_out(attempts)
        sums = spent[number % ROUNDS]
        spent[number % ROUNDS] = sums[0] + ours, sums[1] + other
    return Ratio(rounds=tuple(each for each in spent if each[1]))


def remark(attempts: Sequence[UUID], *, opened: Window, shared: Shared | None = None) -> None:
    remarking.remark(attempts=attempts, centre=opened.centre, at=REMARKED_AT, every=True, shared=shared)


def take_out(attempts: Sequence[UUID]) -> list[Row]:
    """Remove the outcomes that a re-marking has added, and give their rows back."""
    added = Outcome.objects.filter(attempt__in=attempts, made_at=REMARKED_AT)
    rows = [row_of(outcome) for outcome in added]
    added.delete()
    return rows


def seconds(work: Callable[[], object]) -> float:
    gc.collect()
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _batches(attempts: Sequence[UUID]) -> Iterable[Sequence[UUID]]:
    for first in range(0, len(attempts), remarking.BATCH):
        yield attempts[first : first + remarking.BATCH]
