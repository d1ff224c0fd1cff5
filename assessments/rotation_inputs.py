"""What a rotation is planned from, read from the records; and a stored plan as the planner's places."""

from collections.abc import Collection, Iterable, Mapping
from itertools import groupby
from uuid import UUID

from academy.models import Person
from assessments import disclosure, progress
from assessments.models import Attempt, ResitRule, SessionPlan, SignOff, Task, TaskVersion
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.progress import Standing
from assessments.rotation import problem as planning
from assessments.rotation.problem import Place, Problem

BEHIND = frozenset({Standing.COMPETENT, Standing.PRIOR})
NOTHING_TO_DO = BEHIND | {Standing.SUBMITTED}


def teams_of(plan: SessionPlan) -> dict[str, list[Person]]:
    """Who is present of each team, by its key."""
    members = plan.members.select_related("candidate").order_by("team", "candidate__name")
    return {
        str(team): [each.candidate for each in those if each.absent_from is None]
        for team, those in groupby(members, lambda member: member.team)
    }


def versions_of(plan: SessionPlan) -> dict[tuple[UUID, str], TaskVersion]:
    """The versions of the plan's tasks that are in force, by design and the task's key.

    Those that are in the plan already go first: a version issued meanwhile doesn't change what stands.
    """
    known = TaskVersion.objects.select_related("task").prefetch_related("requires")
    in_force = known.in_force().filter(task__in=plan.tasks.all())
    planned = known.filter(pk__in=plan.planned.standing().values("version"))
    return {(each.design_id, str(each.task_id)): each for each in (*in_force, *planned)}


def places_of(plan: SessionPlan) -> tuple[Place, ...]:
    """What stands of a plan, a place for each team at a rig."""
    team_of = dict(plan.members.values_list("candidate", "team"))
    rows = plan.planned.standing().values_list("candidate", "begins", "slot", "rig", "version__task")
    found: dict[tuple[int, int], Place] = {}
    for candidate, begins, slot, rig, task in rows:
        team = team_of[candidate]
        known = found.get((begins, team))
        length = max(slot - begins + 1, known.length if known else 0)
        found[begins, team] = Place(team=str(team), rig=str(rig), task=str(task), slot=begins, length=length)
    order = {str(each.rig_id): number for number, each in enumerate(plan.rigs.all())}
    return tuple(sorted(found.values(), key=lambda place: (place.slot, order[place.rig])))


def problem_of(plan: SessionPlan) -> Problem:
    """The plan's problem as things stand now, with nothing fixed. A constant number of queries."""
    versions = versions_of(plan)
    tasks = _tasks(plan, versions.values())
    rigs = [
        planning.Rig(
            key=str(each.rig_id),
            tag=each.rig.tag,
            tasks=frozenset(task for design, task in versions if design == each.rig.design_id),
            out_from=each.out_from,
        )
        for each in plan.rigs.select_related("rig")
    ]
    return Problem(
        timing=plan.timing,
        tasks=tuple(tasks),
        rigs=tuple(rigs),
        teams=tuple(_teams(plan)),
        assessors=plan.assessors.count(),
    )


def _tasks(plan: SessionPlan, versions: Collection[TaskVersion]) -> Iterable[planning.Task]:
    """The plan's tasks and what they require, with the longest guide time of a task's versions."""
    alone = set(plan.alone.values_list("pk", flat=True))
    asks = plan.purpose == Purpose.ASSESSMENT
    requires: dict[UUID, set[str]] = {}
    minutes: dict[UUID, int] = {}
    for each in versions:
        requires.setdefault(each.task_id, set()).update(str(task.pk) for task in each.requires.all())
        minutes[each.task_id] = max(minutes.get(each.task_id, 0), each.guide_minutes)
    needed = {UUID(key) for keys in requires.values() for key in keys}
    listed = {task.pk: task for task in plan.tasks.all()}
    for task in (*listed.values(), *Task.objects.filter(pk__in=needed - set(listed))):
        yield planning.Task(
            key=str(task.pk),
            title=task.title,
            minutes=minutes.get(task.pk, 0),
            per_assessor=1 if task.pk in alone else plan.per_assessor,
            requires=frozenset(requires.get(task.pk, ())) if asks else frozenset(),
        )


def _teams(plan: SessionPlan) -> Iterable[planning.Team]:
    """The teams with whoever is present. One of whom nobody is, wants nothing."""
    members = list(plan.members.select_related("candidate").order_by("team", "candidate__name"))
    present = [each for each in members if each.absent_from is None]
    people = [each.candidate for each in present]
    tasks = sorted(plan.tasks.all(), key=lambda task: (task.position, task.title))
    standings = _standings(plan, people, tasks)
    had = progress.achieved(people)
    barred, unwise = _kept_from(plan, people)
    for team, those in groupby(members, lambda member: member.team):
        inside = [each.candidate for each in those if each.absent_from is None]
        names = [str(each) for each in inside] or ["nobody"]
        yield planning.Team(
            key=str(team),
            name=" and ".join(names),
            size=max(len(inside), 1),
            wants=tuple(
                str(task.pk)
                for task in tasks
                if any(standings.get((each.pk, task.pk)) not in NOTHING_TO_DO for each in inside)
            ),
            has=frozenset(
                str(task)
                for task in {task for _, task in had}
                if all((each.pk, task) in had for each in inside)
            ),
            barred=frozenset(pair for each in inside for pair in barred.get(each.pk, ())),
            unwise=frozenset(pair for each in inside for pair in unwise.get(each.pk, ())),
        )


def _standings(
    plan: SessionPlan, people: Collection[Person], tasks: Collection[Task]
) -> Mapping[tuple[object, object], Standing]:
    """How each stands with each task; in a plan for practice nothing is behind anybody."""
    if plan.purpose == Purpose.PRACTICE:
        return {}
    return {key: standing for key, (standing, _) in progress.standings_of(people, tasks).items()}


Pairs = dict[UUID, set[tuple[str, str]]]


def _kept_from(plan: SessionPlan, people: Collection[Person]) -> tuple[Pairs, Pairs]:
    """By candidate, the rigs and tasks on which they can't be assessed, and those where it would be unwise.

    Somebody who has seen a rig's ranges isn't assessed on it at all; a resit is on another rig than the last
    attempt, as a rule of the task if that says so.
    """
    barred: Pairs = {}
    unwise: Pairs = {}
    if plan.purpose == Purpose.PRACTICE:
        return barred, unwise
    rigs = [each.rig for each in plan.rigs.select_related("rig")]
    tasks = [str(pk) for pk in plan.tasks.values_list("pk", flat=True)]
    for person, rig in disclosure.seen_by(people=people, rigs=rigs):
        barred.setdefault(person, set()).update((str(rig), task) for task in tasks)
    strict = set(ResitRule.objects.filter(other_rig=True).values_list("task", flat=True))
    for candidate, task, rig in _failed_last(people):
        into = barred if task in strict else unwise
        into.setdefault(candidate, set()).add((str(rig), str(task)))
    return barred, unwise


def _failed_last(people: Collection[Person]) -> Iterable[tuple[UUID, UUID, UUID]]:
    """Candidate, task and rig of the last decided attempt, wherever it wasn't yet competent."""
    decided = (
        Attempt.objects.filter(
            candidate__in=people,
            purpose=Purpose.ASSESSMENT,
            pk__in=SignOff.objects.current().values("attempt"),
        )
        .with_decision()
        .order_by("submitted_at")
    )
    # The plugin doesn't see annotations through a queryset method.
    rows = decided.values_list("candidate", "version__task", "rig", "decision")  # type: ignore[misc]
    last = {(candidate, task): (rig, decision) for candidate, task, rig, decision in rows}
    return [
        (candidate, task, rig)
        for (candidate, task), (rig, decision) in last.items()
        if decision == Decision.NOT_YET_COMPETENT
    ]
