"""What the readings so far say of the fault on a virtual rig, and which test would tell most next.

For practice alone: at the bench nobody is told before the decision. The fault that was drawn plays no part.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from assessments.marking.diagnosis import Case
from assessments.marking.fault_finding import FaultFinding
from assessments.marking.seen import known_rig
from assessments.models import VirtualEntry, VirtualPractice
from assessments.virtual_marking import inputs_of
from rigs.behaviour.next_test import next_test
from rigs.behaviour.posterior import posterior

MOST_LISTED: Final = 8
LEAST_LISTED: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    label: str
    percent: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """The likeliest first; ``rest`` is what all others have together. ``bits`` is empty without a next test.

    ``passed_over`` says why a reading weighs nothing.
    """

    likely: tuple[Likely, ...]
    rest: str
    next_test: str
    bits: str
    passed_over: tuple[str, ...]


def hint_of(practice: VirtualPractice, entries: Sequence[VirtualEntry]) -> Hint | None:
    """None for a task without a diagnosis. Each fault of the design is as likely beforehand as the others."""
    inputs = inputs_of(practice, entries)
    task = FaultFinding.of(inputs.version, inputs.bench)
    if task is None:
        return None
    case = Case(inputs=inputs, task=task, rig=known_rig(inputs, terminals=task.bench.terminals))
    after = posterior(case.rig, observed=case.observed, faults=task.faults)
    found = next_test(case.rig, observed=case.observed, tests=task.tests, faults=task.faults)
    listed = [(fault, chance) for fault, chance in after.ranked()[:MOST_LISTED] if chance >= LEAST_LISTED]
    return Hint(
        likely=tuple(Likely(label=task.label(fault), percent=_percent(chance)) for fault, chance in listed),
        rest=_percent(1 - sum(chance for _, chance in listed)),
        next_test="" if found is None else task.test_label(found.test),
        bits="" if found is None else f"{found.bits:.2f}",
        passed_over=tuple(each.unused for each in case.seen if each.unused),
    )


def _percent(chance: float) -> str:
    """As a whole figure; what isn't certain isn't shown as if it were."""
    if chance < LEAST_LISTED:
        return "under 1"
    return "over 99" if chance > 1 - LEAST_LISTED else f"{100 * chance:.0f}"
