"""An attempt laid out for a reader: readings with their verdicts, the procedure as a time line, photos.

The same layout serves the assessor's page, the candidate's result and the portfolio. Without numbers, for
people kept from a rig's ranges, verdicts are words alone: no strip, no working.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from academy.strip import Strip
from assessments.marking.results import Finding, FindingKind, Marking, ReadingMark, StrandResult
from assessments.models import Attempt, Photo, Reading, Step, StepRecord
from assessments.models.tasks import StepKind
from assessments.shown_diagnosis import ShownDiagnosis, shown_diagnosis
from assessments.strips import strip_of
from assessments.working.kinds import working_of
from assessments.working.lines import WorkingLine
from rigs.metrology.conformity import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class StruckOut:
    """An entry that a later one superseded, and why."""

    text: str
    unit: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownReading:
    mark: ReadingMark
    sentence: str
    condition: str
    instrument: str
    on_paper: bool
    struck_out: tuple[StruckOut, ...]
    strip: Strip | None
    working: tuple[WorkingLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownStep:
    """One line of the procedure. ``state`` is done, missing, out-of-order or not-assessed."""

    number: int
    title: str
    state: str
    critical: bool
    at: datetime | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPhoto:
    id: UUID
    title: str
    at: datetime
    sha256: str
    is_kept: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    readings: tuple[ShownReading, ...]
    missing: tuple[Finding, ...]
    steps: tuple[ShownStep, ...]
    photos: tuple[ShownPhoto, ...]
    conclusions: tuple[ShownStep, ...]
    strands: tuple[tuple[str, StrandResult], ...]
    diagnosis: ShownDiagnosis | None = None

    @property
    def notable(self) -> tuple[ShownReading, ...]:
        """The readings that aren't simply in range: what to look at first."""
        return tuple(each for each in self.readings if each.mark.verdict is not Verdict.IN_RANGE)


def shown(*, attempt: Attempt, marking: Marking, with_numbers: bool) -> Shown:
    """Lay out an attempt with one of its markings. A constant number of queries."""
    return laid_out(
        steps=list(attempt.version.steps.select_related("condition", "measurand__condition")),
        readings=list(
            attempt.readings.in_order().select_related(
                "step", "instrument__instrument", "test_point", "condition"
            )
        ),
        records=list(attempt.records.in_order()),
        photos=list(attempt.photos.current().in_order().select_related("step")),
        marking=marking,
        with_numbers=with_numbers,
    )


def laid_out(
    *,
    steps: Sequence[Step],
    readings: Sequence[Reading],
    records: Sequence[StepRecord],
    photos: Sequence[Photo],
    marking: Marking,
    with_numbers: bool,
) -> Shown:
    """The same from what was looked up before: all entries in order, but only the photos that stand."""
    return Shown(
        readings=_readings(steps, readings, marking, with_numbers=with_numbers),
        missing=marking.readings.findings,
        steps=time_line(
            steps,
            {**_first_times([*readings, *photos]), **_first_times(records)},
            records,
            marking,
            on_paper={each.step_id for each in (*readings, *records) if each.on_paper},
        ),
        photos=tuple(
            ShownPhoto(
                id=each.pk,
                title=each.step.title,
                at=each.received_at,
                sha256=each.sha256,
                is_kept=bool(each.file),
            )
            for each in photos
        ),
        conclusions=_conclusions(steps, records),
        strands=(
            ("Procedure", marking.procedure),
            ("Readings", marking.readings),
            ("Conclusion", marking.conclusion),
        ),
        diagnosis=(
            None
            if marking.diagnosis is None
            else shown_diagnosis(
                marking.diagnosis, steps=steps, readings=readings, records=records, with_numbers=with_numbers
            )
        ),
    )


def _readings(
    steps: Iterable[Step], readings: Iterable[Reading], marking: Marking, *, with_numbers: bool
) -> tuple[ShownReading, ...]:
    by_slug = {step.slug: step for step in steps}
    by_id = {str(reading.pk): reading for reading in readings}
    old: dict[UUID, Reading] = {each.pk: each for each in by_id.values()}
    return tuple(
        _reading(mark, by_slug[mark.step], by_id[mark.reading], old, with_numbers=with_numbers)
        for mark in marking.marks
    )


def _reading(
    mark: ReadingMark, step: Step, reading: Reading, old: Mapping[UUID, Reading], *, with_numbers: bool
) -> ShownReading:
    return ShownReading(
        mark=mark,
        sentence=mark.sentence if with_numbers else mark.words,
        condition=step.condition.label if step.condition else "",
        instrument=reading.instrument.instrument.tag,
        on_paper=reading.on_paper,
        struck_out=tuple(_struck_out(reading, old)),
        strip=strip_of(mark) if with_numbers else None,
        working=working_of(mark) if with_numbers else (),
    )


def _struck_out(reading: Reading, old: Mapping[UUID, Reading]) -> Iterable[StruckOut]:
    while reading.supersedes_id is not None:
        before = old[reading.supersedes_id]
        yield StruckOut(text=before.text, unit=before.unit, reason=reading.reason)
        reading = before


def _first_times(entries: Iterable[Reading | StepRecord | Photo]) -> dict[int, datetime | None]:
    """When each step was first logged, by its id; None where a log sheet doesn't say."""
    times: dict[int, datetime | None] = {}
    for entry in entries:
        times.setdefault(entry.step_id, entry.done_at)
    return times


def time_line(
    steps: Iterable[Step],
    times: Mapping[int, datetime | None],
    records: Iterable[StepRecord],
    marking: Marking,
    *,
    on_paper: Collection[int] = (),
) -> tuple[ShownStep, ...]:
    """The procedure, step by step. ``times`` says when each was first logged, by the step's id.

    Those ``on_paper`` were typed in from a log sheet.
    """
    findings = {finding.step: finding for finding in marking.procedure.findings}
    taken_back = {record.step_id for record in records if not record.done}
    return tuple(
        ShownStep(
            number=step.position,
            title=step.title,
            state=_state(step, times, findings),
            critical=step.safety_critical,
            at=times.get(step.pk),
            note=_note(step, findings, taken_back, on_paper=step.pk in on_paper),
        )
        for step in steps
    )


STATES = {
    FindingKind.MISSING: "missing",
    FindingKind.OUT_OF_ORDER: "out-of-order",
    FindingKind.UNEXPECTED: "not-met",
}


def _state(step: Step, times: Mapping[int, datetime | None], findings: Mapping[str, Finding]) -> str:
    if step.slug in findings:
        return STATES[findings[step.slug].kind]
    if step.pk in times:
        return "done"
    return "missing" if step.required else "not-assessed"


def _note(step: Step, findings: Mapping[str, Finding], taken_back: set[int], *, on_paper: bool) -> str:
    finding = findings.get(step.slug)
    notes = [finding.sentence] if finding else []
    if step.pk in taken_back:
        notes.append("Taken back once.")
    if on_paper:
        notes.append("From the log sheet.")
    return " ".join(notes)


def _conclusions(steps: Iterable[Step], records: Iterable[StepRecord]) -> tuple[ShownStep, ...]:
    latest = {record.step_id: record for record in records if record.done}
    return tuple(
        ShownStep(
            number=step.position,
            title=step.label_of(latest[step.pk].answer),
            state="done",
            critical=False,
            at=latest[step.pk].done_at,
            note=latest[step.pk].note,
        )
        for step in steps
        if step.kind == StepKind.CONCLUSION and step.pk in latest
    )
