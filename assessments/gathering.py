"""Gathering what attempts are marked from, as it is on record: one attempt or thousands, in as many queries.

Rows are read as columns, without a model instance each: they are many, and nothing is asked of them but their
figures. What attempts have in common is read once and shared: task versions, value sheets, specifications.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import IntegerField, QuerySet, TextField
from django.db.models.functions import Cast

from assessments.marking import parameters
from assessments.marking.fault_finding import FaultFinding
from assessments.marking.inputs import (
    AttemptInputs,
    BenchInput,
    FaultInput,
    InstrumentInput,
    MeasurandInput,
    MeasurementInput,
    PlaceInput,
    ReadingInput,
    RecordInput,
    StepInput,
    VersionInput,
)
from assessments.models import Attempt, AttemptInstrument, Photo, Reading, Step, StepRecord, TaskVersion
from assessments.models.tasks import StepKind
from rigs.faults import terminals_of
from rigs.instruments import spec_of
from rigs.metrology.instruments import Spec
from rigs.models import Condition, InstrumentModel, Measurand, SheetValue, TestPoint, ValueSheet

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Places:
    """A design's test points and conditions, which free measurements name, by primary key."""

    test_points: Mapping[int, PlaceInput]
    conditions: Mapping[int, PlaceInput]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Version:
    """A version with its steps by primary key: slug and quantity. ``measurands`` have no values."""

    inputs: VersionInput
    steps: Mapping[int, tuple[str, str]]
    measurands: tuple[MeasurandInput, ...]
    bench: BenchInput | None
    places: _Places


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """``baseline_on`` is a date in ISO form."""

    baseline: int
    baseline_on: str
    measurands: tuple[MeasurandInput, ...]


@dataclass(slots=True, kw_only=True)
class Shared:
    """What attempts have in common, kept from one batch to the next. None of it ever changes once used.

    Sheets are as many as checks, so only those of the last batch are kept.
    """

    versions: dict[UUID, _Version] = field(default_factory=dict)
    sheets: dict[UUID, _Sheet] = field(default_factory=dict)
    specs: dict[UUID, Spec] = field(default_factory=dict)
    instruments: dict[Row, InstrumentInput] = field(default_factory=dict)

    def read_for(self, *, versions: set[UUID], sheets: set[UUID], models: set[UUID]) -> None:
        self.versions |= _versions(versions - self.versions.keys())
        self.specs |= _specs(models - self.specs.keys())
        kept = {pk: sheet for pk, sheet in self.sheets.items() if pk in sheets}
        self.sheets = kept | _sheets(sheets - kept.keys())


def gather(attempts: Sequence[UUID], *, shared: Shared | None = None) -> list[AttemptInputs]:
    """Everything that these attempts are marked from, in their order, in a constant number of queries."""
    shared = shared or Shared()
    heads = {row[0]: row for row in _heads(attempts)}
    taken = _by_attempt(_instruments(attempts))
    shared.read_for(
        versions={version for _, _, version, *_ in heads.values()},
        sheets={sheet for _, _, _, sheet, *_ in heads.values() if sheet is not None},
        models={row[MODEL] for rows in taken.values() for row in rows},
    )
    readings = _by_attempt(_logged(Reading.objects.filter(test_point=None), attempts, *READ))
    measurements = _by_attempt(
        _logged(Reading.objects.exclude(test_point=None), attempts, *READ, *FREELY_READ)
    )
    records = _by_attempt(
        _logged(StepRecord.objects.all(), attempts, Cast("done", IntegerField()), "answer", "note")
    )
    photos = _by_attempt(_logged(Photo.objects.all(), attempts, "sha256"))
    return [
        _inputs(
            head,
            shared,
            taken[key],
            readings=readings[key],
            measurements=measurements[key],
            records=records[key],
            photos=photos[key],
        )
        for key, head in ((heads[pk][KEY], heads[pk]) for pk in attempts)
    ]


def fault_findings(*, design: UUID) -> list[tuple[str, FaultFinding]]:
    """The tasks of finding a fault that are in force for a rig design, with their titles."""
    wanted = TaskVersion.objects.in_force().filter(design=design, steps__kind=StepKind.DIAGNOSIS)
    titles = dict(wanted.values_list("pk", "task__title"))
    found = {
        key: FaultFinding.of(version.inputs, version.bench)
        for key, version in _versions(titles.keys()).items()
    }
    return [(titles[key], task) for key, task in found.items() if task is not None]


def measurands_on(sheet: UUID) -> tuple[MeasurandInput, ...]:
    """What a rig's measurands read, by one of its value sheets."""
    return _sheets({sheet})[sheet].measurands


def _text_of(column: str) -> Cast:
    """An id as the database's own text: to group and to look up by, a UUID a row would cost too much."""
    return Cast(column, TextField())


def _heads(attempts: Collection[UUID]) -> Iterable[Row]:
    return Attempt.objects.filter(pk__in=attempts).values_list(
        "pk",
        _text_of("pk"),
        "version_id",
        "sheet_id",
        "rig__tag",
        "rig__centre__floor_percent",
        "fault__fault__slug",
        "fault__fault__label",
        "fault__fault__conclusion",
    )


KEY = 1


def _instruments(attempts: Collection[UUID]) -> Iterable[Row]:
    return (
        AttemptInstrument.objects.filter(attempt__in=attempts)
        .order_by("kind")
        .values_list(
            _text_of("attempt_id"), "pk", "kind", "instrument__tag", "calibration__certificate", "model_id"
        )
    )


MODEL = 5


READ = ("instrument_id", "text", "unit", "qualifier", "si_value", "si_resolution")
FREELY_READ = ("test_point_id", "condition_id", "taken_back")


def _logged(entries: QuerySet[Any], attempts: Collection[UUID], *columns: str | Cast) -> Iterable[Row]:
    return (
        entries.filter(attempt__in=attempts)
        .order_by()
        .values_list(
            _text_of("attempt_id"),
            _text_of("pk"),
            "step_id",
            "sequence",
            _text_of("supersedes_id"),
            *columns,
        )
    )


def _by_attempt(rows: Iterable[Row]) -> defaultdict[str, list[Row]]:
    grouped: defaultdict[str, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row[0]].append(row)
    return grouped


def _inputs(
    head: Row,
    shared: Shared,
    taken: Iterable[Row],
    *,
    readings: Sequence[Row],
    measurements: Sequence[Row],
    records: Sequence[Row],
    photos: Sequence[Row],
) -> AttemptInputs:
    pk, _, version_pk, sheet_pk, rig, floor_percent, *fault = head
    version = shared.versions[version_pk]
    sheet = None if sheet_pk is None else shared.sheets[sheet_pk]
    instruments = {row[1]: _instrument(row, shared) for row in taken}
    return AttemptInputs(
        attempt=str(pk),
        version=version.inputs,
        rig=rig,
        baseline=sheet.baseline if sheet else None,
        baseline_on=sheet.baseline_on if sheet else "",
        floor_percent=float(floor_percent),
        fault=_fault(*fault),
        measurands=sheet.measurands if sheet else version.measurands,
        instruments=tuple(instruments.values()),
        readings=tuple(
            sorted(_readings(readings, version, instruments), key=lambda each: (each.sequence, each.step))
        ),
        records=tuple(
            sorted(_records(records, photos, version), key=lambda each: (each.sequence, each.step))
        ),
        bench=version.bench,
        measurements=tuple(
            sorted(_measurements(measurements, version, instruments), key=lambda each: each.reading.sequence)
        ),
    )


def _fault(slug: str | None, label: str, conclusion: str) -> FaultInput | None:
    return None if slug is None else FaultInput(slug=slug, label=label, conclusion=conclusion)


def _instrument(row: Row, shared: Shared) -> InstrumentInput:
    what = row[2:]
    if what not in shared.instruments:
        kind, tag, certificate, model = what
        shared.instruments[what] = InstrumentInput(
            kind=kind, tag=tag, certificate=certificate or "", spec=shared.specs[model]
        )
    return shared.instruments[what]


def _readings(
    rows: Sequence[Row], version: _Version, instruments: Mapping[int, InstrumentInput]
) -> Iterator[ReadingInput]:
    for row, first in _standing(rows):
        step, quantity = version.steps[row[STEP]]
        yield _reading(row, first, step, quantity, instruments)


def _measurements(
    rows: Sequence[Row], version: _Version, instruments: Mapping[int, InstrumentInput]
) -> Iterator[MeasurementInput]:
    for row, first in _standing(rows):
        *_, test_point_pk, condition_pk, taken_back = row
        if not taken_back:
            test_point = version.places.test_points[test_point_pk]
            step, _ = version.steps[row[STEP]]
            yield MeasurementInput(
                test_point=test_point.slug,
                condition=version.places.conditions[condition_pk].slug,
                reading=_reading(row, first, step, test_point.quantity, instruments),
            )


def _reading(
    row: Row, first: int, step: str, quantity: str, instruments: Mapping[int, InstrumentInput]
) -> ReadingInput:
    _, pk, _, _, _, instrument, text, unit, qualifier, si_value, si_resolution, *_ = row
    return ReadingInput(
        id=_dashed(pk),
        step=step,
        sequence=first,
        text=text,
        unit=unit,
        quantity=quantity,
        qualifier=qualifier,
        si_value=si_value,
        si_resolution=si_resolution,
        instrument=instruments[instrument].kind,
    )


def _dashed(pk: str) -> str:
    """An id as Python writes it. SQLite keeps it without dashes, PostgreSQL has them."""
    return pk if "-" in pk else f"{pk[:8]}-{pk[8:12]}-{pk[12:16]}-{pk[16:20]}-{pk[20:]}"


def _records(records: Sequence[Row], photos: Sequence[Row], version: _Version) -> Iterator[RecordInput]:
    for (_, _, step, _, _, done, answer, note), first in _standing(records):
        if done:
            yield RecordInput(step=version.steps[step][0], sequence=first, answer=answer, note=note)
    for (_, _, step, _, _, sha256), first in _standing(photos):
        yield RecordInput(step=version.steps[step][0], sequence=first, answer=sha256)


def _standing(rows: Sequence[Row]) -> Iterator[tuple[Row, int]]:
    """Entries that nothing supersedes, each with the sequence of the first one in its line of corrections."""
    corrections = {row[SUPERSEDES]: row for row in rows if row[SUPERSEDES] is not None}
    by_id = {row[ID]: row for row in rows} if corrections else {}
    for row in rows:
        if row[ID] not in corrections:
            first = row
            while first[SUPERSEDES] is not None:
                first = by_id[first[SUPERSEDES]]
            yield row, first[SEQUENCE]


ID, STEP, SEQUENCE, SUPERSEDES = 1, 2, 3, 4


def _versions(wanted: Collection[UUID]) -> dict[UUID, _Version]:
    if not wanted:
        return {}
    found = TaskVersion.objects.filter(pk__in=wanted).select_related("task")
    steps: defaultdict[UUID, list[Step]] = defaultdict(list)
    rows = Step.objects.filter(version__in=wanted).select_related(
        "measurand__test_point", "measurand__condition"
    )
    for step in rows.order_by("position"):
        steps[step.version_id].append(step)
    places = _places({version.design_id for version in found if _free(steps[version.pk])})
    return {
        version.pk: _version(version, steps[version.pk], places.get(version.design_id, NOWHERE))
        for version in found
    }


def _version(version: TaskVersion, steps: Sequence[Step], places: _Places) -> _Version:
    named = {step.measurand for step in steps if step.measurand}
    free = _free(steps)
    return _Version(
        inputs=VersionInput(
            task=version.task.slug,
            number=version.number,
            content_sha256=version.content_sha256,
            steps=tuple(_step(step) for step in steps),
        ),
        steps={step.pk: (step.slug, step.quantity) for step in steps},
        bench=None if free is None else _bench(free, places),
        places=places,
        measurands=tuple(_measurand(each) for each in sorted(named, key=lambda each: each.position)),
    )


def _free(steps: Iterable[Step]) -> Step | None:
    """The step on which the candidate chooses what to measure, in a task that has one."""
    return next((step for step in steps if step.kind == StepKind.MEASUREMENTS), None)


NOWHERE = _Places(test_points={}, conditions={})


def _places(designs: Collection[UUID]) -> dict[UUID, _Places]:
    if not designs:
        return {}
    test_points: defaultdict[UUID, dict[int, PlaceInput]] = defaultdict(dict)
    conditions: defaultdict[UUID, dict[int, PlaceInput]] = defaultdict(dict)
    for point in TestPoint.objects.filter(design__in=designs).order_by("position"):
        test_points[point.design_id][point.pk] = PlaceInput(
            slug=point.slug, label=point.label, quantity=point.quantity
        )
    for each in Condition.objects.filter(design__in=designs).order_by("position"):
        conditions[each.design_id][each.pk] = PlaceInput(slug=each.slug, label=each.label)
    return {
        design: _Places(test_points=test_points[design], conditions=conditions[design]) for design in designs
    }


def _bench(step: Step, places: _Places) -> BenchInput:
    offered = parameters.free_measuring(step)
    return BenchInput(
        terminals=terminals_of(each.slug for each in places.test_points.values()),
        test_points=tuple(
            each for each in places.test_points.values() if offered.offers_test_point(each.slug)
        ),
        conditions=tuple(each for each in places.conditions.values() if offered.offers_condition(each.slug)),
    )


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
        measurand=_key_of(step.measurand) if step.measurand else "",
        expected=tuple(step.expected),
        choices=tuple((choice["value"], choice["label"]) for choice in step.choices),
        parameters=step.parameters,
    )


def _key_of(measurand: Measurand) -> str:
    return f"{measurand.test_point.slug}/{measurand.condition.slug}"


def _sheets(wanted: Collection[UUID]) -> dict[UUID, _Sheet]:
    if not wanted:
        return {}
    values: defaultdict[UUID, list[MeasurandInput]] = defaultdict(list)
    rows = SheetValue.objects.filter(sheet__in=wanted).select_related(
        "measurand__test_point", "measurand__condition"
    )
    for value in rows.order_by("measurand__position"):
        values[value.sheet_id].append(_on_sheet(value))
    sheets = ValueSheet.objects.filter(pk__in=wanted).select_related("baseline", "rig__centre")
    return {
        sheet.pk: _Sheet(
            baseline=sheet.baseline.number,
            baseline_on=sheet.rig.centre.date_at(sheet.baseline.started_at).isoformat(),
            measurands=tuple(values[sheet.pk]),
        )
        for sheet in sheets
    }


def _on_sheet(value: SheetValue) -> MeasurandInput:
    return _measurand(
        value.measurand,
        value=value.value,
        other_u=value.other_u,
        other_dof=value.other_dof,
        repeat_sd=value.repeat_sd,
        repeat_dof=value.repeat_dof,
        repeat_share=value.repeat_share,
        air_density=value.air_density,
        air_u=value.air_u,
        air_source=value.air_source,
    )


def _measurand(measurand: Measurand, **values: Any) -> MeasurandInput:
    return MeasurandInput(
        key=_key_of(measurand),
        label=str(measurand),
        expected_state=measurand.expected_state,
        closed_limit=measurand.closed_limit,
        open_limit=measurand.open_limit,
        **values,
    )


def _specs(wanted: Collection[UUID]) -> dict[UUID, Spec]:
    if not wanted:
        return {}
    models = InstrumentModel.objects.filter(pk__in=wanted).prefetch_related("ranges")
    return {model.pk: spec_of(model) for model in models}
