"""What a centre has that a task can name: designs with their rigs, other tasks, and criteria."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from academy.models import Centre
from assessments.expansion import DesignData
from assessments.models import Criterion, TaskVersion
from rigs.models import Baseline, BaselineValue, Rig, RigDesign

Key = tuple[str, str]
"""A test point and a condition, by their slugs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    label: str
    quantity: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Surrounding:
    """One rig design: where and in which conditions it can be measured, and what its rigs have ranges for.

    ``ranges`` has every rig in use by its tag, with what its baseline in force says the value of.
    """

    name: str
    expansion: DesignData
    points: Mapping[str, Point]
    conditions: Mapping[str, str]
    measurands: Mapping[Key, str]
    ranges: Mapping[str, frozenset[Key]]


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherTask:
    """A task with a version in force, and what comes before it."""

    title: str
    requires: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    designs: Mapping[str, Surrounding]
    tasks: Mapping[str, OtherTask]
    criteria: Mapping[str, str]

    def of(self, designs: Collection[str]) -> tuple[Surrounding, ...]:
        """Those of the designs named that the centre has."""
        return tuple(self.designs[slug] for slug in designs if slug in self.designs)


def surroundings_of(*, centre: Centre) -> Surroundings:
    """All of it, in a constant number of queries."""
    ranges = _ranges(centre)
    designs = RigDesign.objects.filter(centre=centre).prefetch_related(
        "test_points", "conditions", "faults", "measurands__test_point", "measurands__condition"
    )
    return Surroundings(
        designs={each.slug: _surrounding(each, ranges[each.pk]) for each in designs},
        tasks=_tasks(centre),
        criteria=dict(Criterion.objects.filter(centre=centre).values_list("code", "text")),
    )


def _surrounding(design: RigDesign, ranges: Mapping[str, frozenset[Key]]) -> Surrounding:
    points = design.test_points.all()
    conditions = {each.slug: each.label for each in design.conditions.all()}
    measurands = {(each.test_point.slug, each.condition.slug): each for each in design.measurands.all()}
    return Surrounding(
        name=design.name,
        expansion=DesignData(
            slug=design.slug,
            conductors=tuple((each["slug"], each["label"]) for each in design.conductors),
            faults=tuple((each.slug, each.label) for each in design.faults.all()),
            test_points={each.slug: each.quantity for each in points},
            conditions=tuple(conditions),
            measurands={key: each.kind for key, each in measurands.items()},
        ),
        points={each.slug: Point(label=each.label, quantity=each.quantity) for each in points},
        conditions=conditions,
        measurands={key: str(each) for key, each in measurands.items()},
        ranges=ranges,
    )


def _tasks(centre: Centre) -> dict[str, OtherTask]:
    """One task may be in force on several designs, each with what comes before it."""
    found = (
        TaskVersion.objects.in_force()
        .filter(task__centre=centre)
        .select_related("task")
        .prefetch_related("requires")
        .order_by("task__position", "task__title")
    )
    tasks: dict[str, OtherTask] = {}
    for version in found:
        before = tasks[version.task.slug].requires if version.task.slug in tasks else frozenset()
        requires = before | {each.slug for each in version.requires.all()}
        tasks[version.task.slug] = OtherTask(title=version.task.title, requires=requires)
    return tasks


def _ranges(centre: Centre) -> Mapping[object, dict[str, frozenset[Key]]]:
    """By design and tag of the rigs in use: the measurands that the baseline in force has a value for."""
    rigs = list(Rig.objects.filter(centre=centre).in_use().values_list("pk", "tag", "design"))
    # Approved ones come with the newest first, so the oldest is written over by it.
    newest_last = Baseline.objects.filter(rig__centre=centre).approved().reverse()
    in_force = dict(newest_last.values_list("rig", "pk"))
    known: dict[object, set[Key]] = defaultdict(set)
    values = BaselineValue.objects.filter(baseline__in=in_force.values())
    for baseline, point, condition in values.values_list(
        "baseline", "measurand__test_point__slug", "measurand__condition__slug"
    ):
        known[baseline].add((point, condition))
    found: dict[object, dict[str, frozenset[Key]]] = defaultdict(dict)
    for rig, tag, design in rigs:
        found[design][tag] = frozenset(known[in_force.get(rig)])
    return found
