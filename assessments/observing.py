"""What an assessor sees and asks at the bench, while an attempt is worked on and until it is decided.

It is kept beside the candidate's own record, and never put in its place.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import prompts, questions, rights
from assessments.marking import observed as marking
from assessments.models import Attempt, Observation, OralAnswer, Photo, Reading, Step, StepRecord
from assessments.models.attempts import AT_WORK, AttemptStatus
from assessments.models.observations import Seen

Entry = TypeVar("Entry", Observation, OralAnswer)
UNDECIDED = (*AT_WORK, AttemptStatus.SUBMITTED)
ALREADY = "Somebody has written this down already: say why it is corrected."


@transaction.atomic
def observe(
    *,
    id: UUID,  # noqa: A002 - the device names it, so that sending it twice keeps it once
    attempt: Attempt,
    step: Step,
    seen: str,
    by: Person,
    at: datetime,
    note: str = "",
    reason: str = "",
    level: int = 0,
    words: str = "",
) -> Observation:
    """Write down what was seen of a step, and with a ``level`` the prompt that was given, in its ``words``.

    What stands on the step already is corrected, with a reason.
    """
    held = _undecided(attempt, by, at=at)
    if step.version_id != held.version_id:
        raise Refused("That step isn’t part of this task.")
    if seen not in Seen.values:
        raise Refused("Say whether it was met, not met, or not seen.", field="seen")
    if seen == Seen.NOT_MET and not note.strip():
        raise Refused("Say what you saw instead.", field="note")
    entry = Observation(pk=id, attempt=held, step=step, seen=seen, note=note.strip(), by=by, at=at)
    if level and not Observation.objects.filter(pk=id).exists():
        prompts.give(attempt=held, step=step, level=level, words=words, by=by, at=at)
    before = held.observations.current().filter(step=step).first()
    return _keep(entry, before, reason=reason, verb="observation", about=step.slug)


@transaction.atomic
def record_answer(
    *,
    id: UUID,  # noqa: A002 - as for `observe`
    attempt: Attempt,
    key: str,
    answer: str,
    met: bool,
    by: Person,
    at: datetime,
    reason: str = "",
) -> OralAnswer:
    """Write down what a candidate answered, and whether that was enough."""
    held = _undecided(attempt, by, at=at)
    asked = questions.of_attempt(held)
    if asked is None or key not in {each["key"] for each in asked.content}:
        raise Refused("That isn’t one of this task’s questions.")
    if not answer.strip():
        raise Refused("Write down what was answered, in the candidate’s words.", field="answer")
    entry = OralAnswer(
        pk=id, attempt=held, questions=asked, key=key, answer=answer.strip(), met=met, by=by, at=at
    )
    before = held.oral_answers.current().filter(key=key).first()
    return _keep(entry, before, reason=reason, verb="oral-answer", about=key)


def seen_of(attempt: Attempt) -> dict[int, Observation]:
    """What stands of an attempt's observations, by the step's id."""
    return {each.step_id: each for each in attempt.observations.current().select_related("by")}


def compared(attempt: Attempt) -> marking.Observed | None:
    """The observed strand of an attempt, None where nothing of it was seen."""
    return compare(
        steps=attempt.version.steps.all(), seen=seen_of(attempt).values(), logged=logged_steps(attempt)
    )


def compare(
    *, steps: Iterable[Step], seen: Iterable[Observation], logged: Collection[int]
) -> marking.Observed | None:
    """What was seen beside what was logged, in the order of the steps. ``logged`` are ids of steps."""
    by_step = {each.step_id: each for each in seen}
    if not by_step:
        return None
    return marking.observed(
        _account(step, by_step.get(step.pk), logged=step.pk in logged)
        for step in sorted(steps, key=lambda step: step.position)
    )


def logged_steps(attempt: Attempt) -> frozenset[int]:
    """The steps, by id, on which something of the candidate's stands."""
    return frozenset(
        pk
        for entries in (
            Reading.objects.standing().filter(attempt=attempt),
            StepRecord.objects.current().filter(attempt=attempt, done=True),
            Photo.objects.current().filter(attempt=attempt),
        )
        for pk in entries.order_by().values_list("step", flat=True)
    )


def logged_of(attempt: Attempt) -> frozenset[int]:
    """The same of an attempt whose entries are loaded."""
    return frozenset(
        each.step_id
        for entries in (attempt.readings.all(), attempt.records.all(), attempt.photos.all())
        for each in _standing(list(entries))
    )


def _standing(entries: Sequence[Reading | StepRecord | Photo]) -> Iterator[Reading | StepRecord | Photo]:
    superseded = {each.supersedes_id for each in entries}
    for each in entries:
        taken_back = getattr(each, "taken_back", False) or not getattr(each, "done", True)
        if each.pk not in superseded and not taken_back:
            yield each


def answers_of(attempts: Collection[Attempt]) -> Mapping[UUID, tuple[OralAnswer, ...]]:
    """What stands of each attempt's answers. One query."""
    found: dict[UUID, list[OralAnswer]] = {attempt.pk: [] for attempt in attempts}
    for each in OralAnswer.objects.current().filter(attempt__in=attempts).select_related("questions", "by"):
        found[each.attempt_id].append(each)
    return {pk: tuple(each) for pk, each in found.items()}


def reason_needed(attempt: Attempt) -> str | None:
    """Why “competent” needs a reason of its own: something that must be safe was seen not to be."""
    seen = compared(attempt)
    if seen is not None and seen.not_met:
        titles = "”, “".join(each.title for each in seen.not_met)
        return (
            f"A safety-critical step was seen as not met: “{titles}”. Say why that doesn’t stand against it."
        )
    failed = [each for each in attempt.oral_answers.current() if not each.met and each.is_of_safety]
    if failed:
        return "A question of safety wasn’t answered well enough: say why that doesn’t stand against it."
    return None


def _account(step: Step, seen: Observation | None, *, logged: bool) -> marking.Account:
    return marking.Account(
        step=step.slug,
        title=step.title,
        safety_critical=step.safety_critical,
        logged=logged,
        seen=marking.Seen(seen.seen) if seen else marking.Seen.NOT_SEEN,
        note=seen.note if seen else "",
    )


def _undecided(attempt: Attempt, by: Person, *, at: datetime) -> Attempt:
    held = Attempt.objects.get_locked(pk=attempt.pk)
    rights.require_apart(attempt=held, person=by, at=at)
    if held.status not in UNDECIDED:
        raise Refused("This attempt was decided: what was seen of it stays as it is.")
    return held


def _keep(entry: Entry, before: Entry | None, *, reason: str, verb: str, about: str) -> Entry:
    """Keep an entry once; in the place of the one before, which needs a reason."""
    known = type(entry).objects.filter(pk=entry.pk).first()
    if known is not None:
        if known.says != entry.says:
            raise Refused("This was written down elsewhere under the same number. Load the page again.")
        return known
    if before is not None:
        if before.says == entry.says:
            return before
        if not reason.strip():
            raise Refused(ALREADY, field="reason")
    entry.supersedes, entry.reason = before, reason.strip() if before else ""
    entry.save(force_insert=True)
    ledger.append(
        centre=entry.attempt.rig.centre,
        actor=entry.by,
        verb=f"{verb}.correct" if before else f"{verb}.record",
        subject=entry.pk,
        at=entry.at,
        facts={
            "attempt": str(entry.attempt_id),
            "about": about,
            "digest": sealed(json.dumps([str(each) for each in entry.says]), entry.salt),
        },
    )
    return entry
