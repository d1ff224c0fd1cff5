"""Gathering what attempts are marked from, as it is on record: one attempt or thousands, in as many queries.

Rows are read as columns, without a model instance each: they are many, and nothing is asked of them but their
figures. What attempts have in common is in `shared_inputs.py`.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db.models import Case, QuerySet, Value, When

from assessments.marking.inputs import (
    AttemptInputs,
    FaultInput,
    MeasurementInput,
    ReadingInput,
    RecordInput,
)
from assessments.models import Attempt, AttemptInstrument, Photo, Reading, StepRecord
from assessments.shared_inputs import Shared, text_of

Row = tuple[Any, ...]


def gather(attempts: Sequence[UUID], *, shared: Shared | None = None) -> list[AttemptInputs]:
    """Everything that these attempts are marked from, in their order, in a constant number of queries."""
    shared = shared or Shared()
    heads = {_dashed(row[0]): row for row in _heads(attempts)}
    taken = _by_attempt(_instruments(attempts))
    shared.read_for(
        versions={version for _, version, *_ in heads.values()},
        sheets={sheet for _, _, sheet, *_ in heads.values() if sheet is not None},
        models={row[MODEL] for rows in taken.values() for row in rows},
    )
    kinds = {row[ID]: row[KIND] for rows in taken.values() for row in rows}
    free = [pk for pk in attempts if shared.versions[heads[str(pk)][VERSION]].bench is not None]
    readings = _readings(attempts, shared, kinds)
    measurements = _measurements(free, shared, kinds)
    records = _records(attempts, shared)
    return [
        _inputs(pk, heads[pk], shared, taken, readings=readings, measurements=measurements, records=records)
        for pk in map(str, attempts)
    ]


def _heads(attempts: Collection[UUID]) -> Iterable[Row]:
    return Attempt.objects.filter(pk__in=attempts).values_list(
        text_of("pk"),
        text_of("version_id"),
        text_of("sheet_id"),
        "rig__tag",
        "rig__centre__floor_percent",
        "fault__fault__slug",
        "fault__fault__label",
        "fault__fault__conclusion",
    )


VERSION = 1


def _instruments(attempts: Collection[UUID]) -> Iterable[Row]:
    return (
        AttemptInstrument.objects.filter(attempt__in=attempts)
        .order_by("kind")
        .values_list(
            text_of("attempt_id"),
            "pk",
            "kind",
            "instrument__tag",
            "calibration__certificate",
            text_of("model_id"),
        )
    )


ID, KIND, MODEL = 1, 2, 5


def _by_attempt(rows: Iterable[Row]) -> defaultdict[str, list[Row]]:
    grouped: defaultdict[str, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row[0]].append(row)
    return grouped


def _inputs(
    pk: str,
    head: Row,
    shared: Shared,
    taken: Mapping[str, Sequence[Row]],
    *,
    readings: Mapping[str, list[ReadingInput]],
    measurements: Mapping[str, list[MeasurementInput]],
    records: Mapping[str, list[RecordInput]],
) -> AttemptInputs:
    key, version_pk, sheet_pk, rig, floor_percent, *fault = head
    version = shared.versions[version_pk]
    sheet = None if sheet_pk is None else shared.sheets[sheet_pk]
    return AttemptInputs(
        attempt=pk,
        version=version.inputs,
        rig=rig,
        baseline=sheet.baseline if sheet else None,
        baseline_on=sheet.baseline_on if sheet else "",
        floor_percent=float(floor_percent),
        fault=_fault(*fault),
        measurands=sheet.measurands if sheet else version.measurands,
        instruments=shared.taken(tuple([row[KIND:] for row in taken[key]])),
        readings=tuple(sorted(readings[key])),
        records=tuple(sorted(records[key])),
        bench=version.bench,
        measurements=tuple(sorted(measurements[key], key=lambda each: each.reading.sequence)),
    )


def _fault(slug: str | None, label: str, conclusion: str) -> FaultInput | None:
    return None if slug is None else FaultInput(slug=slug, label=label, conclusion=conclusion)


READ = ("instrument_id", "text", "unit", "qualifier", "si_value", "si_resolution")


def _readings(
    attempts: Collection[UUID], shared: Shared, kinds: Mapping[int, str]
) -> Mapping[str, list[ReadingInput]]:
    """By attempt, those of its steps. ``kinds`` are those of the instruments taken."""
    found: defaultdict[str, list[ReadingInput]] = defaultdict(list)
    for row in _standing(_logged(Reading.objects.filter(test_point=None), attempts, *READ)):
        step, quantity = shared.steps[row[STEP]]
        found[row[0]].append(_reading(row, step, quantity, kinds))
    return found


def _measurements(
    attempts: Collection[UUID], shared: Shared, kinds: Mapping[int, str]
) -> Mapping[str, list[MeasurementInput]]:
    """By attempt, readings of the candidate's own choice, less those taken back."""
    found: defaultdict[str, list[MeasurementInput]] = defaultdict(list)
    if not attempts:
        return found
    placed = Reading.objects.exclude(test_point=None)
    rows = _logged(placed, attempts, *READ, "test_point_id", "condition_id", "taken_back")
    for *row, test_point_pk, condition_pk, taken_back in _standing(rows):
        if not taken_back:
            step, _ = shared.steps[row[STEP]]
            test_point = shared.test_points[test_point_pk]
            found[row[0]].append(
                MeasurementInput(
                    test_point=test_point.slug,
                    condition=shared.conditions[condition_pk].slug,
                    reading=_reading(row, step, test_point.quantity, kinds),
                )
            )
    return found


def _reading(row: Sequence[Any], step: str, quantity: str, kinds: Mapping[int, str]) -> ReadingInput:
    # By position and not by name, which takes twice as long: there are a million of them.
    _, pk, _, sequence, _, taken, text, unit, qualifier, value, resolution = row
    return ReadingInput(
        sequence, step, _dashed(pk), text, unit, quantity, qualifier, value, resolution, kinds[taken]
    )


def _dashed(pk: str) -> str:
    """An id as Python writes it. SQLite keeps it without dashes, PostgreSQL has them."""
    return pk if "-" in pk else f"{pk[:8]}-{pk[8:12]}-{pk[12:16]}-{pk[16:20]}-{pk[20:]}"


def _records(attempts: Collection[UUID], shared: Shared) -> Mapping[str, list[RecordInput]]:
    """By attempt, photos among them."""
    found: defaultdict[str, list[RecordInput]] = defaultdict(list)
    # As text, because a truth value would go through Python twice.
    done = Case(When(done=True, then=Value("done")), default=Value(""))
    for attempt, _, _, sequence, step, is_done, answer in _standing(
        _logged(StepRecord.objects.all(), attempts, done, "answer")
    ):
        if is_done:
            found[attempt].append(RecordInput(sequence, shared.steps[step][0], answer))
    for attempt, _, _, sequence, step, sha256 in _standing(_logged(Photo.objects.all(), attempts, "sha256")):
        found[attempt].append(RecordInput(sequence, shared.steps[step][0], sha256))
    return found


def _logged(entries: QuerySet[Any], attempts: Collection[UUID], *columns: str | Case) -> Iterable[Row]:
    return (
        entries.filter(attempt__in=attempts)
        .order_by()
        .values_list(
            text_of("attempt_id"),
            text_of("pk"),
            text_of("supersedes_id"),
            "sequence",
            "step_id",
            *columns,
        )
    )


SUPERSEDES, SEQUENCE, STEP = 2, 3, 4


def _standing(rows: Iterable[Row]) -> Sequence[Row]:
    """Entries that nothing supersedes, each with the sequence of the first one in its line of corrections."""
    rows = list(rows)
    corrected = {row[SUPERSEDES] for row in rows if row[SUPERSEDES] is not None}
    if not corrected:
        return rows
    superseded = {row[ID]: row for row in rows if row[ID] in corrected}

    def as_first_logged(row: Row) -> Row:
        first = row
        while first[SUPERSEDES] is not None:
            first = superseded[first[SUPERSEDES]]
        return (*row[:SEQUENCE], first[SEQUENCE], *row[SEQUENCE + 1 :])

    return [
        row if row[SUPERSEDES] is None else as_first_logged(row) for row in rows if row[ID] not in corrected
    ]
