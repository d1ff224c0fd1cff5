"""What attempts have in common of what they are marked from: task versions, value sheets, specifications.

Each is read once, whatever the number of attempts. Ids are the texts that the database gives for them.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from uuid import UUID

from django.db.models import TextField
from django.db.models.functions import Cast

from assessments.marking import parameters
from assessments.marking.fault_finding import FaultFinding
from assessments.marking.inputs import (
    BenchInput,
    Common,
    InstrumentInput,
    MeasurandInput,
    PlaceInput,
    StepInput,
    VersionInput,
)
from assessments.models import Step, TaskVersion
from assessments.models.tasks import StepKind
from rigs.faults import terminals_of
from rigs.instruments import spec_of
from rigs.metrology.instruments import Spec
from rigs.models import Baseline, Condition, InstrumentModel, Measurand, SheetValue, TestPoint, ValueSheet

Taken = tuple[str, str, str | None, str]
"""An instrument that was taken: its kind, its tag, its certificate, and the id of its model."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """A design's test points and conditions, which free measurements name, by primary key."""

    test_points: Mapping[int, PlaceInput]
    conditions: Mapping[int, PlaceInput]


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """A version with its steps by primary key: slug and quantity. ``measurands`` have no values.

    In a task that leaves to the candidate what to measure, ``bench`` says what there is; only then ``places``
    are read.
    """

    inputs: VersionInput
    steps: Mapping[int, tuple[str, str]]
    measurands: Common[MeasurandInput]
    bench: BenchInput | None
    places: Places


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """``baseline_on`` is a date in ISO form."""

    baseline: int
    baseline_on: str
    measurands: Common[MeasurandInput]


@dataclass(slots=True, kw_only=True)
class Shared:
    """What attempts have in common, kept from one batch to the next. None of it ever changes once used.

    Steps, which are slug and quantity, and places are by their primary keys. Sheets are as many as checks, so
    only those of the last batch are kept.
    """

    versions: dict[str, Version] = field(default_factory=dict)
    steps: dict[int, tuple[str, str]] = field(default_factory=dict)
    test_points: dict[int, PlaceInput] = field(default_factory=dict)
    conditions: dict[int, PlaceInput] = field(default_factory=dict)
    sheets: dict[str, Sheet] = field(default_factory=dict)
    specs: dict[str, Spec] = field(default_factory=dict)
    instruments: dict[tuple[Taken, ...], Common[InstrumentInput]] = field(default_factory=dict)

    def read_for(self, *, versions: set[str], sheets: set[str], models: set[str]) -> None:
        found = _versions(versions - self.versions.keys())
        self.versions |= found
        for version in found.values():
            self.steps |= version.steps
            self.test_points |= version.places.test_points
            self.conditions |= version.places.conditions
        self.specs |= _specs(models - self.specs.keys())
        kept = {pk: sheet for pk, sheet in self.sheets.items() if pk in sheets}
        self.sheets = kept | _sheets(sheets - kept.keys())

    def taken(self, what: tuple[Taken, ...]) -> Common[InstrumentInput]:
        """The instruments of an attempt, as one value for all that took the same."""
        if what not in self.instruments:
            self.instruments[what] = Common(
                InstrumentInput(kind=kind, tag=tag, certificate=certificate or "", spec=self.specs[model])
                for kind, tag, certificate, model in what
            )
        return self.instruments[what]


def version_of(pk: UUID) -> Version:
    """One task version by itself."""
    (version,) = _versions({str(pk)}).values()
    return version


def fault_findings(*, design: UUID) -> list[tuple[str, FaultFinding]]:
    """The tasks of finding a fault that are in force for a rig design, with their titles."""
    wanted = TaskVersion.objects.in_force().filter(design=design, steps__kind=StepKind.DIAGNOSIS)
    titles = {str(pk): title for pk, title in wanted.values_list("pk", "task__title")}
    found = {
        key: FaultFinding.of(version.inputs, version.bench) for key, version in _versions(titles).items()
    }
    return [(titles[key], task) for key, task in found.items() if task is not None]


def measurands_on(sheet: UUID) -> tuple[MeasurandInput, ...]:
    """What a rig's measurands read, by one of its value sheets."""
    (found,) = _sheets({str(sheet)}).values()
    return found.measurands


def text_of(column: str) -> Cast:
    """An id as the database's own text: to group and to look up by, a UUID a row would cost too much."""
    return Cast(column, TextField())


def _by_text(wanted: Iterable[str]) -> dict[UUID, str]:
    """The ids behind the texts that the database gives for them."""
    return {UUID(text): text for text in wanted}


def _versions(wanted: Collection[str]) -> dict[str, Version]:
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
    places = _places({version.design_id for version in found if _free(steps[version.pk])})
    return {
        texts[version.pk]: _version(version, steps[version.pk], places.get(version.design_id, NOWHERE))
        for version in found
    }


def _version(version: TaskVersion, steps: Sequence[Step], places: Places) -> Version:
    named = {step.measurand for step in steps if step.measurand}
    free = _free(steps)
    return Version(
        inputs=VersionInput(
            task=version.task.slug,
            number=version.number,
            content_sha256=version.content_sha256,
            steps=tuple(_step(step) for step in steps),
        ),
        steps={step.pk: (step.slug, step.quantity) for step in steps},
        measurands=Common(_measurand(each) for each in sorted(named, key=lambda each: each.position)),
        bench=None if free is None else _bench(free, places),
        places=places,
    )


def _free(steps: Iterable[Step]) -> Step | None:
    """The step on which the candidate chooses what to measure, in a task that has one."""
    return next((step for step in steps if step.kind == StepKind.MEASUREMENTS), None)


NOWHERE = Places(test_points={}, conditions={})


def _places(designs: Collection[UUID]) -> dict[UUID, Places]:
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
        design: Places(test_points=test_points[design], conditions=conditions[design]) for design in designs
    }


def _bench(step: Step, places: Places) -> BenchInput:
    offered = parameters.free_measuring(step)
    return BenchInput(
        terminals=terminals_of(each.slug for each in places.test_points.values()),
        test_points=Common(
            each for each in places.test_points.values() if offered.offers_test_point(each.slug)
        ),
        conditions=Common(each for each in places.conditions.values() if offered.offers_condition(each.slug)),
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


def _sheets(wanted: Collection[str]) -> dict[str, Sheet]:
    """Sheets by the hundred, with few measurands and baselines behind them: those are read once each."""
    if not wanted:
        return {}
    ids = list(_by_text(wanted))
    rows = SheetValue.objects.filter(sheet__in=ids).order_by("measurand__position")
    found = list(rows.values_list(text_of("sheet_id"), "measurand_id", *VALUES))
    measurands = {
        each.pk: _measurand(each)
        for each in Measurand.objects.filter(pk__in={row[1] for row in found}).select_related(
            "test_point", "condition"
        )
    }
    values: defaultdict[str, list[MeasurandInput]] = defaultdict(list)
    for sheet, measurand, *figures in found:
        values[sheet].append(replace(measurands[measurand], **dict(zip(VALUES, figures, strict=True))))
    sheets = dict(ValueSheet.objects.filter(pk__in=ids).values_list(text_of("pk"), "baseline_id"))
    baselines = {
        each.pk: (each.number, each.rig.centre.date_at(each.started_at).isoformat())
        for each in Baseline.objects.filter(pk__in=set(sheets.values())).select_related("rig__centre")
    }
    return {
        sheet: Sheet(
            baseline=baselines[baseline][0],
            baseline_on=baselines[baseline][1],
            measurands=Common(values[sheet]),
        )
        for sheet, baseline in sheets.items()
    }


VALUES = (
    "value",
    "other_u",
    "other_dof",
    "repeat_sd",
    "repeat_dof",
    "repeat_share",
    "air_density",
    "air_u",
    "air_source",
)
"""What a sheet says of a measurand, under the same names there and here."""


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
