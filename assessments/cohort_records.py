"""What cohorts' members have done at the tasks planned for them, looked up once for all of them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from academy.models import Centre, Cohort, Membership, Person
from assessments.models import Adjustment, Attempt, CohortTask, PriorAchievement, SignOff, Task, TaskVersion
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, Strand
from assessments.progress import Standing, counted
from rigs.models import Hold, Rig

Pair = tuple[UUID, UUID]
"""A candidate and a task, by id."""

OF_STATUS = {
    AttemptStatus.OPEN: Standing.OPEN,
    AttemptStatus.RETURNED: Standing.RETURNED,
    AttemptStatus.SUBMITTED: Standing.SUBMITTED,
    AttemptStatus.COUNTERSIGN: Standing.COUNTERSIGN,
    AttemptStatus.VOID: Standing.VOID,
    AttemptStatus.SIGNED_OFF: Standing.NOT_STARTED,  # its decision says how it stands, if that counts
}
DONE = frozenset({Standing.COMPETENT, Standing.PRIOR})


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """The decision that stands on an attempt. ``counts`` unless it is suspended or superseded."""

    at: datetime
    competent: bool
    counts: bool
    standing: Standing
    breach: bool
    outcome: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class Try:
    """One assessment, void ones too. ``decided`` is None while no decision on it stands."""

    pk: UUID
    status: str
    started_at: datetime
    submitted_at: datetime | None
    decided: Decided | None

    @property
    def is_void(self) -> bool:
        return self.status == AttemptStatus.VOID

    @property
    def standing(self) -> Standing:
        return self.decided.standing if self.decided else OF_STATUS[AttemptStatus(self.status)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A candidate in a cohort, with what is planned for them there."""

    person: Person
    cohort: Cohort
    joined_on: date
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Issue:
    """What a task asks for as it is in force: on which designs, how many minutes, after which tasks."""

    designs: frozenset[UUID] = frozenset()
    minutes: int = 0
    requires: frozenset[UUID] = frozenset()


NOT_ISSUED = Issue()


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """``tries`` are in the order in which they were started; ``rigs`` in service by design."""

    on: date
    centre: Centre
    members: tuple[Member, ...]
    tasks: tuple[Task, ...]
    tries: Mapping[Pair, tuple[Try, ...]]
    priors: Mapping[Pair, date]
    issues: Mapping[UUID, Issue]
    rigs: Mapping[UUID, int]
    extra_percent: Mapping[UUID, int] = field(default_factory=dict)

    def standing(self, candidate: UUID, task: UUID) -> Standing:
        """How a candidate stands with a task: the best of what there is."""
        found = [each.standing for each in self.tries.get((candidate, task), ())]
        if (candidate, task) in self.priors:
            found.append(Standing.PRIOR)
        return min(found, key=_ORDER.__getitem__, default=Standing.NOT_STARTED)

    def of_cohort(self, cohort: Cohort) -> "Records":
        """Those of one of the cohorts, with its own tasks alone."""
        members = tuple(member for member in self.members if member.cohort == cohort)
        planned = {task for member in members for task in member.tasks}
        tasks = tuple(task for task in self.tasks if task in planned)
        return replace(self, members=members, tasks=tasks)

    def counted(self, candidate: UUID, task: UUID) -> tuple[Try, ...]:
        """The assessments that count as attempts."""
        return tuple(each for each in self.tries.get((candidate, task), ()) if not each.is_void)

    def minutes(self, candidate: UUID, task: UUID) -> int:
        """The guide minutes with the candidate's extra time, rounded up."""
        guide = self.issues.get(task, NOT_ISSUED).minutes
        return -(-guide * (100 + self.extra_percent.get(candidate, 0)) // 100)


_ORDER = {standing: place for place, standing in enumerate(Standing)}


def records(*, centre: Centre, cohorts: Collection[Cohort], on: date) -> Records:
    """Those of everybody who is in these cohorts that day. A constant number of queries."""
    planned = CohortTask.objects.filter(cohort__in=cohorts).select_related("task")
    tasks_of: dict[UUID, list[Task]] = defaultdict(list)
    for each in planned:
        tasks_of[each.cohort_id].append(each.task)
    tasks = sorted({each.task for each in planned}, key=lambda task: (task.position, task.title))
    memberships = Membership.objects.in_force(on=on).filter(cohort__in=cohorts)
    people = memberships.values("person")
    return Records(
        on=on,
        centre=centre,
        members=_members(memberships, tasks_of),
        tasks=tuple(tasks),
        tries=_tries(people, tasks),
        priors=_priors(people),
        issues=_issues(centre),
        rigs=_rigs_in_service(centre),
        extra_percent=_extra(people, on=on),
    )


def _members(memberships: QuerySet[Membership], tasks_of: Mapping[UUID, list[Task]]) -> tuple[Member, ...]:
    found = memberships.select_related("person", "cohort").order_by("cohort__name", "person__name", "pk")
    return tuple(
        Member(
            person=each.person,
            cohort=each.cohort,
            joined_on=each.joined_on,
            tasks=tuple(tasks_of.get(each.cohort_id, ())),
        )
        for each in found
    )


def _tries(people: QuerySet[Any, Any], tasks: Iterable[Task]) -> dict[Pair, tuple[Try, ...]]:
    rows = (
        Attempt.objects.filter(
            candidate__in=people, version__task__in=list(tasks), purpose=Purpose.ASSESSMENT
        )
        .order_by("started_at", "pk")
        .values_list("candidate", "version__task", "pk", "status", "started_at", "submitted_at")
    )
    decided = _decided(people)
    found: dict[Pair, list[Try]] = defaultdict(list)
    for candidate, task, pk, status, started_at, submitted_at in rows:
        found[candidate, task].append(
            Try(
                pk=pk,
                status=status,
                started_at=started_at,
                submitted_at=submitted_at,
                decided=decided.get(pk) if status == AttemptStatus.SIGNED_OFF else None,
            )
        )
    return {pair: tuple(each) for pair, each in found.items()}


def _decided(people: QuerySet[Any, Any]) -> dict[UUID, Decided]:
    signed = SignOff.objects.current().with_suspension().filter(attempt__candidate__in=people)
    # The plugin doesn't see annotations through a queryset method.
    rows = signed.values_list(  # type: ignore[misc]
        "attempt", "at", "decision", "is_suspended", "is_superseded", "outcome__procedure", "outcome"
    )
    return {
        attempt: Decided(
            at=at,
            competent=decision == Decision.COMPETENT,
            counts=not (is_suspended or is_superseded),
            standing=counted(decision, is_suspended=is_suspended, is_superseded=is_superseded),
            breach=procedure == Strand.NOT_MET,
            outcome=outcome,
        )
        for attempt, at, decision, is_suspended, is_superseded, procedure, outcome in rows
    }


def _priors(people: QuerySet[Any, Any]) -> dict[Pair, date]:
    rows = PriorAchievement.objects.filter(candidate__in=people)
    return {
        (candidate, task): on for candidate, task, on in rows.values_list("candidate", "task", "achieved_on")
    }


def _issues(centre: Centre) -> dict[UUID, Issue]:
    """By task. Where designs differ in minutes, the most."""
    versions = TaskVersion.objects.in_force().filter(task__centre=centre)
    designs: dict[UUID, set[UUID]] = defaultdict(set)
    minutes: dict[UUID, int] = defaultdict(int)
    for task, design, guide in versions.values_list("task", "design", "guide_minutes"):
        designs[task].add(design)
        minutes[task] = max(minutes[task], guide)
    requires: dict[UUID, set[UUID]] = defaultdict(set)
    for task, needed in versions.filter(requires__isnull=False).values_list("task", "requires"):
        requires[task].add(needed)
    return {
        task: Issue(
            designs=frozenset(designs[task]), minutes=minutes[task], requires=frozenset(requires[task])
        )
        for task in designs
    }


def _rigs_in_service(centre: Centre) -> dict[UUID, int]:
    found: dict[UUID, int] = defaultdict(int)
    rigs = Rig.objects.in_use().filter(centre=centre).exclude(holds__in=Hold.objects.open())
    for design in rigs.values_list("design", flat=True):
        found[design] += 1
    return found


def _extra(people: QuerySet[Any, Any], *, on: date) -> dict[UUID, int]:
    found: dict[UUID, int] = defaultdict(int)
    agreed = Adjustment.objects.in_force(on=on).filter(candidate__in=people)
    for candidate, extra in agreed.values_list("candidate", "extra_percent"):
        found[candidate] = max(found[candidate], extra)
    return found
