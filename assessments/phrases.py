"""An assessor's own phrases for feedback, made from what they wrote.

They are a tool of one person's and no evidence: nothing of them is in the ledger, and what is changed here
changes no feedback that was given.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction

from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.models import Phrase, SignOff, Task

LONGEST = 500


@transaction.atomic
def keep(*, assessor: Person, text: str, task: Task | None, at: datetime) -> Phrase:
    """Keep a sentence for feedback on one task, or on any. One that is kept already stays as it is."""
    text = _checked(text, task=task, assessor=assessor)
    phrase, _ = Phrase.objects.get_or_create(
        assessor=assessor, task=task, text=text, defaults={"kept_at": at}
    )
    return phrase


@transaction.atomic
def change(*, phrase: Phrase, text: str, task: Task | None, by: Person) -> Phrase:
    held = _own(phrase, by)
    text = _checked(text, task=task, assessor=by)
    if Phrase.objects.of(by).filter(task=task, text=text).exclude(pk=held.pk).exists():
        raise Refused("You keep this phrase already.", field="text")
    held.text, held.task = text, task
    held.save(update_fields=["text", "task"])
    return held


@transaction.atomic
def remove(*, phrase: Phrase, by: Person) -> None:
    _own(phrase, by).delete()


def joined(*, typed: str, chosen: Iterable[Phrase]) -> str:
    """The feedback: what was typed, and each chosen phrase that isn't in it yet on a line of its own."""
    lines = [typed.strip()] if typed.strip() else []
    for phrase in chosen:
        if all(phrase.text not in line for line in lines):
            lines.append(phrase.text)
    return "\n".join(lines)


def times_today(*, signed: SignOff, centre: Centre) -> int:
    """How often its assessor gave these very words on that day, this time counted."""
    begins = signed.at.astimezone(centre.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    same = SignOff.objects.filter(assessor=signed.assessor_id, at__gte=begins, at__lte=signed.at)
    return same.filter(feedback=signed.feedback).count()


def repeated(decisions: Iterable[SignOff], *, centre: Centre) -> set[UUID]:
    """Those of the decisions whose feedback their assessor gave word for word too often on one day."""
    listed = list(decisions)
    counts = Counter(_words(each, centre) for each in listed)
    return {each.pk for each in listed if counts[_words(each, centre)] >= centre.same_words_times}


def _words(signed: SignOff, centre: Centre) -> tuple[UUID, object, str]:
    return signed.assessor_id, centre.date_at(signed.at), signed.feedback


def _own(phrase: Phrase, by: Person) -> Phrase:
    held = Phrase.objects.select_for_update().filter(pk=phrase.pk, assessor=by).first()
    if held is None:
        raise Refused("That phrase isn’t there any more.")
    return held


def _checked(text: str, *, task: Task | None, assessor: Person) -> str:
    text = " ".join(text.split())
    if not text:
        raise Refused("Write the sentence.", field="text")
    if len(text) > LONGEST:
        raise Refused(f"Keep it under {LONGEST} characters.", field="text")
    if task is not None and task.centre_id != assessor.centre_id:
        raise Refused("Choose a task of your centre.", field="task")
    return text
