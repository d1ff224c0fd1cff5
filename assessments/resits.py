"""When a task may be assessed again: the centre's rules, what they say of a candidate, and leave beside them.

A rule speaks of what comes after *not yet competent*, of assessments alone. Void attempts and suspended
decisions are left out of account.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.models import Attempt, ResitLeave, ResitRule, SignOff, Task
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, Strand, suspended
from rigs.models import Rig


@dataclass(frozen=True, slots=True, kw_only=True)
class Tries:
    """A candidate's assessments of a task since they were last found competent in it.

    ``decided_on`` is the day of the last decision, ``rig`` where its attempt was worked, ``breach`` whether a
    safety-critical step was missed or late in it. ``waiting`` is whether one isn't decided yet.
    """

    count: int
    waiting: bool
    decided_on: date | None = None
    rig: Rig | None = None
    breach: bool = False


NO_TRIES = Tries(count=0, waiting=False)


@transaction.atomic
def set_rule(
    *,
    task: Task,
    wait_days: int,
    not_same_day: bool,
    other_rig: bool,
    most_attempts: int | None,
    by: Person,
    at: datetime,
) -> ResitRule:
    """Set what a task asks for before it is assessed again, in the place of what it asked for until now."""
    if task.centre_id != by.centre_id:
        raise Refused("That task belongs to another centre.")
    if most_attempts is not None and most_attempts < 1:
        raise Refused(
            "At least one attempt must be allowed. Leave it empty for any number.", field="most_attempts"
        )
    values = {
        "wait_days": wait_days,
        "not_same_day": not_same_day,
        "other_rig": other_rig,
        "most_attempts": most_attempts,
        "changed_by": by,
        "changed_at": at,
    }
    rule, _ = ResitRule.objects.update_or_create(task=task, defaults=values)
    facts: dict[str, ledger.Fact] = {
        "wait_days": str(wait_days),
        "not_same_day": not_same_day,
        "other_rig": other_rig,
        "most_attempts": None if most_attempts is None else str(most_attempts),
    }
    ledger.append(centre=task.centre, actor=by, verb="resit.rule", subject=task.pk, at=at, facts=facts)
    return rule


@transaction.atomic
def give_leave(*, candidate: Person, task: Task, reason: str, by: Person, at: datetime) -> ResitLeave:
    """Let a candidate be assessed once more whatever the task's rule says. It needs a reason."""
    centre = task.centre
    if candidate.centre_id != centre.pk or by.centre_id != centre.pk:
        raise Refused("That candidate or task belongs to another centre.")
    if candidate.pk == by.pk:
        raise Refused("Nobody gives themselves leave to try again.")
    if Permission.RESIT_ALLOW not in permissions_of(by, on=centre.date_at(at)):
        raise Refused("Only an assessor or a manager in post today can allow another attempt.")
    reason = reason.strip()
    if not reason:
        raise Refused("Say why another attempt is allowed.", field="reason")
    if ResitLeave.objects.unused().filter(candidate=candidate, task=task).exists():
        raise Refused("Another attempt is allowed already.")
    leave = ResitLeave.objects.create(candidate=candidate, task=task, reason=reason, given_by=by, at=at)
    facts = {
        "candidate": str(candidate.pk),
        "task": str(task.pk),
        "reason": sealed(reason, leave.salt),
    }
    ledger.append(centre=centre, actor=by, verb="resit.leave", subject=leave.pk, at=at, facts=facts)
    return leave


def use_leave(attempt: Attempt, *, on: date) -> None:
    """Take up the leave that an assessment needed to be started. Part of that transaction."""
    if why_not(candidate=attempt.candidate, task=attempt.version.task, rig=attempt.rig, on=on, but=attempt):
        ResitLeave.objects.unused().filter(candidate=attempt.candidate, task=attempt.version.task_id).update(
            used_by=attempt
        )


def has_leave(*, candidate: Person, task: Task | UUID) -> bool:
    return ResitLeave.objects.unused().filter(candidate=candidate, task=task).exists()


def reasons(*, candidate: Person, task: Task, rig: Rig, on: date) -> list[str]:
    """Why a task can't be assessed on this rig that day, in words for the candidate; none with leave."""
    found = why_not(candidate=candidate, task=task, rig=rig, on=on)
    return [] if found and has_leave(candidate=candidate, task=task) else found


def why_not(*, candidate: Person, task: Task, rig: Rig, on: date, but: Attempt | None = None) -> list[str]:
    """What a task's rule says against assessing it on this rig that day, leave or not.

    ``but`` is an attempt that is left out, as the one that is being started.
    """
    rule = ResitRule.objects.filter(task=task).first()
    if rule is None:
        return []
    tries = tries_of(candidate=candidate, task=task, centre=rig.centre, but=but)
    return [*_too_early(rule, tries, on=on), *_too_many(rule, tries), *_same_rig(rule, tries, rig)]


def possible_from(*, candidate: Person, task: Task, centre: Centre) -> date | None:
    """The first day on which a task may be assessed again; None where no day has to pass."""
    rule = ResitRule.objects.filter(task=task).first()
    return _earliest(rule, tries_of(candidate=candidate, task=task, centre=centre)) if rule else None


def conditions(*, candidate: Person, task: Task, centre: Centre) -> list[str]:
    """What a candidate who isn't competent yet should know before the next attempt, in words for them."""
    rule = ResitRule.objects.filter(task=task).first()
    tries = tries_of(candidate=candidate, task=task, centre=centre) if rule else NO_TRIES
    if rule is None or tries.decided_on is None:
        return []
    earliest = _earliest(rule, tries)
    said = [f"The next assessment is possible from {_day(earliest)}."] if earliest else []
    if rule.other_rig and tries.rig is not None:
        said.append(f"It is done on another rig than {tries.rig.tag}, where there is one.")
    return [*said, *_too_many(rule, tries)]


def tries_of(*, candidate: Person, task: Task, centre: Centre, but: Attempt | None = None) -> Tries:
    """A candidate's assessments of a task since they were last found competent. Two queries."""
    found = Attempt.objects.filter(
        candidate=candidate, version__task=task, purpose=Purpose.ASSESSMENT
    ).exclude(status=AttemptStatus.VOID)
    if but is not None:
        found = found.exclude(pk=but.pk)
    waiting = found.exclude(status=AttemptStatus.SIGNED_OFF).exists()
    decided = (
        SignOff.objects.current()
        .filter(attempt__in=found, attempt__status=AttemptStatus.SIGNED_OFF)
        .exclude(suspended())
        .select_related("attempt__rig", "outcome")
        .defer("outcome__inputs", "outcome__result")
        .order_by("-at", "-pk")
    )
    since: list[SignOff] = []
    for signed in decided:
        if signed.decision == Decision.COMPETENT:
            break
        since.append(signed)
    if not since:
        return Tries(count=0, waiting=waiting)
    last = since[0]
    return Tries(
        count=len(since),
        waiting=waiting,
        decided_on=centre.date_at(last.at),
        rig=last.attempt.rig,
        breach=last.outcome.procedure == Strand.NOT_MET,
    )


def _earliest(rule: ResitRule, tries: Tries) -> date | None:
    if tries.decided_on is None:
        return None
    days = max(rule.wait_days, 1 if rule.not_same_day and tries.breach else 0)
    return tries.decided_on + timedelta(days=days) if days else None


def _too_early(rule: ResitRule, tries: Tries, *, on: date) -> list[str]:
    if tries.waiting:
        return ["Your last attempt at this task isn't decided yet: wait for its result."]
    earliest = _earliest(rule, tries)
    if earliest is None or on >= earliest:
        return []
    missed = rule.not_same_day and tries.breach and rule.wait_days <= 1
    why = "a safety-critical step was missed last time" if missed else "it wasn't competent yet last time"
    return [f"It can be assessed again from {_day(earliest)}: {why}."]


def _too_many(rule: ResitRule, tries: Tries) -> list[str]:
    if rule.most_attempts is None or tries.count < rule.most_attempts:
        return []
    many = "once" if tries.count == 1 else f"{tries.count} times"
    return [f"You have tried it {many}: an assessor or a manager must allow another attempt first."]


def _same_rig(rule: ResitRule, tries: Tries, rig: Rig) -> list[str]:
    """Only where the centre has another rig in use of that design."""
    if not rule.other_rig or tries.rig is None or tries.rig.pk != rig.pk:
        return []
    others = Rig.objects.filter(centre=rig.centre_id, design=rig.design_id, retired_at=None).exclude(
        pk=rig.pk
    )
    return [f"Your last attempt was on {rig.tag}: take another rig this time."] if others.exists() else []


def _day(on: date) -> str:
    return f"{on:%A} {on.day} {on:%B %Y}"
