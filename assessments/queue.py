"""What waits for a decision, in the order in which it is worth looking at: by risk, and by age within that.

Practice comes last, whatever is known of it.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from academy.models import Centre, Membership, Person
from assessments import rights
from assessments.models import Attempt, SessionPlan
from assessments.models.attempts import Purpose
from assessments.risks import WEIGHTS, Known, Told

MOST = 150
"""So many of those that wait the longest are looked at and put in order; the others come after them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One attempt with its latest proposal and its reasons, the weightiest first."""

    attempt: Attempt
    proposal: str
    told: tuple[Told, ...]
    days: int

    @property
    def risk(self) -> int:
        return sum(WEIGHTS[each.reason] for each in self.told)

    @property
    def is_clean(self) -> bool:
        return all(each.is_around for each in self.told)

    @property
    def place(self) -> tuple[bool, int, datetime, UUID]:
        """Where it stands in the queue."""
        attempt = self.attempt
        return (
            attempt.purpose == Purpose.PRACTICE,
            -self.risk,
            attempt.submitted_at or attempt.started_at,
            attempt.pk,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Filters:
    """``mine``: of the half-days of today that the assessor opened, or is planned for."""

    mine: bool = False
    task: UUID | None = None
    cohort: UUID | None = None
    rig: UUID | None = None


EVERYTHING = Filters()


@dataclass(frozen=True, slots=True, kw_only=True)
class Queue:
    """``waiting`` in order; ``count`` of them all, of which those may be the longest waiting alone."""

    waiting: tuple[Waiting, ...]
    count: int

    @property
    def clean(self) -> int:
        return sum(each.is_clean for each in self.waiting)

    @property
    def to_look_at(self) -> int:
        return len(self.waiting) - self.clean

    @property
    def oldest_days(self) -> int:
        return max((each.days for each in self.waiting), default=0)


def of_assessor(*, assessor: Person, centre: Centre, at: datetime, filters: Filters = EVERYTHING) -> Queue:
    """Everything that somebody may decide on, or, for who decides nothing, that they may read.

    A constant number of queries, and bounded work whatever has been decided before.
    """
    today = centre.date_at(at)
    found = _waiting(assessor, filters, on=today)
    longest = found.select_related("candidate", "rig__centre", "version__task", "sheet__rig_check").order_by(
        "submitted_at", "pk"
    )[:MOST]
    attempts = list(longest)
    known = Known.of(attempts)
    waiting = [
        Waiting(
            attempt=attempt,
            proposal=known.outcomes[attempt.pk].proposal,
            told=known.told(attempt, at=at),
            days=(today - centre.date_at(attempt.submitted_at or at)).days,
        )
        for attempt in attempts
    ]
    count = len(attempts) if len(attempts) < MOST else found.count()
    return Queue(waiting=tuple(sorted(waiting, key=lambda each: each.place)), count=count)


def _waiting(assessor: Person, filters: Filters, *, on: date) -> QuerySet[Attempt]:
    mine = rights.decidable(Attempt.objects.awaiting(assessor), person=assessor, on=on).order_by()
    if filters.mine:
        planned = SessionPlan.objects.filter(assessors=assessor, on=on).values("half")
        mine = mine.filter(Q(session__opened_by=assessor) | Q(session__half__in=planned), session__on=on)
    if filters.task is not None:
        mine = mine.filter(version__task=filters.task)
    if filters.rig is not None:
        mine = mine.filter(rig=filters.rig)
    if filters.cohort is not None:
        members = Membership.objects.in_force(on=on).filter(cohort=filters.cohort)
        mine = mine.filter(candidate__in=members.values("person"))
    return mine


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """What can be filtered by: ids and names with how many wait."""

    tasks: tuple[tuple[UUID, str], ...]
    cohorts: tuple[tuple[UUID, str], ...]
    rigs: tuple[tuple[UUID, str], ...]


def offered(*, assessor: Person, on: date) -> Offered:
    """The tasks, cohorts and rigs of what waits for somebody. Three queries, and two of their scope."""
    found = _waiting(assessor, EVERYTHING, on=on)
    members = Membership.objects.in_force(on=on).filter(person__in=found.values("candidate"))
    return Offered(
        tasks=_counted(found.values_list("version__task", "version__task__title")),
        cohorts=_counted(members.values_list("cohort", "cohort__name")),
        rigs=_counted(found.values_list("rig", "rig__tag")),
    )


def _counted(rows: Iterable[tuple[UUID, str]]) -> tuple[tuple[UUID, str], ...]:
    counts = Counter(rows)
    return tuple(
        (pk, f"{name} ({number})")
        for (pk, name), number in sorted(counts.items(), key=lambda each: each[0][1])
    )
