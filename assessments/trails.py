"""One candidate's work on one task, from evidence to decision: what was worked with, and what followed.

Rigs and instruments are shown as they stood then: the sheet and the certificates that an attempt was pinned
to, and the holds of its day. It has a rig's values in it: whoever is shown one isn't assessed on that rig.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from academy.models import Person
from assessments import flags
from assessments.marking.plausibility import Flag
from assessments.models import (
    Attempt,
    AttemptInstrument,
    ImpactItem,
    Outcome,
    PriorAchievement,
    SampledDecision,
    SignOff,
    Task,
)
from assessments.trail_events import Event, events_of
from rigs import readouts
from rigs.due_dates import Due, due
from rigs.models import BaselineReading, Calibration, CheckReading, Hold, SheetValue


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldThen:
    """A hold of that day. ``during``: it was on while the attempt was worked."""

    hold: Hold
    during: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A reference instrument that the rig was read with, and the certificate in force then."""

    tag: str
    calibration: Calibration | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RigThen:
    """``values`` are of the sheet that the attempt is marked against. Without a sheet, the rig has none."""

    holds: tuple[HoldThen, ...]
    values: tuple[readouts.Present, ...]
    checked_with: tuple[Reference, ...]
    characterised_with: tuple[Reference, ...]

    @property
    def held(self) -> bool:
        return any(each.during for each in self.holds)


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentThen:
    """``due`` is how its certificate stood on the day; None where there was none."""

    taken: AttemptInstrument
    due: Due | None
    holds: tuple[HoldThen, ...]

    @property
    def held(self) -> bool:
        return any(each.during for each in self.holds)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailAttempt:
    """``flags`` is None where it isn't for the reader to know how many there are."""

    number: int
    attempt: Attempt
    day: date
    rig: RigThen
    instruments: tuple[InstrumentThen, ...]
    events: tuple[Event, ...]
    decision: SignOff | None
    flags: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    candidate: Person
    task: Task
    attempts: tuple[TrailAttempt, ...]
    prior: PriorAchievement | None


def trail(*, candidate: Person, task: Task) -> Trail:
    """Everything about one candidate and one task, in a constant number of queries."""
    attempts = list(_with_everything().filter(candidate=candidate, version__task=task).order_by("started_at"))
    looked = _Looked.up(attempts)
    priors = PriorAchievement.objects.filter(candidate=candidate, task=task).select_related("recorded_by")
    return Trail(
        candidate=candidate,
        task=task,
        attempts=tuple(_attempt(number, each, looked) for number, each in enumerate(attempts, start=1)),
        prior=priors.first(),
    )


def with_flags(found: Trail, *, reader: Person) -> Trail:
    """How many flags each attempt has, for staff: never to the candidate, in whatever role."""
    if reader.pk == found.candidate.pk:
        return found
    raised: Mapping[UUID, Sequence[Flag]] = flags.of_attempts([each.attempt.pk for each in found.attempts])
    counted = (replace(each, flags=len(raised.get(each.attempt.pk, ()))) for each in found.attempts)
    return replace(found, attempts=tuple(counted))


def _with_everything() -> QuerySet[Attempt]:
    taken = AttemptInstrument.objects.select_related("instrument__model", "calibration").prefetch_related(
        "calibration__files"
    )
    values = SheetValue.objects.select_related("measurand__test_point", "measurand__condition")
    decided = SignOff.objects.select_related(
        "assessor", "outcome", "countersignature__countersigned_by"
    ).defer("outcome__inputs", "outcome__result")
    sampled = SampledDecision.objects.select_related("verification__verifier")
    impact = ImpactItem.objects.select_related("review", "suspension__lifted_by", "resolved_by")
    return Attempt.objects.select_related(
        "candidate",
        "rig__centre",
        "version__task",
        "session",
        "sheet__baseline__made_by",
        "sheet__baseline__decided_by",
        "sheet__rig_check__made_by",
        "fault__fault",
        "fault__set_by",
        "transcribed_by",
        "void__voided_by",
    ).prefetch_related(
        Prefetch("instruments", taken),
        Prefetch("sheet__values", values),
        Prefetch("outcomes", Outcome.objects.defer("inputs", "result").order_by("number")),
        Prefetch("sign_offs", decided.order_by("at")),
        Prefetch("sign_offs__sampled", sampled),
        "sign_offs__sampled__verification__actions__owner",
        "sign_offs__appeals__decided_by",
        Prefetch("impact_items", impact),
        "returns__returned_by",
        "prompts__given_by",
        "prompts__step",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """What is looked up for all attempts at once, by the id of what it is about."""

    holds: Mapping[UUID, Sequence[Hold]]
    checked_with: Mapping[UUID, tuple[Reference, ...]]
    characterised_with: Mapping[UUID, tuple[Reference, ...]]

    @classmethod
    def up(cls, attempts: Iterable[Attempt]) -> "_Looked":
        attempts = list(attempts)
        holds = Hold.objects.filter(
            Q(rig__in={each.rig_id for each in attempts})
            | Q(instrument__in={taken.instrument_id for each in attempts for taken in each.instruments.all()})
        ).select_related("placed_by", "released_by")
        by_thing: dict[UUID, list[Hold]] = defaultdict(list)
        for hold in holds:
            by_thing[hold.rig_id or hold.instrument_id].append(hold)  # type: ignore[index]  # one of them is set
        sheets = [each.sheet for each in attempts if each.sheet is not None]
        checks = CheckReading.objects.filter(rig_check__in={sheet.rig_check_id for sheet in sheets})
        baselines = BaselineReading.objects.filter(baseline__in={sheet.baseline_id for sheet in sheets})
        return cls(
            holds=by_thing,
            checked_with=_references(checks, of="rig_check"),
            characterised_with=_references(baselines, of="baseline"),
        )


def _references(
    readings: QuerySet[CheckReading] | QuerySet[BaselineReading], *, of: str
) -> dict[UUID, tuple[Reference, ...]]:
    found: dict[UUID, dict[tuple[str, UUID | None], Reference]] = defaultdict(dict)
    for reading in readings.select_related("instrument", "calibration").order_by("instrument__tag", "pk"):
        reference = Reference(tag=reading.instrument.tag, calibration=reading.calibration)
        found[getattr(reading, f"{of}_id")].setdefault((reference.tag, reading.calibration_id), reference)
    return {key: tuple(_one_for_each(each.values())) for key, each in found.items()}


def _one_for_each(found: Iterable[Reference]) -> Iterator[Reference]:
    """Once for each instrument and certificate; without one only where an instrument has none at all."""
    found = list(found)
    certified = {each.tag for each in found if each.calibration is not None}
    yield from (each for each in found if each.calibration is not None or each.tag not in certified)


def _attempt(number: int, attempt: Attempt, looked: _Looked) -> TrailAttempt:
    on = attempt.observed_on or attempt.rig.centre.date_at(attempt.started_at)
    sheet = attempt.sheet
    events = events_of(attempt)
    return TrailAttempt(
        number=number,
        attempt=attempt,
        day=on,
        rig=RigThen(
            holds=_holds(looked.holds.get(attempt.rig_id, ()), attempt, on=on),
            values=() if sheet is None else readouts.present(sheet.values.all()),
            checked_with=(
                looked.checked_with.get(sheet.rig_check_id, ()) if sheet and sheet.rig_check_id else ()
            ),
            characterised_with=looked.characterised_with.get(sheet.baseline_id, ()) if sheet else (),
        ),
        instruments=tuple(
            InstrumentThen(
                taken=taken,
                due=None if taken.calibration is None else due(taken.calibration.due_on, on=on),
                holds=_holds(looked.holds.get(taken.instrument_id, ()), attempt, on=on),
            )
            for taken in attempt.instruments.all()
        ),
        events=events,
        decision=next((each for each in reversed(attempt.sign_offs.all()) if _stands(each)), None),
    )


def _stands(signed: SignOff) -> bool:
    return not signed.is_provisional or getattr(signed, "countersignature", None) is not None


def _holds(holds: Iterable[Hold], attempt: Attempt, *, on: date) -> tuple[HoldThen, ...]:
    """Those that were on at some time of the attempt's day."""
    zone = attempt.rig.centre.zone
    begins = datetime.combine(on, time.min, tzinfo=zone)
    ends = begins + timedelta(days=1)
    worked = (begins, ends)
    if attempt.observed_on is None:
        worked = (attempt.started_at, attempt.submitted_at or attempt.started_at)
    return tuple(
        HoldThen(hold=hold, during=_overlaps(hold, *worked))
        for hold in holds
        if _overlaps(hold, begins, ends)
    )


def _overlaps(hold: Hold, begins: datetime, ends: datetime) -> bool:
    return hold.placed_at <= ends and (hold.released_at is None or hold.released_at >= begins)
