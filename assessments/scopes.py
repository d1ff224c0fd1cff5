"""What each assessor may decide on: recorded by a manager, from a day on, to a last day, never erased."""

from collections.abc import Collection
from datetime import date, datetime, timedelta

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person, Role
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments import terms
from assessments.models import AssessorScope, Task


@transaction.atomic
def record(
    *,
    assessor: Person,
    tasks: Collection[Task] | None,
    in_training: bool,
    starts_on: date,
    ends_on: date | None,
    by: Person,
    at: datetime,
) -> AssessorScope:
    """Record the tasks that an assessor may decide on; None for every task. From then on, nothing else.

    One ``in_training`` decides provisionally, until somebody countersigns.
    """
    centre = _centre_managed(assessor, by, at=at)
    if tasks is not None and not tasks:
        raise Refused("Choose the tasks, or every task.", field="tasks")
    if any(task.centre_id != centre.pk for task in tasks or ()):
        raise Refused("That task belongs to another centre.", field="tasks")
    terms.require_order(starts_on=starts_on, ends_on=ends_on)
    if not Role.objects.filter(person=assessor, kind=Role.Kind.ASSESSOR).exists():
        raise Refused(f"{assessor} isn't an assessor.", field="assessor")
    scope = AssessorScope.objects.create(
        assessor=assessor,
        every_task=tasks is None,
        in_training=in_training,
        starts_on=starts_on,
        ends_on=ends_on,
        recorded_by=by,
        recorded_at=at,
    )
    scope.tasks.set(tasks or ())
    facts: dict[str, ledger.Fact] = {
        "assessor": str(assessor.pk),
        "tasks": None if tasks is None else sorted(str(task.pk) for task in tasks),
        "in_training": in_training,
        **terms.facts(starts_on=starts_on, ends_on=ends_on),
    }
    ledger.append(centre=centre, actor=by, verb="scope.record", subject=scope.pk, at=at, facts=facts)
    return scope


@transaction.atomic
def end(*, scope: AssessorScope, on: date, by: Person, at: datetime) -> AssessorScope:
    """Give a scope its last day, yesterday at the earliest: what was decided under it stays in order."""
    held = AssessorScope.objects.select_for_update(of=("self",)).select_related("assessor").get(pk=scope.pk)
    centre = _centre_managed(held.assessor, by, at=at)
    today = centre.date_at(at)
    terms.require_not_over(held, today=today)
    if on < held.starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")
    if on < today - timedelta(days=1):
        raise Refused("The last day can't be before yesterday.", field="ends_on")
    terms.end(held, on=on, centre=centre, verb="scope.end", by=by, at=at)
    return held


def _centre_managed(assessor: Person, by: Person, *, at: datetime) -> Centre:
    centre = assessor.centre
    if centre is None or centre.pk != by.centre_id:
        raise Refused("That assessor belongs to another centre.")
    if assessor.pk == by.pk:
        raise Refused("Somebody else records what you may assess.")
    if Permission.SCOPE_MANAGE not in permissions_of(by, on=centre.date_at(at)):
        raise Refused("Only a manager in post today can do that.")
    return centre
