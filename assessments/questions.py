"""The short questions that go with a task: issued like the task itself, and asked at the bench."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import rfc8785
from django.db import transaction

from academy import json_files, ledger
from academy.json_files import DataFile
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.marking.canonical import digest
from assessments.models import Attempt, QuestionSet, Task

MOST = 12
FIELDS = frozenset({"key", "question", "points", "safety"})


def read_files(folder: Path) -> list[DataFile]:
    """Every file of questions; none where there is no such folder. Raises FileError, OSError."""
    return json_files.read_folder(folder) if folder.is_dir() else []


def issue_file(*, centre: Centre, file: DataFile, by: Person | None, at: datetime) -> QuestionSet:
    """Issue the questions of a file to the task that it names. Raises FileError, with what is wrong."""
    data = file.data
    asked = data.get("questions") if isinstance(data, dict) else None
    if not isinstance(asked, list) or not all(isinstance(each, dict) for each in asked):
        raise file.error("Questions are written as “task” and “questions”, a list.")
    task = Task.objects.filter(centre=centre, slug=data.get("task")).first()
    if task is None:
        raise file.error(f"There is no task “{data.get('task')}”.", near=str(data.get("task")))
    for question in asked:
        try:
            _checked(question)
        except Refused as refusal:
            raise file.error(refusal.message, near=str(question.get("key", ""))) from refusal
    try:
        return issue(task=task, content=asked, by=by, at=at)
    except Refused as refusal:
        raise file.error(refusal.message) from refusal


@transaction.atomic
def issue(
    *, task: Task, content: Sequence[Mapping[str, Any]], by: Person | None, at: datetime
) -> QuestionSet:
    """Issue a task's questions under the next number. What is in force already stays as it is."""
    checked = [_checked(each) for each in content]
    if not 1 <= len(checked) <= MOST:
        raise Refused(f"A task has between one question and {MOST}.")
    if len({each["key"] for each in checked}) < len(checked):
        raise Refused("Two questions have the same key.")
    sha256 = digest(rfc8785.dumps(checked))
    last = in_force(task)
    if last is not None and last.content_sha256 == sha256:
        return last
    issued = QuestionSet.objects.create(
        task=task,
        number=last.number + 1 if last else 1,
        content=checked,
        content_sha256=sha256,
        issued_at=at,
        issued_by=by,
    )
    facts = {"task": str(task.pk), "number": str(issued.number), "content": sha256}
    ledger.append(centre=task.centre, actor=by, verb="questions.issue", subject=issued.pk, at=at, facts=facts)
    return issued


def in_force(task: Task | UUID) -> QuestionSet | None:
    return QuestionSet.objects.filter(task=task).order_by("-number").first()


def of_attempt(attempt: Attempt) -> QuestionSet | None:
    """The questions to ask: those that were begun with; before the first, those that are in force."""
    begun = attempt.oral_answers.select_related("questions").order_by("at").first()
    return begun.questions if begun else in_force(attempt.version.task)


def _checked(question: Mapping[str, Any]) -> dict[str, Any]:
    """One question with all that it needs and nothing else."""
    unknown = set(question) - FIELDS
    if unknown:
        raise Refused(f"A question has no “{min(unknown)}”.")
    key, text, points = (question.get(name) for name in ("key", "question", "points"))
    named = f"The question “{key or text or '?'}”"
    if not (isinstance(key, str) and key and key.replace("-", "").isalnum() and len(key) <= 60):
        raise Refused(f"{named} needs a key of letters, figures and hyphens.")
    if not (isinstance(text, str) and text.strip()):
        raise Refused(f"{named} has no words.")
    if not (isinstance(points, list) and points and all(isinstance(each, str) and each for each in points)):
        raise Refused(f"{named} needs the points that a good answer has.")
    if not isinstance(question.get("safety", False), bool):
        raise Refused(f"{named}: “safety” is true or false.")
    return {"key": key, "question": text.strip(), "points": points, "safety": question.get("safety", False)}
