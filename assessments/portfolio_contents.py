"""What is in a candidate's portfolio: looked up once, laid out for the document and for its record."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from academy.models import Membership, Person
from assessments import disclosure, observing, outcomes
from assessments.coverage import Coverage, Decided, coverage, decided_attempts, prior_achievements
from assessments.marking.observed import Observed
from assessments.models import (
    Attempt,
    AttemptInstrument,
    Observation,
    OralAnswer,
    Photo,
    PriorAchievement,
    Reading,
    SignOff,
    Step,
    StepRecord,
)
from assessments.models.attempts import Purpose
from assessments.showing import Shown, ShownReading, laid_out
from assessments.working.lines import WorkingRow, side_by_side

READINGS_ABREAST = 4
"""Workings that fit beside one another on a page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPhoto:
    """A photo as the document names it, and where it is stored. ``why`` says why it replaced another."""

    name: str
    path: str
    title: str
    at: datetime
    sha256: str
    received_sha256: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingTable:
    readings: tuple[ShownReading, ...]
    rows: tuple[WorkingRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One attempt with its decision. Without numbers there is nothing in it of what the rig reads."""

    number: int
    attempt: Attempt
    signed: SignOff
    with_numbers: bool
    instruments: tuple[AttemptInstrument, ...]
    sheet: Shown
    workings: tuple[WorkingTable, ...]
    photos: tuple[KeptPhoto, ...]
    observed: Observed | None
    answers: tuple[OralAnswer, ...]

    @property
    def counts(self) -> bool:
        return Decided(number=self.number, attempt=self.attempt, signed=self.signed).counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Portfolio:
    """``with_ranges``: a copy for staff. A candidate's own has numbers only where they may see them."""

    candidate: Person
    cohorts: tuple[str, ...]
    with_ranges: bool
    coverage: Coverage
    priors: tuple[PriorAchievement, ...]
    entries: tuple[Entry, ...]

    @property
    def has_numbers(self) -> bool:
        return any(entry.with_numbers for entry in self.entries)

    @property
    def rigs_with_numbers(self) -> dict[UUID, Attempt]:
        """One attempt on each rig whose numbers are in it, by the rig's id."""
        numbered = [entry.attempt for entry in self.entries if entry.with_numbers and entry.attempt.sheet_id]
        return {attempt.rig_id: attempt for attempt in numbered}


def contents(*, candidate: Person, with_ranges: bool, on: date) -> Portfolio:
    """Everything in a candidate's portfolio, in a constant number of queries.

    Attempts that aren't signed off are no part of it. ``on`` is the day on which a candidate's own copy must
    not give away what is still to be assessed.
    """
    decided = decided_attempts(_with_everything(), candidate=candidate)
    priors = prior_achievements(candidate)
    seen = _with_numbers(decided, candidate=candidate, with_ranges=with_ranges, on=on)
    cohorts = (
        Membership.objects.filter(person=candidate)
        .order_by("joined_on")
        .values_list("cohort__name", flat=True)
    )
    return Portfolio(
        candidate=candidate,
        cohorts=tuple(cohorts),
        with_ranges=with_ranges,
        coverage=coverage(candidate=candidate, decided=decided, priors=priors),
        priors=priors,
        entries=tuple(_entry(each, with_numbers=each.attempt.pk in seen) for each in decided),
    )


def _with_everything() -> QuerySet[Attempt]:
    steps = Step.objects.select_related("condition", "measurand__condition").order_by("position")
    taken = AttemptInstrument.objects.select_related("instrument__model", "calibration")
    readings = Reading.objects.in_order().select_related(
        "step", "instrument__instrument", "test_point", "condition"
    )
    return Attempt.objects.select_related(
        "session", "sheet__baseline", "sheet__rig_check", "fault__fault", "transcribed_by"
    ).prefetch_related(
        "prompts__step",
        "returns__steps",
        "returns__returned_by",
        Prefetch("version__steps", steps),
        Prefetch("instruments", taken),
        Prefetch("readings", readings),
        Prefetch("records", StepRecord.objects.in_order()),
        Prefetch("photos", Photo.objects.in_order().select_related("step")),
        Prefetch("observations", Observation.objects.current()),
        Prefetch("oral_answers", OralAnswer.objects.current().select_related("questions", "by")),
    )


def _with_numbers(decided: Sequence[Decided], *, candidate: Person, with_ranges: bool, on: date) -> set[UUID]:
    """The attempts, by id, whose numbers may be in this copy: as `disclosure.candidate_may_see`, for many."""
    if with_ranges:
        return {each.attempt.pk for each in decided}
    assessed = [each.attempt for each in decided if each.attempt.purpose == Purpose.ASSESSMENT]
    rigs = {attempt.rig_id: attempt.rig for attempt in assessed}
    withheld = disclosure.withheld(person=candidate, rigs=list(rigs.values()), on=on)
    return {
        attempt.pk
        for attempt in assessed
        if attempt.rig_id not in withheld and not disclosure.seeks_a_fault(attempt.version.steps.all())
    }


def _entry(decided: Decided, *, with_numbers: bool) -> Entry:
    attempt = decided.attempt
    photos = list(attempt.photos.all())
    standing = _standing(photos)
    sheet = laid_out(
        steps=list(attempt.version.steps.all()),
        readings=list(attempt.readings.all()),
        records=list(attempt.records.all()),
        photos=standing,
        marking=outcomes.marking_of(decided.signed.outcome),
        with_numbers=with_numbers,
    )
    return Entry(
        number=decided.number,
        attempt=attempt,
        signed=decided.signed,
        with_numbers=with_numbers,
        instruments=tuple(attempt.instruments.all()),
        sheet=sheet,
        workings=tuple(_workings(sheet.readings)),
        photos=tuple(_kept(each) for each in standing),
        observed=observing.compare(
            steps=attempt.version.steps.all(),
            seen=attempt.observations.all(),
            logged=observing.logged_of(attempt),
        ),
        answers=tuple(attempt.oral_answers.all()),
    )


def _standing(photos: Sequence[Photo]) -> list[Photo]:
    replaced = {photo.supersedes_id for photo in photos}
    return [photo for photo in photos if photo.pk not in replaced]


def _kept(photo: Photo) -> KeptPhoto:
    return KeptPhoto(
        name=f"{photo.pk}.jpg",
        path=str(photo.file.name),
        title=photo.step.title,
        at=photo.received_at,
        sha256=photo.sha256,
        received_sha256=photo.received_sha256,
        why=photo.reason,
    )


def _workings(readings: Iterable[ShownReading]) -> Iterable[WorkingTable]:
    """Those with the same numbers behind them beside one another: their lines are the same."""
    kinds: dict[type, list[ShownReading]] = defaultdict(list)
    for reading in readings:
        if reading.working:
            kinds[type(reading.mark.numbers)].append(reading)
    for worked in kinds.values():
        for first in range(0, len(worked), READINGS_ABREAST):
            abreast = tuple(worked[first : first + READINGS_ABREAST])
            yield WorkingTable(readings=abreast, rows=side_by_side([reading.working for reading in abreast]))
