"""Marking an attempt, and marking it again to see whether anything differs."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from academy import ledger
from academy.models import Person
from assessments.gathering import gather
from assessments.marking.canonical import differences, digest
from assessments.marking.inputs import (
    AttemptInputs,
    canonical,
    differing_steps,
    digest_of_steps,
    steps_as_issued,
)
from assessments.marking.mark import ENGINE, mark
from assessments.marking.results import Marking, canonical_result, from_document
from assessments.models import Attempt, Outcome, TaskContent


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What marking an attempt again would change: of its inputs, of its result. Both empty when nothing."""

    outcome: Outcome
    inputs: tuple[str, ...]
    result: tuple[str, ...]

    @property
    def same(self) -> bool:
        return not (self.inputs or self.result)


def mark_attempt(*, attempt: Attempt, at: datetime, by: Person | None = None) -> Outcome:
    """Freeze the inputs, mark them, and keep the outcome under the next number."""
    (inputs,) = gather([attempt.pk])
    with transaction.atomic():
        last = attempt.outcomes.aggregate(last=Max("number"))["last"] or 0
        outcome = outcome_of(inputs, mark(inputs), attempt=attempt.pk, number=last + 1, at=at)
        outcome.save(force_insert=True)
        ledger.append(
            centre=attempt.rig.centre,
            actor=by,
            verb="attempt.mark",
            subject=attempt.pk,
            at=at,
            facts={
                "inputs": outcome.inputs_sha256,
                "result": digest(outcome.result.encode()),
                "engine": ENGINE,
            },
        )
    return outcome


def outcome_of(
    inputs: AttemptInputs, marking: Marking, *, attempt: UUID, number: int, at: datetime
) -> Outcome:
    """The row that keeps a marking with what was marked. Not stored yet."""
    document = canonical(inputs)
    return Outcome(
        attempt_id=attempt,
        number=number,
        engine=marking.engine,
        inputs=document.decode(),
        inputs_sha256=digest(document),
        result=canonical_result(marking).decode(),
        procedure=str(marking.procedure.verdict),
        readings=str(marking.readings.verdict),
        conclusion=str(marking.conclusion.verdict),
        proposal=str(marking.proposal),
        made_at=at,
    )


def latest(attempt: Attempt) -> Outcome:
    return attempt.outcomes.order_by("-number")[0]


def marking_of(outcome: Outcome) -> Marking:
    return from_document(json.loads(outcome.result))


def compare(*, attempt: Attempt) -> Comparison:
    """Mark an attempt again from what is on record now, beside its latest outcome. Stores nothing."""
    outcome = latest(attempt)
    (inputs,) = gather([attempt.pk])
    before, after = json.loads(outcome.inputs), json.loads(canonical(inputs))
    return Comparison(
        outcome=outcome,
        inputs=(*differences(before, after), *_steps_since(before, inputs, attempt=attempt)),
        result=tuple(differences(json.loads(outcome.result), json.loads(canonical_result(mark(inputs))))),
    )


def _steps_since(before: dict[str, Any], inputs: AttemptInputs, *, attempt: Attempt) -> list[str]:
    """What differs in the task's steps, of which the inputs that were marked have the digest alone."""
    marked = before.get("steps_sha256")
    if marked == inputs.version.steps_sha256:
        return []
    kept = TaskContent.objects.filter(version=attempt.version_id).values_list("text", flat=True).first() or ""
    if digest(kept.encode()) == before.get("content_sha256"):
        issued = steps_as_issued(json.loads(kept)["steps"])
        if digest_of_steps(issued) == marked:
            return differing_steps(issued, inputs.steps)
    return ["/steps: what they were when they were marked is no longer kept with the task version"]
