"""Marking practice on a virtual rig: the engine of the bench, against the virtual rig's own values."""

from collections.abc import Iterable, Sequence

from assessments.marking.inputs import (
    AttemptInputs,
    FaultInput,
    InstrumentInput,
    MeasurandInput,
    MeasurementInput,
    ReadingInput,
    RecordInput,
)
from assessments.marking.mark import mark
from assessments.marking.readings import mark_readings
from assessments.marking.results import Marking, Marks
from assessments.models import VirtualEntry, VirtualPractice
from assessments.models.tasks import StepKind
from assessments.shared_inputs import version_of
from assessments.virtual_rigs import NAMES, SPECS, KnownLevel, VirtualBench
from rigs.instruments import KIND_FOR_QUANTITY
from rigs.metrology.quantities import Quantity
from rigs.models import Measurand

RIG = "Virtual rig"


def marking_of(practice: VirtualPractice, entries: Sequence[VirtualEntry]) -> Marking:
    """Mark what stands of these entries, in their order. Needs their ``step``, test point and condition."""
    return mark(inputs_of(practice, entries))


def marks_of(practice: VirtualPractice, entries: Sequence[VirtualEntry]) -> Marks:
    """The readings' verdicts alone, which take a hundredth of the time that a search for a fault does."""
    return mark_readings([inputs_of(practice, entries)])[0]


def inputs_of(practice: VirtualPractice, entries: Sequence[VirtualEntry]) -> AttemptInputs:
    version = version_of(practice.version_id)
    standing = latest(entries)
    return AttemptInputs(
        attempt=str(practice.pk),
        version=version.inputs,
        rig=RIG,
        baseline=None,
        floor_percent=0.0,
        fault=_fault(practice),
        measurands=_measurands(practice),
        instruments=tuple(
            InstrumentInput(kind=kind, tag=NAMES[kind], certificate="", spec=spec)
            for kind, spec in SPECS.items()
        ),
        readings=tuple(
            _reading(entry, first, quantity=entry.step.quantity, kind=entry.step.instrument_kind)
            for entry, first in standing
            if entry.step.kind == StepKind.READING
        ),
        records=tuple(
            RecordInput(step=entry.step.slug, sequence=first, answer=entry.answer)
            for entry, first in standing
            if not entry.is_reading
        ),
        bench=version.bench,
        measurements=tuple(_measurement(entry) for entry in entries if entry.test_point is not None),
    )


def latest(entries: Iterable[VirtualEntry]) -> list[tuple[VirtualEntry, int]]:
    """The last entry of each step that takes one, with the sequence of the first: when the work was done."""
    first: dict[int, int] = {}
    last: dict[int, VirtualEntry] = {}
    for entry in entries:
        if entry.step.kind != StepKind.MEASUREMENTS:
            first.setdefault(entry.step_id, entry.sequence)
            last[entry.step_id] = entry
    return [(entry, first[step]) for step, entry in last.items()]


def _fault(practice: VirtualPractice) -> FaultInput | None:
    fault = practice.fault
    if fault is None:
        return None
    return FaultInput(slug=fault.slug, label=fault.label, conclusion=fault.conclusion)


def _measurands(practice: VirtualPractice) -> tuple[MeasurandInput, ...]:
    """The design's, with the values that ten repeats on this rig gave."""
    levels = VirtualBench.read(practice.drawn).levels
    found = Measurand.objects.filter(design=practice.version.design_id).select_related(
        "test_point", "condition"
    )
    return tuple(
        _measurand(each, levels.get(f"{each.test_point.slug}/{each.condition.slug}")) for each in found
    )


def _measurand(measurand: Measurand, level: KnownLevel | None) -> MeasurandInput:
    return MeasurandInput(
        key=f"{measurand.test_point.slug}/{measurand.condition.slug}",
        label=str(measurand),
        expected_state=measurand.expected_state,
        closed_limit=measurand.closed_limit,
        open_limit=measurand.open_limit,
        value=level.value if level else None,
        other_u=level.other_u if level else None,
        repeat_sd=level.repeat_sd if level else None,
        repeat_dof=level.repeat_dof if level else None,
        repeat_share=level.repeat_share if level else None,
    )


def _measurement(entry: VirtualEntry) -> MeasurementInput:
    assert entry.test_point is not None and entry.condition is not None
    quantity = entry.test_point.quantity
    return MeasurementInput(
        test_point=entry.test_point.slug,
        condition=entry.condition.slug,
        reading=_reading(
            entry, entry.sequence, quantity=quantity, kind=str(KIND_FOR_QUANTITY[Quantity(quantity)])
        ),
    )


def _reading(entry: VirtualEntry, first: int, *, quantity: str, kind: str) -> ReadingInput:
    return ReadingInput(
        id=str(entry.pk),
        step=entry.step.slug,
        sequence=first,
        text=entry.text,
        unit=entry.unit,
        quantity=quantity,
        qualifier=entry.qualifier,
        si_value=entry.si_value,
        si_resolution=entry.si_resolution,
        instrument=kind,
    )
