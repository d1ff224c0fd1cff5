"""Who may see a rig's ranges as numbers, and who has.

A range that a candidate has seen is worth nothing for assessing them. So candidates get numbers only when
nothing on that rig is open or planned for their cohort, and whoever has seen a rig's ranges, in whatever
role, isn't assessed on it.
"""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from academy.models import Cohort, Membership, Person
from assessments import progress
from assessments.models import Attempt, RangeSeen, Step, Ticket
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.tasks import StepKind
from rigs.models import Baseline, Check, Rig


def note_seen(*, person: Person, rig: Rig, at: datetime) -> None:
    """Remember that a person was shown this rig's ranges."""
    if not RangeSeen.objects.filter(person=person, rig=rig).exists():
        RangeSeen.objects.get_or_create(person=person, rig=rig, defaults={"first_seen_at": at})


def note_all_seen(*, person: Person, rigs: Collection[Rig], at: datetime) -> None:
    """The same for several rigs at once. Two queries at the most."""
    known = set(RangeSeen.objects.filter(person=person, rig__in=rigs).values_list("rig", flat=True))
    new = [RangeSeen(person=person, rig=rig, first_seen_at=at) for rig in rigs if rig.pk not in known]
    if new:
        RangeSeen.objects.bulk_create(new, ignore_conflicts=True)


def has_seen(*, person: Person, rig: Rig) -> bool:
    """Whether a person was shown this rig's ranges, or had a hand in finding them."""
    return (
        RangeSeen.objects.filter(person=person, rig=rig).exists()
        or rig.baselines.filter(Q(made_by=person) | Q(decided_by=person)).exists()
        or rig.checks.filter(made_by=person).exists()
    )


def seen_by(*, people: Collection[Person], rigs: Collection[Rig]) -> set[tuple[UUID, UUID]]:
    """Person and rig, by id, wherever `has_seen` holds. A constant number of queries."""
    seen = RangeSeen.objects.filter(person__in=people, rig__in=rigs).values_list("person", "rig")
    made = Baseline.objects.filter(made_by__in=people, rig__in=rigs).values_list("made_by", "rig")
    decided = Baseline.objects.filter(decided_by__in=people, rig__in=rigs).values_list("decided_by", "rig")
    checked = Check.objects.filter(made_by__in=people, rig__in=rigs).values_list("made_by", "rig")
    return {*seen, *made, *decided, *checked}


def candidate_may_see(*, attempt: Attempt, on: date) -> bool:
    """Whether a candidate may see the numbers behind their own signed-off attempt.

    Never for practice, nor while anything on that rig is open or planned for a cohort of theirs. Never of
    finding a fault either: it may be set for the next one, and numbers would tell which it was.
    """
    if attempt.purpose != Purpose.ASSESSMENT or attempt.status != AttemptStatus.SIGNED_OFF:
        return False
    if seeks_a_fault(attempt.version.steps.all()):
        return False
    return not is_withheld(person=attempt.candidate, rig=attempt.rig, on=on)


def seeks_a_fault(steps: Iterable[Step]) -> bool:
    """Whether these are the steps of a task of finding a fault."""
    return any(step.kind == StepKind.DIAGNOSIS for step in steps)


def is_withheld(*, person: Person, rig: Rig, on: date) -> bool:
    """Whether something on this rig is open or planned for the person or a cohort of theirs."""
    return rig.pk in withheld(person=person, rigs=[rig], on=on)


def withheld(*, person: Person, rigs: Collection[Rig], on: date) -> set[UUID]:
    """Those of the rigs, by id, that are withheld from a person. A constant number of queries."""
    mine = Membership.objects.in_force(on=on).filter(person=person).values("cohort")
    cohorts = Cohort.objects.filter(pk__in=mine, ends_on__gte=on)
    members = Membership.objects.in_force(on=on).filter(cohort__in=cohorts)
    undecided = Attempt.objects.filter(
        Q(candidate__in=members.values("person")) | Q(candidate=person),
        rig__in=rigs,
        purpose=Purpose.ASSESSMENT,
    ).exclude(status__in=(AttemptStatus.SIGNED_OFF, AttemptStatus.VOID))
    ticketed = Ticket.objects.filter(
        Q(candidate__in=members.values("person")) | Q(candidate=person),
        rig__in=rigs,
        purpose=Purpose.ASSESSMENT,
        attempt=None,
        ended_at=None,
        session__on__gte=on,
    )
    planned = _designs_planned(members)
    at_work = undecided.order_by().values_list("rig").union(ticketed.order_by().values_list("rig"))
    return {key for (key,) in at_work} | {rig.pk for rig in rigs if rig.design_id in planned}


def _designs_planned(members: QuerySet[Membership]) -> set[UUID]:
    """The rig designs on which some member still has a task before them."""
    due = members.filter(cohort__planned_tasks__task__versions__design__isnull=False).values_list(
        "person", "cohort__planned_tasks__task", "cohort__planned_tasks__task__versions__design"
    )
    achieved = progress.achieved(members.values("person"))
    return {design for person, task, design in due if (person, task) not in achieved}
