"""Giving a handed-in attempt back to its candidate, for one more reading of the steps that are named."""

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import freezing, outcomes, rights
from assessments.models import Attempt, AttemptReturn, Outcome, Photo, Reading, Step, StepRecord
from assessments.models.attempts import AttemptStatus
from assessments.models.tasks import StepKind
from rigs import sessions

SESSION_OVER = (
    "The session in which this was worked is over: a reading taken now would be compared with what the rig "
    "read then."
)
WHY = "Read again: returned by the assessor"
"""The reason that an entry on a returned step has for striking out the one before it."""


@transaction.atomic
def give_back(
    *,
    attempt: Attempt,
    outcome: Outcome,
    steps: Collection[Step],
    words: str,
    assessor: Person,
    at: datetime,
) -> AttemptReturn:
    """Give an attempt back. ``outcome`` is the marking looked at, ``words`` are for the candidate.

    Refused for an action, which can't be done again afterwards; for a safety-critical step that was missed;
    and for a reading of the rig once its session is over.
    """
    held = Attempt.objects.get_locked(pk=attempt.pk)
    rights.require_decider(attempt=held, person=assessor, at=at)
    _require_waiting(held)
    freezing.require_unfrozen(held)
    if outcomes.latest(held).pk != outcome.pk:
        raise Refused("This attempt was marked again since you opened it. Look at the new marking first.")
    words = words.strip()
    if not words:
        raise Refused("Write to the candidate which reading to take again, and what to mind.", field="words")
    _require_returnable(held, steps, at=at)
    assert held.submitted_at is not None  # the database sees to it
    returned = AttemptReturn.objects.create(
        attempt=held,
        outcome=outcome,
        words=words,
        returned_by=assessor,
        at=at,
        handed_in_at=held.submitted_at,
    )
    returned.steps.set(steps)
    held.status = AttemptStatus.RETURNED
    held.save(update_fields=["status"])
    facts: dict[str, ledger.Fact] = {
        "outcome": str(outcome.pk),
        "steps": sorted(step.slug for step in steps),
        "words": sealed(words, returned.salt),
    }
    ledger.append(
        centre=held.rig.centre, actor=assessor, verb="attempt.return", subject=held.pk, at=at, facts=facts
    )
    return returned


def returnable(attempt: Attempt, *, at: datetime) -> list[Step]:
    """The steps of an attempt that can be logged once more now, in the order of the task."""
    return [step for step in attempt.version.steps.all() if why_not_returned(attempt, step, at=at) is None]


def why_not_returned(attempt: Attempt, step: Step, *, at: datetime) -> str | None:
    """Why a step can't be logged once more, in words for the assessor; None where it can."""
    if step.kind == StepKind.ACTION:
        return f"“{step.title}” was to be done at its time: it can't be done again afterwards."
    if step.safety_critical and not _was_logged(attempt, step):
        return f"“{step.title}” is safety-critical and was missed: that can't be put right afterwards."
    if is_a_reading(step) and not session_goes_on(attempt, at=at):
        return SESSION_OVER
    return None


def is_a_reading(step: Step) -> bool:
    return step.kind in {StepKind.READING, StepKind.MEASUREMENTS}


def session_goes_on(attempt: Attempt, *, at: datetime) -> bool:
    """Whether it is still the half-day in which an attempt was begun, whose values it is marked by."""
    centre = attempt.rig.centre
    begun = sessions.half_day(centre=centre, at=attempt.started_at)
    return sessions.half_day(centre=centre, at=at) == begun


def open_return(attempt: Attempt) -> AttemptReturn | None:
    """Why an attempt is with its candidate again; None where it isn't."""
    if attempt.status != AttemptStatus.RETURNED:
        return None
    return attempt.returns.open().prefetch_related("steps").first()


def require_named(attempt: Attempt, step: Step, *, at: datetime) -> None:
    """Refuse an entry on a returned attempt on any step but those that were named, and a reading too late."""
    returned = open_return(attempt)
    assert returned is not None  # it has that status
    if step not in returned.steps.all():
        raise Refused("This attempt was returned for other steps: only those can be logged again.")
    if is_a_reading(step) and not session_goes_on(attempt, at=at):
        raise Refused(
            "The session in which you worked is over, so this can't be read again. Hand in what there is."
        )


def asks_again(attempt: Attempt, entry: Reading | StepRecord | Photo) -> bool:
    """Whether what stands on a step is from before the attempt was returned for it."""
    returned = open_return(attempt)
    return returned is not None and entry.received_at < returned.at


def still_to_log(attempt: Attempt, *, at: datetime) -> list[Step]:
    """The steps of an open return that have no new entry yet and can still be logged."""
    returned = open_return(attempt)
    if returned is None:
        return []
    done = logged_since(returned)
    return [
        step
        for step in returned.steps.all()
        if step.pk not in done and (not is_a_reading(step) or session_goes_on(attempt, at=at))
    ]


def logged_since(returned: AttemptReturn) -> set[int]:
    """The steps, by id, that have an entry from after the return. Three queries."""
    attempt, steps = returned.attempt, returned.steps.all()
    return {
        step
        for entries in (attempt.readings, attempt.records, attempt.photos)
        for step in entries.filter(step__in=steps, received_at__gte=returned.at).values_list(
            "step", flat=True
        )
    }


def close(attempt: Attempt, *, at: datetime) -> None:
    """Handed in again: part of that transaction. Refused while something that was asked for isn't there."""
    missing = still_to_log(attempt, at=at)
    if missing:
        raise Refused(f"Log what was asked for first: {_named(missing)}.")
    attempt.returns.open().update(done_at=at)


def _named(steps: Iterable[Step]) -> str:
    return ", ".join(f"“{step.title}”" for step in steps)


def _was_logged(attempt: Attempt, step: Step) -> bool:
    return any(
        entries.filter(step=step).exists() for entries in (attempt.readings, attempt.records, attempt.photos)
    )


def _require_returnable(attempt: Attempt, steps: Collection[Step], *, at: datetime) -> None:
    if not steps:
        raise Refused("Choose the step to read again.", field="steps")
    for step in steps:
        if step.version_id != attempt.version_id:
            raise Refused("That step isn't part of this task.", field="steps")
        reason = why_not_returned(attempt, step, at=at)
        if reason is not None:
            raise Refused(reason, field="steps")


def _require_waiting(attempt: Attempt) -> None:
    if attempt.status != AttemptStatus.SUBMITTED:
        raise Refused("Only an attempt that waits for a decision can be returned.")
