"""Cases: readings that are alike in everything that their verdicts may depend on, and so are judged once.

Sessions of a class read the same rig to the same last digit: of a thousand contacts found open, each is the
same case. A case is known by a number. What it consists of are its step with the measurand, the instrument,
what was read, and the cases of the readings that its step names; a row is made of these alone, so that no
check can look at anything else.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

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
    """What the attempts of a session on one rig have in common.

    ``slugs`` are in the order of the task, ``places`` in that of who is named by whom. Instruments are by
    kind, each with its number.
    """

    slugs: tuple[str, ...]
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
        found: dict[str, int] = {}
        for slug, place in setting.places.items():
            if (reading := readings.get(slug)) is not None:
                instrument, known = setting.instruments.get(reading.instrument, NONE_TAKEN)
                others = [found.get(other) for other in place.others]
                case = (place.number, instrument, reading.read, *others)
                number = self._numbers.get(case)
                if number is None:
                    number = self._numbers[case] = self._add(place, known, reading, others)
                found[slug] = number
        return {readings[slug].id: found[slug] for slug in setting.slugs if slug in found}

    def _add(
        self,
        place: _Place,
        instrument: InstrumentInput | None,
        reading: ReadingInput,
        others: Sequence[int | None],
    ) -> int:
        named = zip(place.others, others, strict=True)
        added = row(
            rig=place.rig,
            step=place.step,
            measurand=place.measurand,
            instrument=instrument,
            reading=reading._replace(id="", sequence=0),  # it stands for all that are alike
            others={slug: self.rows[number] for slug, number in named if number is not None},
        )
        self.rows.append(added)
        return len(self.rows) - 1

    def _setting_of(self, inputs: AttemptInputs) -> _Setting:
        rig = Rig.of(inputs)
        key = (inputs.version, inputs.measurands, inputs.instruments, rig)
        if key not in self._settings:
            steps = inputs.version.by_kind.get("reading", ())
            places = {step.slug: self._place(step, inputs, rig) for step in steps}
            self._settings[key] = _Setting(
                slugs=tuple(places),
                places=_named_first(places),
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


NONE_TAKEN: Final = (-1, None)


def _named_first(places: Mapping[str, _Place]) -> Mapping[str, _Place]:
    """Places in such an order that those which a step names stand before it, as they do in a sound task."""
    ordered: dict[str, _Place] = {}

    def add(slug: str, on_the_way: frozenset[str]) -> None:
        if slug in places and slug not in ordered and slug not in on_the_way:
            for other in places[slug].others:
                add(other, on_the_way | {slug})
            ordered[slug] = places[slug]

    for slug in places:
        add(slug, frozenset())
    return ordered
