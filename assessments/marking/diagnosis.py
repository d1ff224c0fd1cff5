"""A diagnosis, marked three ways apart: is it right, do the readings support it, what was left to test.

The fault that was set may be none: a healthy rig is diagnosed as “nothing wrong” in the same way. Every
probability is given to four places, so that the same inputs give the same result on any machine.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from assessments.marking import diagnosis_wording as wording
from assessments.marking.diagnosed import Belief, Diagnosis, DiagnosisVerdict, TestMade
from assessments.marking.fault_finding import FaultFinding, hypothesis, knows, slug_of
from assessments.marking.foreseen import Foreseen, foreseen
from assessments.marking.inputs import AttemptInputs
from assessments.marking.parameters import NOTHING_WRONG
from assessments.marking.seen import Seen, known_rig, seen
from rigs.behaviour.next_test import fewest_tests, next_test
from rigs.behaviour.observations import Observed
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.posterior import MEANT, Posterior, posterior
from rigs.behaviour.venturi import RigError

SUPPORTED: Final = 0.5
"""Readings support what they make likelier than all else together (common practice, no source)."""
PLACES: Final = 4
USUAL_UNIT, USUAL_DECIMALS = "mbar", 2
SHOWN: Final = 0.005
"""The least probability of a fault that is listed."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One attempt at finding a fault, with what the model makes of its readings on its rig."""

    inputs: AttemptInputs
    task: FaultFinding
    rig: RigModel

    @cached_property
    def seen(self) -> tuple[Seen, ...]:
        return seen(self.inputs)

    @cached_property
    def observed(self) -> tuple[Observed, ...]:
        return tuple(each.observed for each in self.seen if each.observed is not None)

    @cached_property
    def after(self) -> tuple[Posterior, ...]:
        """What is likely after none of the readings, after the first, and so on to the last."""
        return tuple(
            posterior(self.rig, observed=self.observed[:count], faults=self.task.faults)
            for count in range(len(self.observed) + 1)
        )


def judge_diagnosis(inputs: AttemptInputs) -> Diagnosis | None:
    """None for a task without one."""
    task = FaultFinding.of(inputs.version, inputs.bench)
    if task is None:
        return None
    plain = _plain(inputs, task)
    try:
        rig = known_rig(inputs, terminals=task.bench.terminals)
        return _weighed(plain, Case(inputs=inputs, task=task, rig=rig))
    except RigError as error:
        return _with_words(replace(plain, tests=tuple(map(_unweighed, seen(inputs)))), why_not=str(error))


def _plain(inputs: AttemptInputs, task: FaultFinding) -> Diagnosis:
    """The diagnosis beside what was set, before anything is weighed."""
    step, fault = task.step, inputs.fault
    labels = dict(step.choices)
    stated = next((each.answer for each in inputs.records if each.step == step.slug), "")
    was_set = NOTHING_WRONG if fault is None else fault.slug
    return Diagnosis(
        step=step.slug,
        verdict=_verdict(stated, was_set, frozenset()),
        stated=stated,
        stated_label=labels.get(stated, stated),
        set=was_set,
        set_label=labels.get(was_set) or (fault.label if fault else was_set),
        used=len(inputs.measurements),
    )


def _verdict(stated: str, set_slug: str, alike_slugs: frozenset[str]) -> DiagnosisVerdict:
    if not stated:
        return DiagnosisVerdict.MISSING
    if stated == set_slug:
        return DiagnosisVerdict.RIGHT
    return DiagnosisVerdict.ALIKE if stated in alike_slugs else DiagnosisVerdict.WRONG


def _weighed(plain: Diagnosis, case: Case) -> Diagnosis:
    """The diagnosis with everything that the model says of it. RigError where it says nothing."""
    task, last = case.task, case.after[-1]
    following = next_test(case.rig, observed=case.observed, tests=task.tests, faults=task.faults)
    weighed = replace(
        plain,
        posterior=tuple(_beliefs(last, case)),
        remaining=tuple(task.label(each) for each in last.faults if each in last.remaining()),
        tests=tuple(_tests_made(case, was_set=plain.set, stated=plain.stated)),
        next_test="" if following is None else task.test_label(following.test),
        next_bits=None if following is None else round(following.bits, PLACES),
        assumed=case.rig.assumed,
    )
    return _with_words(_supported(_against_what_was_set(weighed, case), case))


def _against_what_was_set(found: Diagnosis, case: Case) -> Diagnosis:
    """With the verdict, what looks like the fault that was set, and how few tests would have found it."""
    if not knows(found.set):
        return found
    task, was_set = case.task, hypothesis(found.set)
    lookalikes = task.lookalikes(case.rig, was_set)
    fewest = fewest_tests(case.rig, fault=was_set, tests=task.tests, faults=task.faults)
    return replace(
        found,
        verdict=_verdict(found.stated, found.set, frozenset(map(slug_of, lookalikes))),
        alike=tuple(task.label(each) for each in lookalikes),
        fewest=tuple(task.test_label(each) for each in fewest),
    )


def _supported(found: Diagnosis, case: Case) -> Diagnosis:
    if not found.stated or not knows(found.stated):
        return found
    stated, last = hypothesis(found.stated), case.after[-1]
    support = last.mass(case.task.alike(case.rig, stated))
    return replace(
        found,
        supported=support >= SUPPORTED,
        support=round(support, PLACES),
        prior=round(case.after[0].of(stated), PLACES),
    )


def _beliefs(last: Posterior, case: Case) -> Iterator[Belief]:
    """The likeliest first; what is as likely to the last place shown stays in the order of the faults."""
    for fault in sorted(last.faults, key=lambda each: -round(last.of(each), PLACES)):
        if last.of(fault) >= SHOWN:
            probability = round(last.of(fault), PLACES)
            yield Belief(fault=slug_of(fault), label=case.task.label(fault), probability=probability)


def _tests_made(case: Case, *, was_set: str, stated: str) -> Iterator[TestMade]:
    weighed = 0
    for each in case.seen:
        if each.observed is not None:
            weighed += 1
        yield _test_made(each, case, case.after[weighed], was_set=was_set, stated=stated)


def _unweighed(each: Seen) -> TestMade:
    reading = each.reading
    return TestMade(
        reading=reading.id, test=each.label, shown=reading.text, unit=reading.unit, unused=each.unused
    )


def _test_made(each: Seen, case: Case, after: Posterior, *, was_set: str, stated: str) -> TestMade:
    remaining = after.remaining()
    made = replace(
        _unweighed(each),
        of_stated=_probability(after, stated),
        of_set=_probability(after, was_set),
        remaining=len(remaining),
        likeliest=case.task.label(remaining[0]) if len(remaining) == 1 else "",
    )
    if each.test is None or not knows(was_set):
        return made
    return _beside(foreseen(case.rig, test=each.test, fault=hypothesis(was_set)), each, made)


def _probability(after: Posterior, diagnosis: str) -> float | None:
    return round(after.of(hypothesis(diagnosis)), PLACES) if knows(diagnosis) else None


def _beside(expected: Foreseen, each: Seen, made: TestMade) -> TestMade:
    """With what it should read under the fault that was set, and how far off it is."""
    observed, zeta, fits = each.observed, None, None
    if observed is not None and observed.value is not None:
        zeta = expected.zeta(value=observed.value, u=observed.u)
    if observed is not None and observed.state is not None:
        fits = not expected.states or not set(MEANT[observed.state]).isdisjoint(expected.states)
    return replace(
        made,
        expected=_in_its_unit(expected, each),
        zeta=None if zeta is None else round(zeta, 2),
        fits=fits,
    )


def _in_its_unit(expected: Foreseen, seen_: Seen) -> str:
    if seen_.row.is_value:
        return wording.foreseen(expected, unit=seen_.reading.unit, decimals=seen_.row.decimals)
    return wording.foreseen(expected, unit=USUAL_UNIT, decimals=USUAL_DECIMALS)


def _with_words(found: Diagnosis, *, why_not: str = "") -> Diagnosis:
    told = replace(found, why_not=why_not)
    return replace(told, words=wording.diagnosis(told))
