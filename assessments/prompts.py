"""Prompts given to a candidate during an attempt, and what they ask of a decision."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import rights
from assessments.models import Attempt, Prompt, Step
from assessments.models.attempts import AT_WORK, AttemptStatus
from assessments.models.prompts import PromptLevel

# From which level on a prompt asks for a reason. Common practice (no source) is "above 2 on a key step": no
# step is so unimportant that a hint on it may pass without a word.
NEEDS_REASON = PromptLevel.HINTED
UNDECIDED = (*AT_WORK, AttemptStatus.SUBMITTED)


@transaction.atomic
def give(
    *, attempt: Attempt, step: Step | None, level: PromptLevel | int, words: str, by: Person, at: datetime
) -> Prompt:
    """Note that a candidate was prompted, on a step or on the attempt as a whole.

    Refused once it is decided on, to whoever isn't an assessor apart from the candidate, and for a hint or
    an intervention without saying what it was.
    """
    held = Attempt.objects.get_locked(pk=attempt.pk)
    rights.require_apart(attempt=held, person=by, at=at)
    if held.status not in UNDECIDED:
        raise Refused("This attempt is decided: no prompt can be added.")
    if step is not None and step.version_id != held.version_id:
        raise Refused("That step isn't part of this task.", field="step")
    if level not in PromptLevel.values:
        raise Refused("Choose one of the levels, 0 to 4.", field="level")
    words = words.strip()
    if level >= PromptLevel.HINTED and not words:
        raise Refused("Say what the hint or the intervention was.", field="words")
    prompt = Prompt.objects.create(attempt=held, step=step, level=level, words=words, given_by=by, at=at)
    facts = {
        "attempt": str(held.pk),
        "step": step.slug if step else None,
        "level": str(int(level)),
        "words": sealed(words, prompt.salt),
    }
    ledger.append(centre=held.rig.centre, actor=by, verb="prompt.give", subject=prompt.pk, at=at, facts=facts)
    return prompt


def of_attempt(attempt: Attempt) -> list[Prompt]:
    """The prompts of an attempt in the order in which they were given. One query."""
    return list(attempt.prompts.select_related("step", "given_by"))


def reason_needed(attempt: Attempt) -> str | None:
    """Why finding this attempt competent needs a written reason; None where no prompt asks for one."""
    high = [each for each in of_attempt(attempt) if each.level >= NEEDS_REASON]
    if not high:
        return None
    worst = max(high, key=lambda each: each.level)
    where = f" on “{worst.step.title}”" if worst.step else ""
    said = PromptLevel(worst.level).label.lower()
    return (
        f"A prompt of level {worst.level} ({said}){where} is on record: say why it is competent all the same."
    )
