"""Everything that an attempt is marked from, as frozen values, and its canonical form.

The SHA-256 of the canonical JSON (RFC 8785) is kept with every outcome: the same inputs give the same
outcome, and a changed input shows.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

import rfc8785

from rigs.metrology.instruments import NoRange, RangeSpec, Spec
from rigs.metrology.quantities import Quantity


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


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurandInput:
    """A measurand's present value as pinned at the start. SI units; None for what doesn't apply.

    ``other_u`` leaves out the repeat noise, whose share is ``repeat_share`` × ``repeat_sd``².
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


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingInput:
    """A reading that stands. ``sequence`` is that of the first one on its step: when the work was done."""

    id: str
    step: str
    sequence: int
    text: str
    unit: str
    quantity: str
    qualifier: str
    si_value: float | None
    si_resolution: float | None
    instrument: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordInput:
    """A step logged as done, an observation, a conclusion, or a photo (``answer`` is its SHA-256)."""

    step: str
    sequence: int
    answer: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultInput:
    slug: str
    label: str
    conclusion: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptInputs:
    """``baseline_on`` is the day on which the baseline's readings began, in ISO form; empty for none."""

    attempt: str
    task: str
    version: int
    content_sha256: str
    rig: str
    baseline: int | None
    floor_percent: float
    fault: FaultInput | None
    steps: tuple[StepInput, ...]
    measurands: tuple[MeasurandInput, ...]
    instruments: tuple[InstrumentInput, ...]
    readings: tuple[ReadingInput, ...]
    records: tuple[RecordInput, ...]
    baseline_on: str = ""

    def step(self, slug: str) -> StepInput:
        return next(each for each in self.steps if each.slug == slug)

    def measurand(self, key: str) -> MeasurandInput | None:
        return next((each for each in self.measurands if each.key == key), None)

    def instrument(self, kind: str) -> InstrumentInput | None:
        return next((each for each in self.instruments if each.kind == kind), None)

    def reading_at(self, step: str) -> ReadingInput | None:
        return next((each for each in self.readings if each.step == step), None)


def canonical(inputs: AttemptInputs) -> bytes:
    """RFC 8785 canonical JSON. Raises for NaN and infinity, which no input may hold."""
    return bytes(rfc8785.dumps(plain(asdict(inputs))))


def plain(value: Any) -> Any:
    """Nested data with tuples as lists and members of enumerations as their texts, as JSON has them."""
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return str(value) if isinstance(value, StrEnum) else value


def digest(document: bytes) -> str:
    return hashlib.sha256(document).hexdigest()


def differences(before: Any, after: Any, *, at: str = "") -> list[str]:
    """Where two documents differ, as paths with both values, in order."""
    if isinstance(before, dict) and isinstance(after, dict):
        keys = sorted(before.keys() | after.keys())
        return [
            line for key in keys for line in differences(before.get(key), after.get(key), at=f"{at}/{key}")
        ]
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        pairs = enumerate(zip(before, after, strict=True))
        return [line for index, (old, new) in pairs for line in differences(old, new, at=f"{at}/{index}")]
    return [] if before == after else [f"{at or '/'}: was {before!r}, is {after!r}"]
