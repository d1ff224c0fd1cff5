"""What attempts would have been marked from, had the error been known: readings and values put right."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time
from uuid import UUID

import numpy as np

from assessments.impact.exposure import doubt_of
from assessments.marking.inputs import AttemptInputs, MeasurandInput, ReadingInput
from assessments.models import ImpactItem, ImpactReview
from assessments.models.impact import ErrorModel
from rigs import looking_back
from rigs.metrology.doubt import Column, Doubt
from rigs.metrology.quantities import Quantity
from rigs.metrology.today import PresentValue


@dataclass(frozen=True, slots=True, kw_only=True)
class PutRight:
    """One attempt's inputs under each model. ``unknown`` are slugs of steps whose error can't be told."""

    by_model: Mapping[ErrorModel, AttemptInputs]
    unknown: frozenset[str] = frozenset()


@dataclass(slots=True, kw_only=True)
class _Errors:
    """What is to be taken off an attempt's readings and its sheet's values: a row for each model."""

    readings: dict[str, Column] = field(default_factory=dict)
    values: dict[str, Column] = field(default_factory=dict)
    unknown: set[str] = field(default_factory=set)


def put_right(
    items: Iterable[ImpactItem], inputs: Mapping[UUID, AttemptInputs], *, review: ImpactReview
) -> dict[UUID, PutRight]:
    """By attempt. ``items`` come with their attempts, ``inputs`` are as gathered for those."""
    attempts = [item.attempt for item in items]
    sheets = {attempt.sheet_id for attempt in attempts if attempt.sheet_id is not None}
    if review.instrument is None:
        levels = looking_back.smoothed(sheets, until=review.found_at)
        return {
            attempt.pk: PutRight(
                by_model={
                    ErrorModel.SMOOTHED: _on_level(
                        inputs[attempt.pk], levels.get(attempt.sheet_id or NONE, {})
                    )
                }
            )
            for attempt in attempts
        }
    doubt, tag = doubt_of(review), review.instrument.tag
    wrong = looking_back.errors_on(sheets, instrument=review.instrument, doubt=doubt)
    zone = review.centre.zone
    return {
        attempt.pk: without_errors(
            inputs[attempt.pk],
            doubt,
            tag=tag,
            values=wrong.get(attempt.sheet_id or NONE, {}),
            at=attempt.started_at
            if attempt.observed_on is None
            # The site's clock wasn't there: the middle of that day.
            else datetime.combine(attempt.observed_on, time(12), tzinfo=zone),
        )
        for attempt in attempts
    }


NONE = UUID(int=0)


def without_errors(
    inputs: AttemptInputs, doubt: Doubt, *, tag: str, values: Mapping[str, Column], at: datetime
) -> PutRight:
    errors = _Errors()
    kinds = {each.kind for each in inputs.instruments if each.tag == tag}
    for reading in _readings(inputs):
        if reading.instrument in kinds and reading.si_value is not None:
            found = doubt.errors(quantity=Quantity(reading.quantity), reading=reading.si_value, at=at)
            _keep(errors.readings, reading.id, found, errors=errors, steps=(reading.step,))
    judged_by = defaultdict(list)
    for step in inputs.steps:
        judged_by[step.measurand].append(step.slug)
    for key, found in values.items():
        _keep(errors.values, key, found, errors=errors, steps=judged_by[key])
    return PutRight(
        by_model={
            ErrorModel(course.value): _changed(inputs, errors, row=row)
            for row, course in enumerate(doubt.courses)
        },
        unknown=frozenset(errors.unknown),
    )


def _readings(inputs: AttemptInputs) -> Iterable[ReadingInput]:
    return (*inputs.readings, *(each.reading for each in inputs.measurements))


def _keep(
    known: dict[str, Column], key: str, found: Column, *, errors: _Errors, steps: Iterable[str]
) -> None:
    if np.isnan(found).any():
        errors.unknown.update(steps)
    elif found.any():
        known[key] = found


def _changed(inputs: AttemptInputs, errors: _Errors, *, row: int) -> AttemptInputs:
    """The same object where nothing is to be taken off."""
    readings = {key: float(error[row]) for key, error in errors.readings.items() if error[row]}
    values = {key: float(error[row]) for key, error in errors.values.items() if error[row]}
    if not readings and not values:
        return inputs
    return replace(
        inputs,
        readings=tuple(_less(each, readings.get(each.id)) for each in inputs.readings),
        measurements=tuple(
            replace(each, reading=_less(each.reading, readings.get(each.reading.id)))
            for each in inputs.measurements
        ),
        measurands=tuple(_value_less(each, values.get(each.key)) for each in inputs.measurands),
    )


def _less(reading: ReadingInput, error: float | None) -> ReadingInput:
    if error is None or reading.si_value is None:
        return reading
    return reading._replace(si_value=reading.si_value - error)


def _value_less(measurand: MeasurandInput, error: float | None) -> MeasurandInput:
    if error is None or measurand.value is None:
        return measurand
    return replace(measurand, value=measurand.value - error)


def _on_level(inputs: AttemptInputs, levels: Mapping[str, PresentValue]) -> AttemptInputs:
    return replace(
        inputs, measurands=tuple(_smoothed(each, levels.get(each.key)) for each in inputs.measurands)
    )


def _smoothed(measurand: MeasurandInput, level: PresentValue | None) -> MeasurandInput:
    if level is None or measurand.value is None:
        return measurand
    return replace(
        measurand,
        value=float(level.value),
        other_u=float(level.u),
        other_dof=None if level.dof == float("inf") else float(level.dof),
        repeat_share=float(level.repeat_share),
    )
