"""Cohorts at work: candidate by task, who is stuck, and whether what is left fits into the time left."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from academy.models import Centre, Cohort, Person
from assessments import stuck
from assessments.cohort_records import DONE, NOT_ISSUED, Member, Records
from assessments.comparing.time_left import Fit, Need, fit
from assessments.models import Task
from assessments.progress import Standing
from assessments.stuck import Reason, Why
from rigs.models import RigDesign, Session

NEAR_THE_END = timedelta(days=28)
# A half-day less briefing and checks (common practice, no source); a page lets it be changed.
SESSION_MINUTES = 180


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A candidate's standing with a task; None of it where the task isn't planned for them."""

    task: Task
    standing: Standing
    attempts: int = 0
    void: int = 0
    is_planned: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One candidate in one cohort. ``minutes`` is what is left by the guide."""

    candidate: Person
    cohort: Cohort
    cells: tuple[Cell, ...]
    done: int
    left: int
    minutes: int
    stuck: tuple[Reason, ...]
    days_left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    tasks: tuple[Task, ...]
    rows: tuple[Row, ...]

    def those(self, *, why: Why | None = None, stuck_only: bool = False, near_end: bool = False) -> "Board":
        """The rows that a filter leaves."""
        kept = [
            row
            for row in self.rows
            if (not stuck_only or row.stuck)
            and (why is None or any(reason.why == why for reason in row.stuck))
            and (not near_end or (row.left and row.days_left <= NEAR_THE_END.days))
        ]
        return Board(tasks=self.tasks, rows=tuple(kept))

    def of_task(self, task: Task) -> "Board":
        """One task's column, and those who haven't done it yet, longest row of attempts first."""
        kept = [
            (cell.attempts, row)
            for row in self.rows
            for cell in row.cells
            if cell.task == task and cell.is_planned and cell.standing not in DONE
        ]
        ordered = sorted(kept, key=lambda each: -each[0])
        return Board(tasks=(task,), rows=tuple(_only(row, task) for _, row in ordered))


def board(found: Records) -> Board:
    """Every member by every task planned for one of the cohorts. The queries of `stuck.reasons`."""
    reasons = stuck.reasons(found)
    return Board(tasks=found.tasks, rows=tuple(_row(found, member, reasons) for member in found.members))


def _row(found: Records, member: Member, reasons: Mapping[tuple[UUID, UUID], tuple[Reason, ...]]) -> Row:
    planned = set(member.tasks)
    cells = tuple(_cell(found, member, task, is_planned=task in planned) for task in found.tasks)
    left = [cell.task for cell in cells if cell.is_planned and cell.standing not in DONE]
    return Row(
        candidate=member.person,
        cohort=member.cohort,
        cells=cells,
        done=len(planned) - len(left),
        left=len(left),
        minutes=sum(found.minutes(member.person.pk, task.pk) for task in left),
        stuck=reasons.get((member.cohort.pk, member.person.pk), ()),
        days_left=(member.cohort.ends_on - found.on).days,
    )


def _cell(found: Records, member: Member, task: Task, *, is_planned: bool) -> Cell:
    candidate = member.person.pk
    tries = found.tries.get((candidate, task.pk), ())
    counted = found.counted(candidate, task.pk)
    return Cell(
        task=task,
        standing=found.standing(candidate, task.pk),
        attempts=len(counted),
        void=len(tries) - len(counted),
        is_planned=is_planned,
    )


def _only(row: Row, task: Task) -> Row:
    return Row(
        candidate=row.candidate,
        cohort=row.cohort,
        cells=tuple(cell for cell in row.cells if cell.task == task),
        done=row.done,
        left=row.left,
        minutes=row.minutes,
        stuck=tuple(reason for reason in row.stuck if reason.task in {None, task}),
        days_left=row.days_left,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLeft:
    """Minutes that candidates still need on rigs, and minutes that rigs have until the cohort's last day.

    ``others`` is what the other cohorts at work need in that time, which isn't taken off. ``short`` names
    the designs where it doesn't fit, None if it does.
    """

    sessions: int
    session_minutes: int
    fit: Fit
    short: tuple[str, ...]
    others: int

    @property
    def fits(self) -> bool:
        return self.fit.short is None


def time_left(
    found: Records, *, cohort: Cohort, sessions: int, session_minutes: int, others: int
) -> TimeLeft:
    """Whether a cohort's remaining tasks fit on the rigs in service, in so many sessions. One query."""
    capacity = {str(design): count * sessions * session_minutes for design, count in found.rigs.items()}
    needs = list(_needs(found, (member for member in found.members if member.cohort == cohort)))
    spread = fit(needs, capacity={design: capacity.get(design, 0) for design in _designs(needs)})
    names = {
        str(pk): name for pk, name in RigDesign.objects.filter(centre=found.centre).values_list("pk", "name")
    }
    return TimeLeft(
        sessions=sessions,
        session_minutes=session_minutes,
        fit=spread,
        short=tuple(sorted(names[design] for design in spread.short.designs)) if spread.short else (),
        others=others,
    )


def minutes_left(rows: Iterable[Row]) -> int:
    return sum(row.minutes for row in rows)


def sessions_to_come(*, centre: Centre, cohort: Cohort, on: date) -> int:
    """How many sessions there will be until a cohort's last day, if they go on as in the last four weeks."""
    weeks = 4
    lately = Session.objects.filter(centre=centre, on__gt=on - timedelta(weeks=weeks), on__lte=on).count()
    days = max(0, (cohort.ends_on - max(on, cohort.starts_on - timedelta(days=1))).days)
    return math.floor(lately * days / (7 * weeks))


def _needs(found: Records, members: Iterable[Member]) -> Iterable[Need]:
    for member in members:
        for task in member.tasks:
            if found.standing(member.person.pk, task.pk) not in DONE:
                issue = found.issues.get(task.pk, NOT_ISSUED)
                yield Need(
                    designs=frozenset(str(design) for design in issue.designs),
                    minutes=found.minutes(member.person.pk, task.pk),
                )


def _designs(needs: Sequence[Need]) -> set[str]:
    return {design for need in needs for design in need.designs}
