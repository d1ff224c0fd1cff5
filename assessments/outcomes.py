"""Gathering what an attempt is marked from, marking it, and marking it again."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import Max, Prefetch, QuerySet

from academy import ledger
from academy.models import Person
from assessments.marking.inputs import (
    AttemptInputs,
    FaultInput,
    InstrumentInput,
    MeasurandInput,
    ReadingInput,
    RecordInput,
    StepInput,
    canonical,
    differences,
    digest,
)
from assessments.marking.mark import ENGINE, mark
from assessments.marking.results import Marking, canonical_result, from_document
from assessments.models import Attempt, AttemptInstrument, Outcome, Photo, Reading, Step, StepRecord
from rigs.instruments import spec_of
from rigs.models import Measurand, SheetValue

Entry = TypeVar("Entry", Reading, StepRecord, Photo)


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
    inputs = gather([attempt])[0]
    document, marking = canonical(inputs), mark(inputs)
    with transaction.atomic():
        last = attempt.outcomes.aggregate(last=Max("number"))["last"] or 0
        outcome = Outcome.objects.create(
            attempt=attempt,
            number=last + 1,
            engine=ENGINE,
            inputs=document.decode(),
            inputs_sha256=digest(document),
            result=canonical_result(marking).decode(),
            procedure=marking.procedure.verdict,
            readings=marking.readings.verdict,
            conclusion=marking.conclusion.verdict,
            proposal=marking.proposal,
            made_at=at,
        )
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


def latest(attempt: Attempt) -> Outcome:
    return attempt.outcomes.order_by("-number")[0]


def marking_of(outcome: Outcome) -> Marking:
    return from_document(json.loads(outcome.result))


def compare(*, attempt: Attempt) -> Comparison:
    """Mark an attempt again from what is on record now, beside its latest outcome. Stores nothing."""
    outcome = latest(attempt)
    inputs = gather([attempt])[0]
    return Comparison(
        outcome=outcome,
        inputs=tuple(differences(json.loads(outcome.inputs), json.loads(canonical(inputs)))),
        result=tuple(differences(json.loads(outcome.result), json.loads(canonical_result(mark(inputs))))),
    )


def gather(attempts: Sequence[Attempt]) -> list[AttemptInputs]:
    """Everything that these attempts are marked from, in a constant number of queries."""
    rows = Attempt.objects.filter(pk__in=[attempt.pk for attempt in attempts])
    found = {attempt.pk: attempt for attempt in _with_everything(rows)}
    return [_inputs(found[attempt.pk]) for attempt in attempts]


def _with_everything(attempts: QuerySet[Attempt]) -> QuerySet[Attempt]:
    steps = Step.objects.select_related("measurand__test_point", "measurand__condition")
    values = SheetValue.objects.select_related("measurand__test_point", "measurand__condition")
    instruments = AttemptInstrument.objects.select_related("instrument", "calibration").prefetch_related(
        "model__ranges"
    )
    return attempts.select_related(
        "rig__centre", "version__task", "sheet__baseline", "fault__fault"
    ).prefetch_related(
        Prefetch("version__steps", queryset=steps),
        Prefetch("sheet__values", queryset=values),
        Prefetch("instruments", queryset=instruments),
        Prefetch("readings", queryset=Reading.objects.in_order().select_related("step", "instrument")),
        Prefetch("records", queryset=StepRecord.objects.in_order().select_related("step")),
        Prefetch("photos", queryset=Photo.objects.in_order().select_related("step")),
    )


def _inputs(attempt: Attempt) -> AttemptInputs:
    version = attempt.version
    return AttemptInputs(
        attempt=str(attempt.pk),
        task=version.task.slug,
        version=version.number,
        content_sha256=version.content_sha256,
        rig=attempt.rig.tag,
        baseline=attempt.sheet.baseline.number if attempt.sheet else None,
        baseline_on=_baseline_on(attempt),
        floor_percent=float(attempt.rig.centre.floor_percent),
        fault=_fault(attempt),
        steps=tuple(_step(step) for step in version.steps.all()),
        measurands=_measurands(attempt),
        instruments=tuple(_instrument(each) for each in attempt.instruments.all()),
        readings=tuple(_reading(each, first) for each, first in _standing(attempt.readings.all())),
        records=tuple(sorted(_records(attempt), key=lambda record: (record.sequence, record.step))),
    )


def _baseline_on(attempt: Attempt) -> str:
    if attempt.sheet is None:
        return ""
    return attempt.rig.centre.date_at(attempt.sheet.baseline.started_at).isoformat()


def _fault(attempt: Attempt) -> FaultInput | None:
    if attempt.fault is None:
        return None
    fault = attempt.fault.fault
    return FaultInput(slug=fault.slug, label=fault.label, conclusion=fault.conclusion)


def key_of(measurand: Measurand) -> str:
    return f"{measurand.test_point.slug}/{measurand.condition.slug}"


def _step(step: Step) -> StepInput:
    return StepInput(
        slug=step.slug,
        order=step.position,
        kind=step.kind,
        title=step.title,
        why=step.why,
        safety_critical=step.safety_critical,
        required=step.required,
        judged_by=step.judged_by,
        measurand=key_of(step.measurand) if step.measurand else "",
        expected=tuple(step.expected),
        choices=tuple((choice["value"], choice["label"]) for choice in step.choices),
        parameters=step.parameters,
    )


def _measurands(attempt: Attempt) -> tuple[MeasurandInput, ...]:
    """Those on the sheet; without one, those of the task's steps, with no values."""
    if attempt.sheet is not None:
        return tuple(_on_sheet(value) for value in attempt.sheet.values.all())
    named = {step.measurand for step in attempt.version.steps.all() if step.measurand}
    return tuple(_measurand(each) for each in sorted(named, key=lambda each: each.position))


def _measurand(measurand: Measurand, **values: Any) -> MeasurandInput:
    return MeasurandInput(
        key=key_of(measurand),
        label=str(measurand),
        expected_state=measurand.expected_state,
        closed_limit=measurand.closed_limit,
        open_limit=measurand.open_limit,
        **values,
    )


def _on_sheet(value: SheetValue) -> MeasurandInput:
    return _measurand(
        value.measurand,
        value=value.value,
        other_u=value.other_u,
        other_dof=value.other_dof,
        repeat_sd=value.repeat_sd,
        repeat_dof=value.repeat_dof,
        repeat_share=value.repeat_share,
    )


def _instrument(taken: AttemptInstrument) -> InstrumentInput:
    return InstrumentInput(
        kind=taken.kind,
        tag=taken.instrument.tag,
        certificate=taken.calibration.certificate if taken.calibration else "",
        spec=spec_of(taken.model),
    )


def _standing(entries: Iterable[Entry]) -> list[tuple[Entry, int]]:
    """Entries that nothing supersedes, each with the sequence of the first one in its line of corrections."""
    by_id = {entry.pk: entry for entry in entries}
    superseded = {entry.supersedes_id for entry in by_id.values()}
    return [(entry, _first(entry, by_id)) for entry in by_id.values() if entry.pk not in superseded]


def _first(entry: Any, by_id: dict[Any, Any]) -> int:
    while entry.supersedes_id is not None:
        entry = by_id[entry.supersedes_id]
    return int(entry.sequence)


def _reading(reading: Reading, first: int) -> ReadingInput:
    return ReadingInput(
        id=str(reading.pk),
        step=reading.step.slug,
        sequence=first,
        text=reading.text,
        unit=reading.unit,
        quantity=reading.step.quantity,
        qualifier=reading.qualifier,
        si_value=reading.si_value,
        si_resolution=reading.si_resolution,
        instrument=reading.instrument.kind,
    )


def _records(attempt: Attempt) -> Iterable[RecordInput]:
    for record, first in _standing(attempt.records.all()):
        if record.done:
            yield RecordInput(step=record.step.slug, sequence=first, answer=record.answer, note=record.note)
    for photo, first in _standing(attempt.photos.all()):
        yield RecordInput(step=photo.step.slug, sequence=first, answer=photo.sha256)
