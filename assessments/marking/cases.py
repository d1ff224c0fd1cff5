"""Cases: readings that are alike in everything that their verdicts may depend on, and so are judged once.

Sessions of a class read the same rig to the same last digit: of a thousand contacts found open, each is the
same case. A case is known by a number. What it consists of are its step with the measurand, the instrument,
what was read, and the cases of the readings that its step names; a row is made of these alone, so that no
check can look at anything else.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from assessments.marking import parameters
from assessments.marking.inputs import (
    AttemptInputs,
    InstrumentInput,
    MeasurandInput,
    ReadingInput,
    StepInput,
)
from assessments.marking.rows import Rig, Row, row


class _Place(NamedTuple):
    """A step on a rig as it was, with the steps whose readings its own is compared with."""

    number: int
    step: StepInput
    measurand: MeasurandInput | None
    rig: Rig
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """What the attempts of a session on one rig have in common. Instruments are by kind, with their number."""

    places: Mapping[str, _Place]
    instruments: Mapping[str, tuple[int, InstrumentInput | None]]


class Cases:
    """The distinct cases among the readings of many attempts: ``rows[number]`` is one."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self._numbers: dict[Any, int] = {}
        self._settings: dict[Any, _Setting] = {}
        self._parts: dict[Any, int] = {}

    def numbered(self, inputs: AttemptInputs) -> dict[str, int]:
        """The case of each of an attempt's readings by its id, in the order of its steps."""
        setting = self._setting_of(inputs)
        readings = {each.step: each for each in inputs.readings}
        found: dict[str, int | None] = {}
        return {
            readings[slug].id: self._number(slug, setting, readings, found)
            for slug in setting.places
            if slug in readings
        }

    def _number(
        self,
        slug: str,
        setting: _Setting,
        readings: Mapping[str, ReadingInput],
        found: dict[str, int | None],
    ) -> int | None:
        """The case of the reading on a step; None where there is none."""
        if slug in found:
            return found[slug]
        found[slug] = None  # a step that leads back to itself finds nothing there
        if slug not in readings or slug not in setting.places:
            return None
        reading, place = readings[slug], setting.places[slug]
        instrument, known = setting.instruments.get(reading.instrument, (-1, None))
        others = [self._number(other, setting, readings, found) for other in place.others]
        case = (place.number, instrument, reading.read, *others)
        number = self._numbers.get(case)
        if number is None:
            number = self._numbers[case] = len(self.rows)
            self.rows.append(
                row(
                    rig=place.rig,
                    step=place.step,
                    measurand=place.measurand,
                    instrument=known,
                    reading=reading._replace(id="", sequence=0),  # it stands for all that are alike
                    others={
                        name: self.rows[other]
                        for name, other in zip(place.others, others, strict=True)
                        if other is not None
                    },
                )
            )
        found[slug] = number
        return number

    def _setting_of(self, inputs: AttemptInputs) -> _Setting:
        key = (inputs.version, inputs.measurands, inputs.instruments, rig := Rig.of(inputs))
        if key not in self._settings:
            self._settings[key] = _Setting(
                places={step.slug: self._place(step, inputs, rig) for step in _read_on(inputs)},
                instruments={each.kind: (self._part(each), each) for each in inputs.instruments},
            )
        return self._settings[key]

    def _place(self, step: StepInput, inputs: AttemptInputs, rig: Rig) -> _Place:
        measurand = inputs.measurand(step.measurand)
        return _Place(
            number=self._part((inputs.version.steps_sha256, step.slug, measurand, rig)),
            step=step,
            measurand=measurand,
            rig=rig,
            others=tuple(each for each in parameters.named_by(step) if each != step.slug),
        )

    def _part(self, part: Any) -> int:
        return self._parts.setdefault(part, len(self._parts))


def _read_on(inputs: AttemptInputs) -> Iterable[StepInput]:
    return (step for step in inputs.steps if step.kind == "reading")
