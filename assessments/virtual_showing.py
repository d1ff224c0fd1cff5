"""A practice laid out for whoever does it: what was logged, what the display showed, and its verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assessments.displays import Display
from assessments.marking.results import Marking, ReadingMark
from assessments.models import Step, VirtualEntry
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.showing import ShownReading
from assessments.shown_diagnosis import ShownDiagnosis, laid_out, shown_test
from assessments.strips import strip_of
from assessments.virtual_rigs import MANOMETER, MULTIMETER, NAMES, sounds
from assessments.working.kinds import working_of
from rigs.metrology.quantities import Qualifier, Quantity
from rigs.metrology.readings import ReadingError, parse

TIE = 1 + 1e-9
NOT_GOT = frozenset({Qualifier.NOT_OBTAINED, Qualifier.NOT_ATTEMPTED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """An entry, for a reading with its verdict, and whether it is what the display showed.

    ``differs`` says in words what the display showed, where something else was written down.
    """

    entry: VirtualEntry
    reading: ShownReading | None
    differs: str


def display_of(text: str, *, quantity: str, judged_by: str = "") -> Display:
    """The instrument that reads a quantity, with what it shows."""
    is_pressure = quantity == Quantity.PRESSURE
    kind, spec = ("manometer", MANOMETER) if is_pressure else ("multimeter", MULTIMETER)
    tone = sounds(text) if judged_by == ReadingCheck.TONE else None
    return Display.of(text, unit=spec.unit, instrument=NAMES[kind], tone=tone)


def logged(entry: VirtualEntry, *, step: Step, marks: Sequence[ReadingMark] = ()) -> Logged:
    """An entry beside the mark that is its own. Without one there is no verdict."""
    quantity = entry.test_point.quantity if entry.test_point else step.quantity
    mark = next((mark for mark in marks if mark.reading == str(entry.pk)), None)
    return Logged(
        entry=entry,
        reading=None if mark is None else _shown(mark, step),
        differs=differs(entry, quantity=quantity, judged_by=step.judged_by),
    )


def shown_readings(
    marking: Marking, *, steps: Mapping[str, Step], entries: Sequence[VirtualEntry]
) -> list[Logged]:
    """Every judged reading, in the order of the steps."""
    by_id = {str(entry.pk): entry for entry in entries}
    return [
        logged(by_id[mark.reading], step=steps[mark.step], marks=[mark])
        for mark in marking.marks
        if mark.reading in by_id
    ]


def shown_search(marking: Marking, *, entries: Sequence[VirtualEntry]) -> ShownDiagnosis | None:
    """The diagnosis with everything behind it: on a virtual rig nothing of it is a secret."""
    found = marking.diagnosis
    if found is None:
        return None
    by_id = {str(entry.pk): entry for entry in entries}
    reasons = [entry.note for entry in entries if entry.step.kind == StepKind.DIAGNOSIS]
    return laid_out(
        found,
        reason=reasons[-1] if reasons else "",
        tests=[
            shown_test(number, made, instrument=_instrument_of(by_id[made.reading]), with_numbers=True)
            for number, made in enumerate(found.tests, start=1)
        ],
        with_numbers=True,
    )


def differs(entry: VirtualEntry, *, quantity: str, judged_by: str) -> str:
    """What the display showed, if it isn't what was written down; nothing where nothing was on a display."""
    if not entry.is_reading or not entry.shown:
        return ""
    if judged_by == ReadingCheck.TONE:
        wanted = Qualifier.TONE if sounds(entry.shown) else Qualifier.NO_TONE
        return "" if entry.qualifier == wanted else ("a tone" if wanted is Qualifier.TONE else "no tone")
    display = display_of(entry.shown, quantity=quantity)
    shown = f"{display.text} {display.unit}" if display.text != "OL" else display.text
    try:
        found = parse(entry.shown, quantity=Quantity(quantity), unit=display.unit)
    except ReadingError:
        return ""
    if found.qualifier != entry.qualifier:
        return shown
    if found.si_value is None or entry.si_value is None:
        return ""
    finest = min(found.si_resolution or 0.0, entry.si_resolution or 0.0) / 2
    return "" if abs(found.si_value - entry.si_value) <= finest * TIE else shown


def _instrument_of(entry: VirtualEntry) -> str:
    if entry.test_point is None:
        return NAMES.get(entry.step.instrument_kind, "")
    return NAMES["manometer" if entry.test_point.quantity == Quantity.PRESSURE else "multimeter"]


def _shown(mark: ReadingMark, step: Step) -> ShownReading:
    return ShownReading(
        mark=mark,
        sentence=mark.sentence,
        condition=step.condition.label if step.condition else "",
        instrument=NAMES.get(step.instrument_kind, ""),
        on_paper=False,
        struck_out=(),
        strip=strip_of(mark),
        working=working_of(mark),
    )
