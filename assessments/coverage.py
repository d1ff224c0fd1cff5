"""What a candidate has shown of the criteria, by which evidence, and what is still missing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, QuerySet

from academy.models import Person
from assessments.models import Attempt, Criterion, PriorAchievement, SignOff, TaskVersion
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """An attempt that was signed off. ``number`` is its place in the portfolio, by handing in."""

    number: int
    attempt: Attempt
    signed: SignOff

    @property
    def counts(self) -> bool:
        """Whether it shows its task's criteria: practice doesn't."""
        return self.attempt.purpose == Purpose.ASSESSMENT and self.signed.decision == Decision.COMPETENT


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What shows a criterion: the attempt of that number, or, with none, what was achieved before."""

    number: int | None
    label: str
    on: date | datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveredCriterion:
    """A criterion, what shows it so far, and the titles of the tasks that can."""

    code: str
    text: str
    evidence: tuple[Evidence, ...]
    shown_by: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCoverage:
    unit: str
    criteria: tuple[CoveredCriterion, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    units: tuple[UnitCoverage, ...]

    @property
    def criteria(self) -> tuple[CoveredCriterion, ...]:
        return tuple(criterion for unit in self.units for criterion in unit.criteria)

    @property
    def missing(self) -> tuple[CoveredCriterion, ...]:
        return tuple(criterion for criterion in self.criteria if not criterion.evidence)


def decided_attempts(attempts: QuerySet[Attempt], *, candidate: Person) -> tuple[Decided, ...]:
    """A candidate's signed-off attempts with the decision that stands, numbered."""
    standing = Prefetch(
        "sign_offs", SignOff.objects.current().select_related("assessor", "outcome"), to_attr="standing"
    )
    found = (
        attempts.filter(candidate=candidate, status=AttemptStatus.SIGNED_OFF)
        .select_related("rig", "version__task")
        .prefetch_related(standing, "version__criteria")
        .order_by("submitted_at", "pk")
    )
    return tuple(
        Decided(number=number, attempt=attempt, signed=attempt.standing[0])
        for number, attempt in enumerate(found, start=1)
    )


def prior_achievements(candidate: Person) -> tuple[PriorAchievement, ...]:
    return tuple(
        PriorAchievement.objects.filter(candidate=candidate)
        .select_related("task", "recorded_by")
        .order_by("achieved_on", "task__position")
    )


def coverage(
    *, candidate: Person, decided: Iterable[Decided], priors: Iterable[PriorAchievement]
) -> Coverage:
    """Set a centre's criteria beside what shows them. A constant number of queries.

    What was achieved before shows the criteria that its task has now.
    """
    in_force = (
        TaskVersion.objects.visible_to(candidate)
        .in_force()
        .select_related("task")
        .prefetch_related("criteria")
    )
    versions = {version.task_id: version for version in in_force.order_by("task__position")}
    evidence: dict[int, list[Evidence]] = defaultdict(list)
    for prior in priors:
        shown = Evidence(number=None, label=f"Achieved before: {prior.task}", on=prior.achieved_on)
        for criterion in versions[prior.task_id].criteria.all() if prior.task_id in versions else ():
            evidence[criterion.pk].append(shown)
    for each in decided:
        label = f"{each.attempt.version.task}, {each.attempt.rig.tag}"
        shown = Evidence(number=each.number, label=label, on=each.signed.at)
        for criterion in each.attempt.version.criteria.all() if each.counts else ():
            evidence[criterion.pk].append(shown)
    tasks: dict[int, list[str]] = defaultdict(list)
    for version in versions.values():
        for criterion in version.criteria.all():
            tasks[criterion.pk].append(version.task.title)
    return _by_unit(Criterion.objects.filter(centre=candidate.centre_id).order_by("pk"), evidence, tasks)


def _by_unit(
    criteria: Iterable[Criterion], evidence: Mapping[int, list[Evidence]], tasks: Mapping[int, list[str]]
) -> Coverage:
    units: dict[str, list[CoveredCriterion]] = defaultdict(list)
    for each in criteria:
        units[each.unit].append(
            CoveredCriterion(
                code=each.code,
                text=each.text,
                evidence=tuple(evidence.get(each.pk, ())),
                shown_by=tuple(tasks.get(each.pk, ())),
            )
        )
    return Coverage(
        units=tuple(UnitCoverage(unit=unit, criteria=tuple(found)) for unit, found in units.items())
    )
