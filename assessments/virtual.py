"""Practising on a virtual rig: starting, logging, giving up, finishing. Never an attempt, never evidence.

There are two entries in the ledger, for the start and the end: what is logged in between proves nothing, and
would only make the chain of what does longer.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID, uuid4

import numpy as np
from django.db import transaction
from django.db.models import Max

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from assessments import virtual_boards, virtual_figures
from assessments.models import Step, TaskVersion, VirtualEntry, VirtualPractice
from assessments.models.tasks import StepKind
from assessments.models.virtual import Draw
from assessments.virtual_rigs import VirtualBench, draw_bench, resembles, shows, sounds
from rigs.behaviour.faults import INSTRUMENT_FAULTS, SLIPS
from rigs.behaviour.faults import Fault as KnownFault
from rigs.behaviour.observations import Test
from rigs.behaviour.venturi import Condition as KnownCondition
from rigs.behaviour.venturi import TestPoint as KnownPoint
from rigs.faults import terminals_of
from rigs.metrology.readings import TypedReading
from rigs.models import Condition, Fault, TestPoint

ELECTRICAL: Final = frozenset(
    {
        KnownFault.STUCK_AT_REST,
        KnownFault.CONTACT_WELDED,
        KnownFault.CONTACT_OPEN,
        KnownFault.CONTACT_HIGH_RESISTANCE,
        KnownFault.NC_CONTACT_OPEN,
        KnownFault.NC_AND_NO_EXCHANGED,
    }
)
FINISHED: Final = "This practice is finished: nothing can be added to it. Start again for another rig."
REVEALED: Final = "The fault is out: there is nothing more to find on this rig. Start again for another one."
MOST_MEASUREMENTS: Final = 200
MOST_DRAWS: Final = 100
LAMP: Final = 5_000
FREE: Final = 10_000
"""Where the numbers of the lamp and of free measurements begin; a step's is its place. Each has its noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A measurement of one's own choice, the number-th of its practice."""

    test_point: TestPoint
    condition: Condition
    number: int

    @property
    def test(self) -> Test:
        return Test.of(f"{self.test_point.slug}/{self.condition.slug}")


@transaction.atomic
def start(
    *,
    id: UUID,  # noqa: A002 - made in the form, so that sending it twice starts it once
    candidate: Person,
    version: TaskVersion,
    draw: Draw,
    cautions_read: bool,
    seed: int,
    at: datetime,
) -> VirtualPractice:
    """Draw a rig for this practice alone, and a fault if the task is to find one. The same id starts it once.

    The rig is drawn again, from the next seed, as long as it resembles one on the bench. Prerequisites,
    holds and sessions don't matter here. Refused for a task that no virtual rig can stand in for.
    """
    known = VirtualPractice.objects.filter(pk=id, candidate=candidate).first()
    if known is not None:
        return known
    _require_practisable(candidate, version, draw, cautions_read=cautions_read)
    terminals = terminals_of(point.slug for point in version.design.test_points.all())
    seed, bench = _unlike_real_ones(version, seed=seed, terminals=terminals)
    practice, is_new = VirtualPractice.objects.get_or_create(
        pk=id,
        candidate=candidate,
        defaults={
            "version": version,
            "seed": seed,
            "drawn": bench.written(),
            "draw": draw,
            "fault": _drawn_fault(version, draw, seed=seed),
            "started_at": at,
        },
    )
    if is_new:
        _log("virtual-practice.start", practice, at=at)
    return practice


@transaction.atomic
def log(
    *,
    practice: VirtualPractice,
    step: Step,
    id: UUID,  # noqa: A002 - as above
    candidate: Person,
    at: datetime,
    typed: TypedReading | None = None,
    measured: Measured | None = None,
    answer: str = "",
    note: str = "",
) -> VirtualEntry:
    """Log a step as done, an answer, or a reading, beside what the display showed.

    The same under the same id is logged once; a step logged again takes the place of what stood on it, be it
    sent from a page that had come back with the same id. Refused once the practice is finished, and for
    measurements and the diagnosis once the fault is out.
    """
    held = _own_locked(practice, candidate)
    known = VirtualEntry.objects.filter(pk=id).first()
    if known is not None and known.practice_id == held.pk and known.says == _says(step, typed, answer, note):
        return known
    _require_open_for(held, step)
    _require_complete(step, typed=typed, measured=measured, answer=answer, note=note)
    entry = VirtualEntry(
        pk=uuid4() if known else id,
        practice=held,
        step=step,
        sequence=(held.entries.aggregate(last=Max("sequence"))["last"] or 0) + 1,
        at=at,
        answer=answer,
        note=note.strip(),
    )
    if measured is not None:
        entry.test_point, entry.condition = measured.test_point, measured.condition
        entry.shown = shown_at(practice=held, measured=measured)
    else:
        by_slug = {each.slug: each for each in _steps(held.version)}
        entry.shown = shown_on_step(practice=held, step=by_slug[step.slug], by_slug=by_slug)
    if typed is not None:
        entry.text, entry.unit, entry.qualifier = typed.text, typed.unit or "", typed.qualifier
        entry.si_value, entry.si_resolution = typed.si_value, typed.si_resolution
    entry.save(force_insert=True)
    return entry


@transaction.atomic
def give_up(*, practice: VirtualPractice, candidate: Person, at: datetime) -> VirtualPractice:
    """Show what was set. After it there is nothing more to find."""
    held = _own_locked(practice, candidate)
    if not is_revealed(held):
        held.given_up_at = at
        held.save(update_fields=["given_up_at"])
    return held


@transaction.atomic
def finish(*, practice: VirtualPractice, candidate: Person, at: datetime) -> VirtualPractice:
    """End a practice, however much of it is done. Finishing twice is the same as once."""
    held = _own_locked(practice, candidate)
    if held.finished_at is None:
        held.finished_at = at
        held.save(update_fields=["finished_at"])
        _log("virtual-practice.finish", held, at=at)
    return held


def is_revealed(practice: VirtualPractice) -> bool:
    """Whether the fault is out: a diagnosis was stated, the search given up, or the practice finished."""
    return (
        practice.draw == Draw.NOTHING
        or practice.given_up_at is not None
        or practice.finished_at is not None
        or practice.entries.filter(step__kind=StepKind.DIAGNOSIS).exists()
    )


def shown_on_step(*, practice: VirtualPractice, step: Step, by_slug: Mapping[str, Step]) -> str:
    """What the display shows on a step of the task, of which ``by_slug`` has all; empty without a display."""
    test = virtual_boards.test_of(step, by_slug)
    return "" if test is None else shown(practice=practice, test=test, number=step.position)


def shown_at(*, practice: VirtualPractice, measured: Measured) -> str:
    """What the display shows for a measurement of one's own choice."""
    return shown(practice=practice, test=measured.test, number=FREE + measured.number)


def shown(*, practice: VirtualPractice, test: Test, number: int) -> str:
    return shows(
        VirtualBench.read(practice.drawn),
        test=test,
        fault=None if practice.fault is None else KnownFault(practice.fault.slug),
        seed=practice.seed,
        number=number,
    )


def lamp_lights(practice: VirtualPractice, *, running: bool) -> bool:
    """Whether the board's proved-air lamp is lit: it is on the contacts, whatever the instruments do."""
    fault = None if practice.fault is None else KnownFault(practice.fault.slug)
    text = shows(
        VirtualBench.read(practice.drawn),
        test=Test(
            condition=KnownCondition.FAN_RUNNING if running else KnownCondition.FAN_OFF,
            at=KnownPoint.CONTACTS,
        ),
        fault=None if fault in INSTRUMENT_FAULTS - {KnownFault.TUBES_CROSSED_MANOMETER_REVERSED} else fault,
        seed=practice.seed,
        number=LAMP,
    )
    return sounds(text)


def draws_for(version: TaskVersion) -> list[Draw]:
    """What a person may choose from: a fault only where the task is to find one, and the design has such."""
    if not virtual_boards.searches_for_a_fault(version.steps.all()):
        return [Draw.NOTHING]
    known = list(_known_faults(version))
    return [draw for draw in Draw if draw != Draw.NOTHING and (draw == Draw.ANY or _among(known, draw))]


def _require_practisable(candidate: Person, version: TaskVersion, draw: Draw, *, cautions_read: bool) -> None:
    if version.task.centre_id != candidate.centre_id:
        raise Refused("That task belongs to another centre.")
    if version.withdrawn_at is not None:
        raise Refused("This version of the task was withdrawn. Go back and pick the task again.")
    if not virtual_boards.can_stand_in(version):
        raise Refused("No virtual rig can stand in for this task: do it on the bench.")
    if draw not in draws_for(version):
        raise Refused("Choose one of those that this task offers.", field="draw")
    if not cautions_read:
        raise Refused("Read the cautions and confirm them first.", field="cautions_read")


def _unlike_real_ones(version: TaskVersion, *, seed: int, terminals: int) -> tuple[int, VirtualBench]:
    """The first seed from this one on whose rig is none of the centre's, as far as is known of those."""
    real = virtual_figures.real_figures(centre=version.task.centre)
    for each in range(seed, seed + MOST_DRAWS):
        bench = draw_bench(seed=each, terminals=terminals)
        if not resembles(bench.rig, real=real):
            return each, bench
    raise Refused("Every rig that was drawn came too near to one on the bench. Try again.")


def _drawn_fault(version: TaskVersion, draw: Draw, *, seed: int) -> Fault | None:
    """One of the design's faults, each as likely as the others, and as nothing where that may be, too."""
    if draw == Draw.NOTHING:
        return None
    found: list[Fault | None] = [*_among(_known_faults(version), draw)]
    if draw == Draw.ANY:
        found.append(None)
    # A stream of its own, so that the fault tells nothing of the rig.
    return found[int(np.random.default_rng([seed, 1]).integers(len(found)))]


def _known_faults(version: TaskVersion) -> Iterable[Fault]:
    """The design's faults that the model knows; slips of the pen are the person's own to make."""
    known = {str(fault) for fault in KnownFault} - {str(slip) for slip in SLIPS}
    return [fault for fault in version.design.faults.all() if fault.slug in known]


def _among(faults: Iterable[Fault], draw: Draw) -> list[Fault]:
    return [fault for fault in faults if draw in {Draw.ANY, _sort_of(KnownFault(fault.slug))}]


def _sort_of(fault: KnownFault) -> Draw:
    if fault in INSTRUMENT_FAULTS:
        return Draw.INSTRUMENT
    return Draw.ELECTRICAL if fault in ELECTRICAL else Draw.PNEUMATIC


def _steps(version: TaskVersion) -> Iterable[Step]:
    return version.steps.select_related("condition", "measurand__test_point", "measurand__condition")


def _own_locked(practice: VirtualPractice, candidate: Person) -> VirtualPractice:
    held = (
        VirtualPractice.objects.select_for_update(of=("self",))
        .select_related("version__design", "version__task__centre", "fault", "candidate")
        .get(pk=practice.pk)
    )
    if held.candidate_id != candidate.pk:
        raise Refused("This practice belongs to somebody else.")
    return held


def _require_open_for(practice: VirtualPractice, step: Step) -> None:
    if practice.finished_at is not None:
        raise Refused(FINISHED)
    if step.version_id != practice.version_id:
        raise Refused("That step isn't part of this task.")
    if step.kind in {StepKind.MEASUREMENTS, StepKind.DIAGNOSIS} and is_revealed(practice):
        raise Refused(REVEALED)
    if step.kind == StepKind.MEASUREMENTS and practice.entries.filter(step=step).count() >= MOST_MEASUREMENTS:
        raise Refused(f"{MOST_MEASUREMENTS} measurements are enough for one practice: state your diagnosis.")
    if step.kind == StepKind.DIAGNOSIS and not practice.entries.exclude(qualifier="").exists():
        raise Refused("Measure something first: a diagnosis follows from readings.")


def _require_complete(
    step: Step, *, typed: TypedReading | None, measured: Measured | None, answer: str, note: str
) -> None:
    is_read = step.kind in {StepKind.READING, StepKind.MEASUREMENTS}
    if is_read != (typed is not None) or (step.kind == StepKind.MEASUREMENTS) != (measured is not None):
        raise Refused("That step takes another kind of entry.")
    if step.choices and answer not in {choice["value"] for choice in step.choices}:
        raise Refused("Choose one of the answers.", field="answer")
    if step.kind in {StepKind.DIAGNOSIS, StepKind.CONCLUSION} and not note.strip():
        raise Refused("Give the reason, in a sentence from your own readings.", field="note")


def _says(step: Step, typed: TypedReading | None, answer: str, note: str) -> tuple[object, ...]:
    read = ("", "") if typed is None else (typed.text, typed.unit or "")
    return step.pk, *read, answer, note.strip()


def _log(verb: str, practice: VirtualPractice, *, at: datetime) -> None:
    ledger.append(
        centre=practice.version.task.centre,
        actor=practice.candidate,
        verb=verb,
        subject=practice.pk,
        at=at,
        facts={"version": str(practice.version_id)},
    )
