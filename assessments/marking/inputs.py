"""Everything that an attempt is marked from, as frozen values, and its canonical form.

The SHA-256 of the canonical JSON (RFC 8785) is kept with every outcome: the same inputs give the same
outcome, and a changed input shows. Numbers stand in it as strings, so nothing is left of the RFC but sorted
keys and plain escapes, and anybody can make the same bytes with

    json.dumps(document, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()

The steps are the task version's and alike in every attempt on it: the document has their digest alone.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property, lru_cache
from itertools import chain
from operator import attrgetter
from typing import Any, NamedTuple, TypeVar

from assessments.marking.canonical import (
    Canonical,
    around,
    differences,
    digest,
    number_as_text,
    text,
    whole_as_text,
)
from rigs.metrology.instruments import NoRange, RangeSpec, Spec
from rigs.metrology.quantities import Quantity

Each = TypeVar("Each")


class Common(tuple[Each, ...]):  # noqa: SLOT001 - it keeps its hash, and a tuple has no room for slots
    """A tuple that many attempts have in common: its hash is worked out once."""

    @cached_property
    def _hash(self) -> int:
        return tuple.__hash__(self)

    def __hash__(self) -> int:
        return self._hash


@dataclass(frozen=True, slots=True, kw_only=True)
class StepInput:
    """A step of the task version, as far as marking needs it. ``order`` is its place in the task."""

    slug: str
    order: int
    kind: str
    title: str
    why: str = ""
    safety_critical: bool = False
    required: bool = True
    judged_by: str = ""
    measurand: str = ""
    expected: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    parameters: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class VersionInput:
    """A task version with its steps, in their order: the same value for every attempt on it."""

    task: str
    number: int
    content_sha256: str
    steps: tuple[StepInput, ...]

    def __hash__(self) -> int:
        return hash(self.content_sha256)

    @cached_property
    def by_slug(self) -> Mapping[str, StepInput]:
        return {step.slug: step for step in self.steps}

    @cached_property
    def by_kind(self) -> Mapping[str, tuple[StepInput, ...]]:
        kinds = dict.fromkeys(step.kind for step in self.steps)
        return {kind: tuple(step for step in self.steps if step.kind == kind) for kind in kinds}

    @cached_property
    def steps_sha256(self) -> str:
        return digest_of_steps(self.steps)

    @cached_property
    def readings_due(self) -> tuple[StepInput, ...]:
        """Steps on which something must be read: what they say, or what the candidate chooses."""
        return tuple(
            step for step in self.steps if step.required and step.kind in ("reading", "measurements")
        )

    @cached_property
    def diagnosis(self) -> StepInput | None:
        """The step on which a diagnosis is due, in a task of finding faults."""
        return next((step for step in self.steps if step.kind == "diagnosis"), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurandInput:
    """A measurand's present value as pinned at the start. SI units; None for what doesn't apply.

    ``other_u`` leaves out the repeat noise, whose share is ``repeat_share`` × ``repeat_sd``². The value is
    that in air of ``air_density`` (kg/m³, relative standard uncertainty ``air_u``), which ``air_source`` says
    where it comes from; empty where it is as read.
    """

    key: str
    label: str
    expected_state: str = ""
    closed_limit: float = 1.0
    open_limit: float = 1e6
    value: float | None = None
    other_u: float | None = None
    other_dof: float | None = None
    repeat_sd: float | None = None
    repeat_dof: int | None = None
    repeat_share: float | None = None
    air_density: float | None = None
    air_u: float | None = None
    air_source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentInput:
    kind: str
    tag: str
    certificate: str
    spec: Spec

    def range_for(self, *, quantity: str, si_value: float) -> RangeSpec | None:
        """The finest range that can show the value; None when the display can't."""
        try:
            return self.spec.range_for(quantity=Quantity(quantity), value_si=si_value)
        except NoRange:
            return None


class ReadingInput(NamedTuple):
    """A reading that stands. ``sequence`` is that of the first one on its step: when the work was done.

    A tuple, because a million of them are made, put in order and compared. What comes first orders them; what
    comes after ``id`` is what was read, whoever read it.
    """

    sequence: int
    step: str
    id: str
    text: str
    unit: str
    quantity: str
    qualifier: str
    si_value: float | None
    si_resolution: float | None
    instrument: str

    @property
    def read(self) -> tuple[Any, ...]:
        """What was read, less where, when and by whom."""
        return self[3:]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementInput:
    """A reading of the candidate's own choice that stands: where, and in which condition, by their slugs."""

    test_point: str
    condition: str
    reading: ReadingInput

    @property
    def key(self) -> str:
        return f"{self.test_point}/{self.condition}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceInput:
    """A test point or a condition of the rig's design. A condition has no quantity."""

    slug: str
    label: str
    quantity: str = ""


@dataclass(frozen=True, kw_only=True)
class BenchInput:
    """What can be measured where on a step of the candidate's own choice. ``terminals``: the switch's."""

    terminals: int
    test_points: tuple[PlaceInput, ...]
    conditions: tuple[PlaceInput, ...]

    def label_of(self, key: str) -> str:
        """A test in words, from its test point and condition. KeyError for one that isn't on offer."""
        test_point, condition = key.split("/")
        return f"{self._labels[test_point]}, {_lower(self._labels[condition])}"

    @cached_property
    def _labels(self) -> Mapping[str, str]:
        return {each.slug: each.label for each in (*self.test_points, *self.conditions)}


def _lower(label: str) -> str:
    return label[:1].lower() + label[1:]


class RecordInput(NamedTuple):
    """A step logged as done, an observation, a conclusion, or a photo (``answer`` is its SHA-256).

    What somebody wrote beside it is no part of what is frozen: marking has no use for it, and a person's own
    words must be erasable.
    """

    sequence: int
    step: str
    answer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultInput:
    slug: str
    label: str
    conclusion: str


@dataclass(frozen=True, kw_only=True)
class AttemptInputs:
    """``baseline_on`` is the day on which the baseline's readings began, in ISO form; empty for none.

    ``bench`` and ``measurements`` are there in a task that leaves to the candidate what to measure;
    ``measurements`` are in the order in which they were taken.
    """

    attempt: str
    version: VersionInput
    rig: str
    baseline: int | None
    floor_percent: float
    fault: FaultInput | None
    measurands: tuple[MeasurandInput, ...]
    instruments: tuple[InstrumentInput, ...]
    readings: tuple[ReadingInput, ...]
    records: tuple[RecordInput, ...]
    baseline_on: str = ""
    bench: BenchInput | None = None
    measurements: tuple[MeasurementInput, ...] = ()

    @property
    def steps(self) -> tuple[StepInput, ...]:
        return self.version.steps

    def step(self, slug: str) -> StepInput:
        return self.version.by_slug[slug]

    def measurand(self, key: str) -> MeasurandInput | None:
        return self._measurands.get(key)

    def instrument(self, kind: str) -> InstrumentInput | None:
        return self._instruments.get(kind)

    def reading_at(self, step: str) -> ReadingInput | None:
        return self._readings.get(step)

    @cached_property
    def _measurands(self) -> Mapping[str, MeasurandInput]:
        return {each.key: each for each in self.measurands}

    @cached_property
    def _instruments(self) -> Mapping[str, InstrumentInput]:
        return {each.kind: each for each in self.instruments}

    @cached_property
    def _readings(self) -> Mapping[str, ReadingInput]:
        return {each.step: each for each in self.readings}


_write = Canonical(whole=whole_as_text, number=number_as_text, alike=(MeasurandInput, InstrumentInput))

_OWN = ("attempt", "measurements", "readings", "records")  # in the order of the document
_IN_COMMON = tuple(each.name for each in fields(AttemptInputs) if each.name not in _OWN)
_in_common = attrgetter(*_IN_COMMON)


def canonical(inputs: AttemptInputs) -> bytes:
    """RFC 8785 canonical JSON. ValueError for NaN, infinity and lone surrogates, which no input may hold."""
    around_own = _around(*_in_common(inputs))
    own = (
        _write(inputs.attempt),
        _write(inputs.measurements),
        f"[{','.join([_reading(each) for each in inputs.readings])}]",
        f"[{','.join([_record(each) for each in inputs.records])}]",
        "",
    )
    return "".join(chain.from_iterable(zip(around_own, own, strict=True))).encode()


@lru_cache(maxsize=1024)
def _around(*in_common: Any) -> tuple[str, ...]:
    """What stands around an attempt's own members: alike for the attempts of a session."""
    values = dict(zip(_IN_COMMON, in_common, strict=True))
    version = values.pop("version")
    values |= {
        "task": version.task,
        "version": version.number,
        "content_sha256": version.content_sha256,
        "steps_sha256": version.steps_sha256,
    }
    texts = {name: _write(value) for name, value in values.items()}
    return around(*_OWN, others=texts)


def _reading(reading: ReadingInput) -> str:
    start, middle, end = _around_reading(reading.step, *reading.read)
    return f"{start}{text(reading.id)}{middle}{whole_as_text(reading.sequence)}{end}"


@lru_cache(maxsize=16_384)
def _around_reading(step: str, *read: Any) -> tuple[str, ...]:
    """What stands around a reading's id and its sequence: alike for those of the same figure on a step."""
    return _write.around(ReadingInput(0, step, "", *read), "id", "sequence")


_record = lru_cache(maxsize=16_384)(_write)


def digest_of_steps(steps: Iterable[StepInput]) -> str:
    """What a document has in the place of steps: the SHA-256 of their canonical form, numbers as strings."""
    return digest(_write(tuple(steps)).encode())


def steps_as_issued(steps: Iterable[Mapping[str, Any]]) -> tuple[StepInput, ...]:
    """The steps of a task as marking takes them, from the data that it is issued from."""
    return tuple(
        StepInput(
            slug=data["slug"],
            order=order,
            kind=data["kind"],
            title=data["title"],
            why=data.get("why", ""),
            safety_critical=data.get("safety_critical", False),
            required=data.get("required", True),
            judged_by=data.get("judged_by", ""),
            measurand="/".join(data.get("measurand", ())),
            expected=tuple(data.get("expected", ())),
            choices=tuple((choice["value"], choice["label"]) for choice in data.get("choices", ())),
            parameters=data.get("parameters", {}),
        )
        for order, data in enumerate(steps, start=1)
    )


def differing_steps(before: Iterable[StepInput], after: Iterable[StepInput]) -> list[str]:
    """Which steps and which of their fields differ, by the steps' slugs, as paths with both values."""
    old, new = ({step.slug: json.loads(_write(step)) for step in steps} for steps in (before, after))
    return differences(old, new, at="/steps")
