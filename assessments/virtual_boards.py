"""Which of a task's steps a virtual rig can stand in for, and which display belongs to each."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Prefetch

from academy.models import Centre
from assessments.marking.parameters import free_measuring
from assessments.models import Step, TaskVersion
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.behaviour.observations import Test, tests_of
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.faults import terminals_of
from rigs.models import RigDesign
from rigs.models.designs import Condition as DesignCondition
from rigs.models.designs import TestPoint as DesignTestPoint

SWITCH_POINTS: Final = frozenset({TestPoint.TAPS, TestPoint.PORTS, TestPoint.CONTACTS})
"""A design with all of these is one that the model knows."""


def with_steps() -> "Prefetch[Any]":
    """A version's steps, in their order, with all that is asked of them here."""
    steps = Step.objects.select_related("condition", "measurand__test_point", "measurand__condition")
    return Prefetch("steps", queryset=steps.order_by("position"))


def test_of(step: Step, by_slug: Mapping[str, Step]) -> Test | None:
    """What is measured on a reading step; None for what is worked out, or what the model doesn't know."""
    if not is_read(step):
        return None
    at = _point_of(step, by_slug)
    condition = _condition_of(step, by_slug)
    if at not in set(TestPoint) or condition not in set(Condition):
        return None
    return Test(condition=Condition(condition), at=TestPoint(at))


def can_stand_in(version: TaskVersion) -> bool:
    """Whether a virtual rig can show everything that the task has a candidate read."""
    points = version.design.test_points.all()
    if not {point.slug for point in points} >= SWITCH_POINTS:
        return False
    steps = version.steps.all()
    by_slug = {step.slug: step for step in steps}
    known = model_tests(points)
    read = [step for step in steps if is_read(step)]
    if any(test_of(step, by_slug) not in known for step in read):
        return False
    return bool(read) or searches_for_a_fault(steps)


def is_read(step: Step) -> bool:
    """Whether it is a reading that some display shows, and no result worked out from those before it."""
    return step.kind == StepKind.READING and step.judged_by != ReadingCheck.COMPUTED


def searches_for_a_fault(steps: Iterable[Step]) -> bool:
    return any(step.kind == StepKind.MEASUREMENTS for step in steps)


def practisable(*, centre: Centre) -> list[TaskVersion]:
    """The versions in force that can be practised, in the order in which they are learnt."""
    designs = RigDesign.objects.filter(centre=centre, test_points__slug=TestPoint.TAPS)
    versions = (
        TaskVersion.objects.in_force()
        .filter(design__in=designs)
        .select_related("task", "design")
        .prefetch_related("design__test_points", with_steps())
        .order_by("task__position", "design__name")
    )
    return [version for version in versions if can_stand_in(version)]


def model_tests(points: Iterable[DesignTestPoint]) -> frozenset[Test]:
    """Every test that the model answers for a design with these test points."""
    return frozenset(tests_of(terminals=terminals_of(point.slug for point in points)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What can be measured on a step of one's own choice. ``tests`` has the combinations that make sense."""

    test_points: tuple[DesignTestPoint, ...]
    conditions: tuple[DesignCondition, ...]
    tests: frozenset[Test]


def offer_of(
    step: Step, *, points: Iterable[DesignTestPoint], conditions: Iterable[DesignCondition]
) -> Offer:
    """What a step of free measurements offers, of what the model knows."""
    points, conditions = list(points), list(conditions)
    measuring = free_measuring(step)
    tests = frozenset(
        test
        for test in model_tests(points)
        if measuring.offers_test_point(test.at)
        and measuring.offers_condition(test.condition)
        and test.at in {point.slug for point in points}
        and test.condition in {condition.slug for condition in conditions}
    )
    return Offer(
        test_points=tuple(point for point in points if any(test.at == point.slug for test in tests)),
        conditions=tuple(each for each in conditions if any(test.condition == each.slug for test in tests)),
        tests=tests,
    )


def _point_of(step: Step, by_slug: Mapping[str, Step]) -> str:
    if step.measurand is not None:
        return step.measurand.test_point.slug
    known = _point_by_check(step) or _single_tap(step, by_slug)
    return known or next((_point_of(other, by_slug) for other in _others(step, by_slug)), "")


def _point_by_check(step: Step) -> str:
    """Where a kind of check says by itself what is read; empty for the others."""
    match step.judged_by:
        case ReadingCheck.LEADS:
            return TestPoint.LEADS_APART if "open" in step.expected else TestPoint.LEADS_TOGETHER
        case ReadingCheck.TONE:
            return TestPoint.LEADS_TOGETHER if "tone" in step.expected else TestPoint.LEADS_APART
        case ReadingCheck.ZERO:
            return TestPoint.MANOMETER_ZERO
        case ReadingCheck.CLOSES:
            return TestPoint.TAPS
        case _:
            return ""


def _condition_of(step: Step, by_slug: Mapping[str, Step]) -> str:
    if step.measurand is not None:
        return step.measurand.condition.slug
    if step.judged_by in {ReadingCheck.LEADS, ReadingCheck.TONE, ReadingCheck.ZERO}:
        return Condition.FAN_OFF  # an instrument by itself: any condition would do
    if step.condition is not None:
        return step.condition.slug
    return next((_condition_of(other, by_slug) for other in _others(step, by_slug)), "")


def _single_tap(step: Step, by_slug: Mapping[str, Step]) -> str:
    """The tap that it is, for one of the two pressures whose difference a later step must come to."""
    for each in by_slug.values():
        if each.judged_by == ReadingCheck.CLOSES:
            if each.parameters.get("high") == step.slug:
                return TestPoint.HIGH_TAP
            if each.parameters.get("low") == step.slug:
                return TestPoint.LOW_TAP
    return ""


def _others(step: Step, by_slug: Mapping[str, Step]) -> Iterator[Step]:
    """The earlier steps that this one is compared with: it reads the same test point again."""
    named = step.parameters.get("of", ())
    for slug in [named] if isinstance(named, str) else named:
        other = by_slug.get(slug)
        if other is not None and other.position < step.position:
            yield other
