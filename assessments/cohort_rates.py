"""How a cohort's attempts came out: first-time shares and resits by task, and how old its evidence is."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from academy.models import Person
from assessments.cohort_records import Records
from assessments.models import Criterion, SignOff, Task, TaskVersion
from rigs.metrology.agreement import Share, wilson

# After so many months evidence is too old to show that somebody is competent now: common practice, no source.
EVIDENCE_MONTHS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskRate:
    """One task. ``share`` is of first attempts that are decided and count; None without any.

    ``resits`` are attempts after the first, ``void`` those that are left out of everything.
    """

    task: Task
    first_time: int
    share: Share | None
    resits: int
    void: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CriterionAge:
    """Each candidate's newest evidence for a criterion: whose is the oldest, and how many are too old."""

    criterion: Criterion
    shown_by: int
    oldest: date | None
    whose: Person | None
    too_old: int


def task_rates(found: Records) -> tuple[TaskRate, ...]:
    """By task, of the records' members, and no queries."""
    return tuple(_task_rate(found, task) for task in found.tasks)


def _task_rate(found: Records, task: Task) -> TaskRate:
    people = {member.person.pk for member in found.members if task in member.tasks}
    tries = [found.counted(person, task.pk) for person in people]
    firsts = [each[0].decided for each in tries if each and each[0].decided and each[0].decided.counts]
    competent = sum(each.competent for each in firsts)
    everything = sum(len(found.tries.get((person, task.pk), ())) for person in people)
    return TaskRate(
        task=task,
        first_time=competent,
        share=wilson(count=competent, n=len(firsts)) if firsts else None,
        resits=sum(max(0, len(each) - 1) for each in tries),
        void=everything - sum(len(each) for each in tries),
    )


def evidence_ages(found: Records, *, limit: date) -> tuple[CriterionAge, ...]:
    """By criterion of the planned tasks; what is from before ``limit`` is too old. Four queries.

    Evidence is of the day that an attempt was started (or of the log sheet), or on which something was
    achieved before, which shows what its task shows now.
    """
    newest = _newest(found)
    planned = {pk for pk, tasks in _criteria_of_tasks(found).items() if tasks}
    criteria = Criterion.objects.filter(centre=found.centre, pk__in=planned).order_by("unit", "code")
    people = {member.person.pk: member.person for member in found.members}
    return tuple(
        _age(criterion, newest.get(criterion.pk, {}), people.values(), limit) for criterion in criteria
    )


def _age(
    criterion: Criterion, days: dict[object, date], people: Iterable[Person], limit: date
) -> CriterionAge:
    oldest = min(
        ((days[person.pk], person) for person in people if person.pk in days), key=_by_day, default=None
    )
    return CriterionAge(
        criterion=criterion,
        shown_by=len(days),
        oldest=oldest[0] if oldest else None,
        whose=oldest[1] if oldest else None,
        too_old=sum(day < limit for day in days.values()),
    )


def _by_day(each: tuple[date, Person]) -> tuple[date, str]:
    return each[0], each[1].name


def _newest(found: Records) -> dict[int, dict[object, date]]:
    """By criterion and candidate, the day of the newest evidence."""
    newest: dict[int, dict[object, date]] = defaultdict(dict)

    def take(criterion: int, candidate: object, day: date) -> None:
        newest[criterion][candidate] = max(day, newest[criterion].get(candidate, day))

    shown = (
        SignOff.objects.of_competence()
        .filter(attempt__candidate__in=[member.person for member in found.members])
        .values_list("attempt__candidate", "attempt__version", "attempt__started_at", "attempt__observed_on")
    )
    rows = list(shown)
    criteria: dict[object, list[int]] = defaultdict(list)
    used = TaskVersion.objects.filter(pk__in={version for _, version, *_ in rows}, criteria__isnull=False)
    for version, criterion in used.values_list("pk", "criteria"):
        criteria[version].append(criterion)
    for candidate, version, started_at, observed_on in rows:
        for criterion in criteria[version]:
            take(criterion, candidate, observed_on or found.centre.date_at(started_at))
    of_tasks = _criteria_of_tasks(found)
    people = {member.person.pk for member in found.members}
    for (candidate, task), day in found.priors.items():
        for criterion, tasks in of_tasks.items():
            if candidate in people and task in tasks:
                take(criterion, candidate, day)
    return newest


def _criteria_of_tasks(found: Records) -> dict[int, set[object]]:
    """By criterion, the planned tasks whose versions in force show it."""
    versions = TaskVersion.objects.in_force().filter(task__in=found.tasks, criteria__isnull=False)
    shows: dict[int, set[object]] = defaultdict(set)
    for task, criterion in versions.values_list("task", "criteria"):
        shows[criterion].add(task)
    return shows
