"""Gathering what attempts are marked from, as it is on record: one attempt or thousands, in as many queries.

Rows are read as columns, without a model instance each: they are many, and nothing is asked of them but their
figures. What attempts have in common is read once and shared: task versions, value sheets, specifications.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from django.db.models import Case, Model, TextField, Value, When
from django.db.models.functions import Cast

from assessments.marking.inputs import (
    AttemptInputs,
    Common,
    FaultInput,
    InstrumentInput,
    MeasurandInput,
    ReadingInput,
    RecordInput,
    StepInput,
    VersionInput,
)
from assessments.models import Attempt, AttemptInstrument, Photo, Reading, Step, StepRecord, TaskVersion
from rigs.instruments import spec_of
from rigs.metrology.instruments import Spec
from rigs.models import Baseline, InstrumentModel, Measurand, SheetValue, ValueSheet

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Version:
    """A version with its steps by primary key: slug and quantity. ``measurands`` have no values."""

    inputs: VersionInput
    steps: Mapping[int, tuple[str, str]]
    measurands: Common[MeasurandInput]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """``baseline_on`` is a date in ISO form."""

    baseline: int
    baseline_on: str
    measurands: Common[MeasurandInput]


@dataclass(slots=True, kw_only=True)
class Shared:
    """What attempts have in common, kept from one batch to the next. None of it ever changes once used.

    By the ids that the database gives as text; steps, which are slug and quantity, by theirs. Sheets are as
    many as checks, so only those of the last batch are kept.
    """

    versions: dict[str, _Version] = field(default_factory=dict)
    steps: dict[int, tuple[str, str]] = field(default_factory=dict)
    sheets: dict[str, _Sheet] = field(default_factory=dict)
    specs: dict[str, Spec] = field(default_factory=dict)
    instruments: dict[tuple[Row, ...], Common[InstrumentInput]] = field(default_factory=dict)

    def read_for(self, *, versions: set[str], sheets: set[str], models: set[str]) -> None:
        found = _versions(versions - self.versions.keys())
        self.versions |= found
        for version in found.values():
            self.steps |= version.steps
        self.specs |= _specs(models - self.specs.keys())
        kept = {pk: sheet for pk, sheet in self.sheets.items() if pk in sheets}
        self.sheets = kept | _sheets(sheets - kept.keys())

    def taken(self, rows: Sequence[Row]) -> Common[InstrumentInput]:
        """The instruments of an attempt, as one value for all that took the same."""
        what = tuple([row[KIND:] for row in rows])
        if what not in self.instruments:
            self.instruments[what] = Common(
                InstrumentInput(kind=kind, tag=tag, certificate=certificate or "", spec=self.specs[model])
                for kind, tag, certificate, model in what
            )
        return self.instruments[what]


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
    readings = _readings(attempts, shared.steps, kinds)
    records = _records(attempts, shared.steps)
    return [
        _inputs(pk, heads[pk], shared, taken=taken, readings=readings, records=records)
        for pk in map(str, attempts)
    ]


def _text_of(column: str) -> Cast:
    """An id as the database's own text: to group and to look up by, a UUID a row would cost too much."""
    return Cast(column, TextField())


def _heads(attempts: Collection[UUID]) -> Iterable[Row]:
    return Attempt.objects.filter(pk__in=attempts).values_list(
        _text_of("pk"),
        _text_of("version_id"),
        _text_of("sheet_id"),
        "rig__tag",
        "rig__centre__floor_percent",
        "fault__fault__slug",
        "fault__fault__label",
        "fault__fault__conclusion",
    )


def _instruments(attempts: Collection[UUID]) -> Iterable[Row]:
    return (
        AttemptInstrument.objects.filter(attempt__in=attempts)
        .order_by("kind")
        .values_list(
            _text_of("attempt_id"),
            "pk",
            "kind",
            "instrument__tag",
            "calibration__certificate",
            _text_of("model_id"),
        )
    )


ID, KIND, MODEL = 1, 2, 5


def _logged(model: type[Model], attempts: Collection[UUID], *columns: str | Case) -> Iterable[Row]:
    return (
        model._default_manager.filter(attempt__in=attempts)
        .order_by()
        .values_list(
            _text_of("attempt_id"),
            _text_of("pk"),
            _text_of("supersedes_id"),
            "sequence",
            "step_id",
            *columns,
        )
    )


def _by_attempt(rows: Iterable[Row]) -> defaultdict[str, list[Row]]:
    grouped: defaultdict[str, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row[0]].append(row)
    return grouped


def _inputs(
    pk: str,
    head: Row,
    shared: Shared,
    *,
    taken: Mapping[str, Sequence[Row]],
    readings: Mapping[str, list[ReadingInput]],
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
        instruments=shared.taken(taken[key]),
        readings=tuple(sorted(readings[key])),
        records=tuple(sorted(records[key])),
    )


def _fault(slug: str | None, label: str, conclusion: str) -> FaultInput | None:
    return None if slug is None else FaultInput(slug=slug, label=label, conclusion=conclusion)


def _readings(
    attempts: Collection[UUID], steps: Mapping[int, tuple[str, str]], kinds: Mapping[int, str]
) -> Mapping[str, list[ReadingInput]]:
    """By attempt. ``kinds`` are those of the instruments taken."""
    found: defaultdict[str, list[ReadingInput]] = defaultdict(list)
    rows = _logged(
        Reading, attempts, "instrument_id", "text", "unit", "qualifier", "si_value", "si_resolution"
    )
    for attempt, pk, _, sequence, step, taken, text, unit, qualifier, value, resolution in _standing(rows):
        slug, quantity = steps[step]
        found[attempt].append(
            ReadingInput(
                sequence,
                slug,
                _dashed(pk),
                text,
                unit,
                quantity,
                qualifier,
                value,
                resolution,
                kinds[taken],
            )
        )
    return found


def _dashed(pk: str) -> str:
    """An id as Python writes it. SQLite keeps it without dashes, PostgreSQL has them."""
    return pk if "-" in pk else f"{pk[:8]}-{pk[8:12]}-{pk[12:16]}-{pk[16:20]}-{pk[20:]}"


def _records(
    attempts: Collection[UUID], steps: Mapping[int, tuple[str, str]]
) -> Mapping[str, list[RecordInput]]:
    """By attempt, photos among them."""
    found: defaultdict[str, list[RecordInput]] = defaultdict(list)
    # As text, because a truth value would go through Python twice.
    done = Case(When(done=True, then=Value("done")), default=Value(""))
    for attempt, _, _, sequence, step, is_done, answer, note in _standing(
        _logged(StepRecord, attempts, done, "answer", "note")
    ):
        if is_done:
            found[attempt].append(RecordInput(sequence, steps[step][0], answer, note))
    for attempt, _, _, sequence, step, sha256 in _standing(_logged(Photo, attempts, "sha256")):
        found[attempt].append(RecordInput(sequence, steps[step][0], sha256))
    return found


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


SUPERSEDES, SEQUENCE = 2, 3


def _by_text(wanted: Iterable[str]) -> dict[UUID, str]:
    """The ids behind the texts that the database gives for them."""
    return {UUID(text): text for text in wanted}


def _versions(wanted: Collection[str]) -> dict[str, _Version]:
    if not wanted:
        return {}
    texts = _by_text(wanted)
    found = TaskVersion.objects.filter(pk__in=texts).select_related("task")
    steps: defaultdict[UUID, list[Step]] = defaultdict(list)
    rows = Step.objects.filter(version__in=texts).select_related(
        "measurand__test_point", "measurand__condition"
    )
    for step in rows.order_by("position"):
        steps[step.version_id].append(step)
    return {texts[version.pk]: _version(version, steps[version.pk]) for version in found}


def _version(version: TaskVersion, steps: Sequence[Step]) -> _Version:
    named = {step.measurand for step in steps if step.measurand}
    return _Version(
        inputs=VersionInput(
            task=version.task.slug,
            number=version.number,
            content_sha256=version.content_sha256,
            steps=tuple(_step(step) for step in steps),
        ),
        steps={step.pk: (step.slug, step.quantity) for step in steps},
        measurands=Common(_measurand(each) for each in sorted(named, key=lambda each: each.position)),
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


def _sheets(wanted: Collection[str]) -> dict[str, _Sheet]:
    """Sheets by the hundred, with few measurands and baselines behind them: those are read once each."""
    if not wanted:
        return {}
    ids = list(_by_text(wanted))
    rows = SheetValue.objects.filter(sheet__in=ids).order_by("measurand__position")
    found = list(rows.values_list(_text_of("sheet_id"), "measurand_id", *VALUES))
    measurands = {
        each.pk: _measurand(each)
        for each in Measurand.objects.filter(pk__in={row[1] for row in found}).select_related(
            "test_point", "condition"
        )
    }
    values: defaultdict[str, list[MeasurandInput]] = defaultdict(list)
    for sheet, measurand, *figures in found:
        values[sheet].append(replace(measurands[measurand], **dict(zip(VALUES, figures, strict=True))))
    sheets = dict(ValueSheet.objects.filter(pk__in=ids).values_list(_text_of("pk"), "baseline_id"))
    baselines = {
        each.pk: (each.number, each.rig.centre.date_at(each.started_at).isoformat())
        for each in Baseline.objects.filter(pk__in=set(sheets.values())).select_related("rig__centre")
    }
    return {
        sheet: _Sheet(
            baseline=baselines[baseline][0],
            baseline_on=baselines[baseline][1],
            measurands=Common(values[sheet]),
        )
        for sheet, baseline in sheets.items()
    }


VALUES = ("value", "other_u", "other_dof", "repeat_sd", "repeat_dof", "repeat_share")


def _measurand(measurand: Measurand) -> MeasurandInput:
    """Without values."""
    return MeasurandInput(
        key=_key_of(measurand),
        label=str(measurand),
        expected_state=measurand.expected_state,
        closed_limit=measurand.closed_limit,
        open_limit=measurand.open_limit,
    )


def _specs(wanted: Collection[str]) -> dict[str, Spec]:
    if not wanted:
        return {}
    texts = _by_text(wanted)
    models = InstrumentModel.objects.filter(pk__in=texts).prefetch_related("ranges")
    return {texts[model.pk]: spec_of(model) for model in models}
