"""How far candidates have come: prerequisites, and the matrix of a cohort."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from academy import ledger
from academy.models import Cohort, Person
from academy.refusals import Refused
from assessments import rights
from assessments.models import Attempt, CohortTask, PriorAchievement, SignOff, Task, TaskVersion
from assessments.models.attempts import AT_WORK, AttemptStatus, Purpose
from assessments.models.decisions import Decision


class Standing(StrEnum):
    """How a candidate stands with a task, the best first. Some are told to staff alone."""

    COMPETENT = "competent"
    PRIOR = "prior"
    COUNTERSIGN = "countersign"
    SUBMITTED = "submitted"
    RETURNED = "returned"
    OPEN = "open"
    SUSPENDED = "suspended"
    NOT_YET = "not-yet-competent"
    VOID = "void"
    NOT_STARTED = "not-started"


def achieved(candidates: Iterable[Person] | QuerySet[Any, Any]) -> set[tuple[UUID, UUID]]:
    """Candidate and task, by id, wherever one was found competent in it, here or before.

    Sign-offs that an impact review has suspended are left out.

    ``candidates`` are people, or a query for their ids. Two queries.
    """
    here = SignOff.objects.of_competence().filter(attempt__candidate__in=candidates)
    before = PriorAchievement.objects.filter(candidate__in=candidates)
    return {
        *here.values_list("attempt__candidate", "attempt__version__task"),
        *before.values_list("candidate", "task"),
    }


def achieved_tasks(candidate: Person) -> set[UUID]:
    """The ids of the tasks that a candidate was found competent in, here or before."""
    return {task for _, task in achieved([candidate])}


def missing_prerequisites(*, candidate: Person, version: TaskVersion) -> list[Task]:
    achieved = achieved_tasks(candidate)
    return [task for task in version.requires.all() if task.pk not in achieved]


def standings_of(
    people: Iterable[Person], tasks: Iterable[Task]
) -> Mapping[tuple[object, object], tuple[Standing, int]]:
    """How each person stands with each task, as they may know it, and in how many assessed attempts."""
    people, tasks = list(people), list(tasks)
    found: dict[tuple[object, object], list[Standing]] = {}
    assessed = Attempt.objects.filter(
        candidate__in=people, version__task__in=tasks, purpose=Purpose.ASSESSMENT
    ).exclude(status=AttemptStatus.VOID)
    rows = assessed.values_list("candidate", "version__task", "status", "pk")
    decisions = _decisions(people)
    for candidate, task, status, attempt in rows:
        found.setdefault((candidate, task), []).append(_standing(status, decisions.get(attempt)))
    standings = {key: (_best(each), len(each)) for key, each in found.items()}
    for candidate, task in PriorAchievement.objects.filter(candidate__in=people).values_list(
        "candidate", "task"
    ):
        standing, attempts = standings.get((candidate, task), (Standing.NOT_STARTED, 0))
        standings[candidate, task] = (_best([standing, Standing.PRIOR]), attempts)
    return standings


def _decisions(people: Iterable[Person]) -> dict[UUID, Standing]:
    """How the decision that stands on each attempt counts; one whose place another has taken, not at all."""
    signed = SignOff.objects.current().with_suspension().filter(attempt__candidate__in=people)
    # The plugin doesn't see annotations through a queryset method.
    rows = signed.values_list("attempt", "decision", "is_suspended", "is_superseded")  # type: ignore[misc]
    return {
        attempt: counted(decision, is_suspended=is_suspended, is_superseded=is_superseded)
        for attempt, decision, is_suspended, is_superseded in rows
    }


def counted(decision: str, *, is_suspended: bool, is_superseded: bool) -> Standing:
    """How a decision that stands counts."""
    if is_superseded:
        return Standing.NOT_STARTED
    if is_suspended:
        return Standing.SUSPENDED
    return Standing.COMPETENT if decision == Decision.COMPETENT else Standing.NOT_YET


def _standing(status: str, decided: Standing | None) -> Standing:
    if decided is not None:
        return decided
    return Standing.OPEN if status in AT_WORK else Standing.SUBMITTED


def _best(standings: list[Standing]) -> Standing:
    return min(standings, key=list(Standing).index)


@transaction.atomic
def plan(*, cohort: Cohort, task: Task, by: Person, at: datetime) -> CohortTask:
    """Plan a task for a cohort."""
    if task.centre_id != cohort.centre_id:
        raise Refused("That task belongs to another centre.", field="task")
    planned, created = CohortTask.objects.get_or_create(cohort=cohort, task=task)
    if created:
        ledger.append(
            centre=cohort.centre,
            actor=by,
            verb="cohort.plan",
            subject=cohort.pk,
            at=at,
            facts={"task": str(task.pk)},
        )
    return planned


@transaction.atomic
def record_prior(
    *, candidate: Person, task: Task, achieved_on: date, evidence: str, by: Person, at: datetime
) -> PriorAchievement:
    """Record a task that a candidate was found competent in before, elsewhere or on paper."""
    if candidate.pk == by.pk:
        raise Refused("Somebody else records what you achieved before.")
    if candidate.centre_id != by.centre_id or task.centre_id != by.centre_id:
        raise Refused("That candidate or task belongs to another centre.")
    if achieved_on > task.centre.date_at(at):
        raise Refused("That date lies in the future.", field="achieved_on")
    if rights.conflicted(person=by, candidate=candidate, on=task.centre.date_at(at)):
        raise Refused(rights.CONFLICT)
    if PriorAchievement.objects.filter(candidate=candidate, task=task).exists():
        raise Refused("This is on record already.", field="task")
    prior = PriorAchievement.objects.create(
        candidate=candidate,
        task=task,
        achieved_on=achieved_on,
        evidence=evidence,
        recorded_by=by,
        recorded_at=at,
    )
    facts = {"candidate": str(candidate.pk), "task": str(task.pk)}
    ledger.append(centre=task.centre, actor=by, verb="prior.record", subject=prior.pk, at=at, facts=facts)
    return prior
