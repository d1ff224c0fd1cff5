"""A task of finding a fault: what may be stated, what is weighed, and what there is to test on its bench."""

from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

from assessments.marking.diagnosis_wording import slip
from assessments.marking.inputs import BenchInput, StepInput, VersionInput
from assessments.marking.parameters import NOTHING_WRONG
from assessments.marking.seen import test_of_step
from rigs.behaviour.faults import Fault, considered
from rigs.behaviour.lookalikes import alike
from rigs.behaviour.observations import Test, tests_of
from rigs.behaviour.parameters import RigModel

Hypothesis: TypeAlias = Fault | None
"""A fault that the model knows, or that nothing is wrong."""


def knows(slug: str) -> bool:
    """Whether the model knows a diagnosis."""
    return slug == NOTHING_WRONG or slug in set(Fault)


def hypothesis(slug: str) -> Hypothesis:
    """What a diagnosis is to the model. ValueError for one that it doesn't know."""
    return None if slug == NOTHING_WRONG else Fault(slug)


def slug_of(fault: Hypothesis) -> str:
    return NOTHING_WRONG if fault is None else fault.value


@dataclass(frozen=True, kw_only=True)
class FaultFinding:
    """``step`` is the version's diagnosis."""

    version: VersionInput
    step: StepInput
    bench: BenchInput

    @classmethod
    def of(cls, version: VersionInput, bench: BenchInput | None) -> "FaultFinding | None":
        """None for a task without a diagnosis."""
        step = version.diagnosis
        return None if step is None or bench is None else cls(version=version, step=step, bench=bench)

    @cached_property
    def choices(self) -> tuple[Hypothesis, ...]:
        """Those of the diagnoses offered that the model knows, in their order."""
        return tuple(hypothesis(value) for value, _ in self.step.choices if knows(value))

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """What is weighed against the readings: the diagnoses offered, and slips of instruments and pens."""
        known = [each for each in self.choices if each is not None]
        return considered(terminals=self.bench.terminals, design=known)

    @cached_property
    def tests(self) -> tuple[Test, ...]:
        """What the task has the candidate measure or lets them, as far as the model knows it."""
        points = {each.slug for each in self.bench.test_points}
        conditions = {each.slug for each in self.bench.conditions}
        known = tests_of(terminals=self.bench.terminals)
        asked_for = {test_of_step(step) for step in self.version.steps}
        return tuple(
            each
            for each in known
            if (each.at in points and each.condition in conditions) or each.key in asked_for
        )

    def alike(self, rig: RigModel, fault: Hypothesis) -> frozenset[Hypothesis]:
        """What these tests can't tell from a fault on this rig, itself among it, slips and all."""
        return alike(rig, fault=fault, tests=self.tests, faults=self.faults)

    def lookalikes(self, rig: RigModel, fault: Hypothesis) -> tuple[Hypothesis, ...]:
        """Other diagnoses that are offered and that these tests can't tell from a fault on this rig."""
        group = self.alike(rig, fault)
        return tuple(each for each in self.choices if each in group and each != fault)

    def label(self, fault: Hypothesis) -> str:
        slug = slug_of(fault)
        return dict(self.step.choices).get(slug) or slip(slug)

    def test_label(self, test: Test) -> str:
        """In the words of the bench; of a test that is a step of the task, its title."""
        try:
            return self.bench.label_of(test.key)
        except KeyError:
            return next(step.title for step in self.version.steps if test_of_step(step) == test.key)
