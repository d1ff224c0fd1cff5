"""Who may decide on this attempt: in post, within their scope, and apart from the candidate."""

from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from django.db.models import QuerySet

from academy.models import Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from assessments.models import AssessorScope, Attempt, ConflictOfInterest, SignOff, Task
from assessments.models.attempts import Purpose


class Standing(StrEnum):
    """How an assessor stands to a task."""

    QUALIFIED = "qualified"
    IN_TRAINING = "in-training"
    OUTSIDE = "outside"


CONFLICT = "A conflict of interest is on record between you and this candidate: somebody else decides."
NOT_IN_POST = "Only an assessor of this centre, in post today, can sign off."


def standing(*, person: Person, task: Task | UUID, on: date) -> Standing:
    """How somebody stands to a task on that day. An assessor of whom nothing is recorded may decide on all.

    What is recorded of somebody binds, also once it has run out.
    """
    scopes = AssessorScope.objects.filter(assessor=person)
    in_force = scopes.in_force(on=on)
    fitting = in_force.filter(every_task=True) | in_force.filter(tasks=task)
    found = set(fitting.values_list("in_training", flat=True))
    if False in found:
        return Standing.QUALIFIED
    if found:
        return Standing.IN_TRAINING
    return Standing.OUTSIDE if scopes.exists() else Standing.QUALIFIED


def conflicted(*, person: Person, candidate: Person | UUID, on: date) -> bool:
    """Whether a conflict of interest between the two is on record for that day."""
    return ConflictOfInterest.objects.in_force(on=on).filter(person=person, candidate=candidate).exists()


def candidates_apart(*, person: Person, on: date) -> QuerySet[ConflictOfInterest, UUID]:
    """A query for the ids of the candidates whom a conflict of interest keeps somebody from."""
    return (
        ConflictOfInterest.objects.in_force(on=on).filter(person=person).values_list("candidate", flat=True)
    )


def decidable(attempts: QuerySet[Attempt], *, person: Person, on: date) -> QuerySet[Attempt]:
    """Those of the attempts that somebody may decide on, as far as conflicts and scope go. Two queries."""
    found = attempts.exclude(candidate=person).exclude(
        candidate__in=candidates_apart(person=person, on=on).values("candidate")
    )
    scopes = AssessorScope.objects.filter(assessor=person)
    in_force = scopes.in_force(on=on)
    if not scopes.exists() or in_force.filter(every_task=True).exists():
        return found
    return found.filter(version__task__in=in_force.values("tasks"))


def qualified(attempts: QuerySet[Attempt], *, person: Person, on: date) -> QuerySet[Attempt]:
    """Those of the attempts for whose task somebody isn't in training or out of scope. Two queries."""
    scopes = AssessorScope.objects.filter(assessor=person)
    full = scopes.in_force(on=on).filter(in_training=False)
    if not scopes.exists() or full.filter(every_task=True).exists():
        return attempts
    return attempts.filter(version__task__in=full.values("tasks"))


def why_not(*, attempt: Attempt, person: Person, at: datetime) -> str | None:
    """Why somebody may not decide on this attempt, in their words; None where they may."""
    on = attempt.rig.centre.date_at(at)
    if attempt.candidate_id == person.pk:
        return "Nobody signs off their own attempt."
    if person.centre_id != attempt.rig.centre_id or not _in_post(person, on=on):
        return NOT_IN_POST
    if conflicted(person=person, candidate=attempt.candidate_id, on=on):
        return CONFLICT
    if standing(person=person, task=attempt.version.task_id, on=on) == Standing.OUTSIDE:
        return f"“{attempt.version.task}” is outside what you may assess: ask a manager about your scope."
    return None


def require_decider(*, attempt: Attempt, person: Person, at: datetime) -> Standing:
    """How an assessor who may decide on this attempt stands to it. Refused to anybody else."""
    reason = why_not(attempt=attempt, person=person, at=at)
    if reason is not None:
        raise Refused(reason)
    return standing_to(attempt=attempt, person=person, at=at)


def standing_to(*, attempt: Attempt, person: Person, at: datetime) -> Standing:
    """How somebody stands to the task of an attempt.

    Practice counts nowhere: whoever is in training decides on it like anybody.
    """
    if attempt.purpose == Purpose.PRACTICE:
        return Standing.QUALIFIED
    return standing(person=person, task=attempt.version.task_id, on=attempt.rig.centre.date_at(at))


def require_apart(*, attempt: Attempt, person: Person, at: datetime) -> None:
    """Refuse what an assessor does about an attempt, whatever their scope: one's own, or with a conflict."""
    on = attempt.rig.centre.date_at(at)
    if attempt.candidate_id == person.pk:
        raise Refused("That is for somebody else to do: it is your own attempt.")
    if person.centre_id != attempt.rig.centre_id or not _in_post(person, on=on):
        raise Refused("Only an assessor of this centre, in post today, can do that.")
    if conflicted(person=person, candidate=attempt.candidate_id, on=on):
        raise Refused(CONFLICT)


def had_part(*, attempt: Attempt | UUID) -> set[UUID]:
    """Whoever decided on or countersigned an attempt, at any time, by id. One query."""
    rows = SignOff.objects.filter(attempt=attempt).values_list(
        "assessor", "countersignature__countersigned_by"
    )
    return {person for row in rows for person in row if person is not None}


def with_part(*, person: Person) -> QuerySet[SignOff]:
    """The sign-offs that somebody decided or countersigned."""
    return SignOff.objects.filter(assessor=person) | SignOff.objects.filter(
        countersignature__countersigned_by=person
    )


def _in_post(person: Person, *, on: date) -> bool:
    return Permission.ATTEMPT_DECIDE in permissions_of(person, on=on)
