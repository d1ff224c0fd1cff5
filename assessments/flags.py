"""What an assessor is pointed to on attempts that were handed in, looked up for one or for a page of them.

Worked out when somebody looks, because it hangs on what others hand in later. Never for a candidate.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from math import comb
from typing import Any
from uuid import UUID

from django.db.models import Q

from academy.models import Centre
from assessments.marking import plausibility
from assessments.marking.plausibility import Done, Figure, Flag, Informative, Sheet, TakenPhoto, Thresholds
from assessments.models import Attempt, AttemptInstrument, Photo, Reading, StepRecord
from assessments.models.attempts import AttemptStatus
from assessments.models.tasks import ReadingCheck, StepKind
from rigs.instruments import spec_from_rows
from rigs.metrology.instruments import NoRange, Spec
from rigs.metrology.quantities import Quantity
from rigs.models import SheetValue, SpecRange

COMPARED = timedelta(days=28)
"""Attempts begun so long before or after are compared, about a cohort's time at a task (common practice, no
source)."""
WORKED_OUT = frozenset({ReadingCheck.COMPUTED})

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spread:
    """A measurand's repeat noise and session effect on a rig, in SI."""

    repeat_sd: float
    session_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """All that was looked up for a page of attempts."""

    instruments: Mapping[int, tuple[str, Spec]]
    readings: Mapping[UUID, list[Reading]]
    done: Mapping[UUID, list[Done]]
    photos: Mapping[UUID, list[Photo]]
    used: Mapping[str, list[Photo]]
    spreads: Mapping[tuple[UUID, int], _Spread]
    peers: Mapping[tuple[UUID, UUID], list[Attempt]]
    peers_readings: Mapping[UUID, list[Reading]]
    sheets: dict[tuple[UUID, UUID | None], Sheet] = field(default_factory=dict)  # as they are made


def of_attempt(attempt: Attempt) -> tuple[Flag, ...]:
    return of_attempts([attempt.pk]).get(attempt.pk, ())


def of_attempts(attempts: Collection[UUID]) -> dict[UUID, tuple[Flag, ...]]:
    """The flags of these attempts, those still open left out, in a constant number of queries."""
    found = list(
        Attempt.objects.filter(pk__in=attempts)
        .exclude(status=AttemptStatus.OPEN)
        .select_related("rig__centre", "version", "candidate")
    )
    looked = _look_up(found)
    return {attempt.pk: tuple(_flags(attempt, looked)) for attempt in found}


def _flags(attempt: Attempt, looked: _Looked) -> Iterator[Flag]:
    thresholds = _thresholds(attempt.rig.centre)
    readings = looked.readings[attempt.pk]
    yield from plausibility.of_figures(list(_figures(readings, looked)))
    yield from _likeness(attempt, looked, thresholds=thresholds)
    yield from plausibility.of_pace(
        looked.done[attempt.pk],
        took=_took(attempt),
        guide_minutes=attempt.version.guide_minutes,
        thresholds=thresholds,
    )
    zone = attempt.rig.centre.zone
    began, ended = _bounds(attempt)
    yield from plausibility.of_photos(
        [_taken(photo, looked) for photo in looked.photos[attempt.pk]],
        began=began.astimezone(zone),
        ended=ended.astimezone(zone),
        thresholds=thresholds,
    )


def _thresholds(centre: Centre) -> Thresholds:
    return Thresholds(
        hands_seconds=centre.hands_seconds,
        hurried_percent=float(centre.hurried_percent),
        photo_slack=timedelta(minutes=centre.photo_slack_minutes),
        coincidence=centre.coincidence,
    )


def _took(attempt: Attempt) -> timedelta | None:
    """From the start to handing in; None for one worked on paper, of which the site's clock knows nothing."""
    if attempt.transcribed_by_id is not None or attempt.submitted_at is None:
        return None
    return attempt.submitted_at - attempt.started_at


def _bounds(attempt: Attempt) -> tuple[datetime, datetime]:
    """Between which moments its photos belong; for one worked on paper, from the beginning of that day."""
    began, ended = attempt.started_at, attempt.submitted_at or attempt.started_at
    if attempt.observed_on is not None:
        midnight = datetime.combine(attempt.observed_on, time(), tzinfo=attempt.rig.centre.zone)
        began = min(began, midnight)
    return began, ended


# --- Figures ---------------------------------------------------------------------------------------


def _figures(readings: Iterable[Reading], looked: _Looked) -> Iterator[Figure]:
    for reading in readings:
        if reading.si_value is not None and reading.si_resolution is not None:
            tag, spec = looked.instruments[reading.instrument_id]
            yield Figure(
                title=reading.step.title,
                text=reading.text,
                unit=reading.unit,
                quantity=_quantity(reading),
                si_value=reading.si_value,
                si_resolution=reading.si_resolution,
                instrument=tag,
                spec=spec,
                is_read=reading.step.judged_by not in WORKED_OUT,
            )


def _quantity(reading: Reading) -> Quantity:
    """What it measures: of the step, or, where the candidate chose what to measure, of the test point."""
    return Quantity(reading.test_point.quantity if reading.test_point else reading.step.quantity)


# --- Likeness ----------------------------------------------------------------------------------------


def _likeness(attempt: Attempt, looked: _Looked, *, thresholds: Thresholds) -> Iterator[Flag]:
    peers = [
        peer
        for peer in looked.peers[attempt.rig_id, attempt.version.task_id]
        if abs(peer.started_at - attempt.started_at) <= COMPARED
    ]
    others = [peer for peer in peers if peer.candidate_id != attempt.candidate_id]
    if not others:
        return
    pairs = comb(len(peers), 2) - sum(
        comb(count, 2) for count in Counter(peer.candidate_id for peer in peers).values()
    )
    own = _sheet(attempt, attempt, looked)
    yield from plausibility.of_likeness(
        own, (_sheet(peer, attempt, looked) for peer in others), pairs=pairs, thresholds=thresholds
    )


def _sheet(attempt: Attempt, compared: Attempt, looked: _Looked) -> Sheet:
    """What somebody read, with the spreads of the rig as they stood for the attempt that is looked at."""
    key = attempt.pk, compared.sheet_id
    if key not in looked.sheets:
        looked.sheets[key] = _made_sheet(attempt, compared, looked)
    return looked.sheets[key]


def _made_sheet(attempt: Attempt, compared: Attempt, looked: _Looked) -> Sheet:
    zone = attempt.rig.centre.zone
    spreads = {
        measurand: spread
        for (sheet, measurand), spread in looked.spreads.items()
        if sheet == compared.sheet_id
    }
    return Sheet(
        whose=f"{attempt.candidate}’s of {attempt.started_at.astimezone(zone):%d %B %Y, %H:%M}",
        candidate=attempt.candidate_id,
        session=attempt.session_id,
        figures=dict(_informative(looked.peers_readings[attempt.pk], spreads, looked)),
    )


def _informative(
    readings: Iterable[Reading], spreads: Mapping[int, _Spread], looked: _Looked
) -> Iterator[tuple[str, Informative]]:
    """Those of a level with a known spread. States of contacts, zeros and leads carry no weight."""
    for reading in readings:
        spread = spreads.get(reading.step.measurand_id or 0)
        if spread is None or reading.si_value is None:
            continue
        yield (
            reading.step.slug,
            Informative(
                quantity=str(reading.step.measurand_id),
                value=reading.si_value,
                resolution=max(reading.si_resolution or 0.0, _display(reading, looked)),
                repeat_sd=spread.repeat_sd,
                session_sd=spread.session_sd,
            ),
        )


def _display(reading: Reading, looked: _Looked) -> float:
    """The display's resolution there, in SI; 0 for an instrument that wasn't looked up or can't show it."""
    known = looked.instruments.get(reading.instrument_id)
    if known is None or reading.si_value is None:
        return 0.0
    try:
        return known[1].range_for(quantity=_quantity(reading), value_si=reading.si_value).resolution_si
    except NoRange:
        return 0.0


# --- Photos ------------------------------------------------------------------------------------------


def _taken(photo: Photo, looked: _Looked) -> TakenPhoto:
    zone = photo.attempt.rig.centre.zone
    same_file = looked.used[photo.received_sha256]
    same_pixels = looked.used[photo.pixels_sha256]
    return TakenPhoto(
        title=photo.step.title,
        taken_at=photo.taken_at.astimezone(zone) if photo.taken_at else None,
        same_file=tuple(_elsewhere(photo, same_file)),
        same_pixels=tuple(_elsewhere(photo, same_pixels)),
    )


def _elsewhere(photo: Photo, same: Iterable[Photo]) -> Iterator[str]:
    attempts = {each.attempt_id: each.attempt for each in same if each.attempt_id != photo.attempt_id}
    for attempt in sorted(attempts.values(), key=lambda each: (each.started_at, each.pk)):
        on = attempt.rig.centre.date_at(attempt.started_at)
        yield f"{attempt.candidate}’s attempt of {on:%d %B %Y} on {attempt.rig.tag}"


# --- Looking up ----------------------------------------------------------------------------------------


def _look_up(attempts: Collection[Attempt]) -> _Looked:
    keys = [attempt.pk for attempt in attempts]
    photos = list(
        Photo.objects.current()
        .filter(attempt__in=keys)
        .select_related("step", "attempt__rig__centre")
        .in_order()
    )
    peers = _peers(attempts)
    return _Looked(
        instruments=_instruments(keys),
        readings=_by_attempt(_readings(keys)),
        done=_done(keys),
        photos=_by_attempt(photos),
        used=_used(photos),
        spreads=_spreads({attempt.sheet_id for attempt in attempts if attempt.sheet_id}),
        peers=peers,
        peers_readings=_by_attempt(_levels([each.pk for group in peers.values() for each in group])),
    )


def _by_attempt(entries: Iterable[Any]) -> defaultdict[UUID, list[Any]]:
    grouped: defaultdict[UUID, list[Any]] = defaultdict(list)
    for entry in entries:
        grouped[entry.attempt_id].append(entry)
    return grouped


def _readings(attempts: Collection[UUID]) -> list[Reading]:
    return list(
        Reading.objects.standing()
        .filter(attempt__in=attempts)
        .select_related("step", "test_point")
        .in_order()
    )


def _levels(attempts: Collection[UUID]) -> list[Reading]:
    """Readings with a number of what the rig has a level for, one a step."""
    return list(
        Reading.objects.standing()
        .filter(attempt__in=attempts, step__kind=StepKind.READING, step__measurand__kind="level")
        .filter(si_value__isnull=False)
        .exclude(step__judged_by__in=WORKED_OUT)
        .select_related("step", "test_point")
        .in_order()
    )


def _instruments(attempts: Collection[UUID]) -> dict[int, tuple[str, Spec]]:
    taken = AttemptInstrument.objects.filter(attempt__in=attempts).values_list(
        "pk", "instrument__tag", "model_id"
    )
    rows = list(taken)
    ranges: defaultdict[UUID, list[SpecRange]] = defaultdict(list)
    for each in SpecRange.objects.filter(model__in={model for *_, model in rows}):
        ranges[each.model_id].append(each)
    specs = {model: spec_from_rows(found) for model, found in ranges.items()}
    return {pk: (tag, specs.get(model, Spec(ranges=()))) for pk, tag, model in rows}


def _done(attempts: Collection[UUID]) -> defaultdict[UUID, list[Done]]:
    """Steps that need hands, when they were first logged; what was on paper first has no time of its own."""
    entries: list[Reading | StepRecord] = [
        *Reading.objects.filter(attempt__in=attempts, supersedes=None).select_related("step"),
        *StepRecord.objects.filter(
            attempt__in=attempts, supersedes=None, step__kind=StepKind.ACTION
        ).select_related("step"),
    ]
    done: defaultdict[UUID, list[Done]] = defaultdict(list)
    for entry in entries:
        if not entry.on_paper:
            done[entry.attempt_id].append(
                Done(title=entry.step.title, at=entry.device_at or entry.received_at)
            )
    return done


def _used(photos: Collection[Photo]) -> defaultdict[str, list[Photo]]:
    """Every photo of the centre with the same bytes or pixels as one of these, by both digests."""
    files = {photo.received_sha256 for photo in photos}
    pixels = {photo.pixels_sha256 for photo in photos}
    used: defaultdict[str, list[Photo]] = defaultdict(list)
    same = Photo.objects.filter(
        Q(received_sha256__in=files) | Q(pixels_sha256__in=pixels),
        attempt__rig__centre__in={photo.attempt.rig.centre_id for photo in photos},
    )
    for each in same.select_related("attempt__candidate", "attempt__rig__centre"):
        used[each.received_sha256].append(each)
        used[each.pixels_sha256].append(each)
    return used


def _spreads(sheets: Collection[UUID]) -> dict[tuple[UUID, int], _Spread]:
    values = SheetValue.objects.filter(sheet__in=sheets, repeat_sd__isnull=False).values_list(
        "sheet_id", "measurand_id", "value", "repeat_sd", "measurand__session_percent"
    )
    return {
        (sheet, measurand): _Spread(
            repeat_sd=repeat_sd or 0.0, session_sd=abs(value or 0.0) * session_percent / 100
        )
        for sheet, measurand, value, repeat_sd, session_percent in values
    }


def _peers(attempts: Collection[Attempt]) -> defaultdict[tuple[UUID, UUID], list[Attempt]]:
    """Attempts on the same rigs at the same tasks about that time, these among them, by rig and task."""
    begun = [attempt.started_at for attempt in attempts]
    peers: defaultdict[tuple[UUID, UUID], list[Attempt]] = defaultdict(list)
    if not attempts:
        return peers
    found = (
        Attempt.objects.filter(
            rig__in={attempt.rig_id for attempt in attempts},
            version__task__in={attempt.version.task_id for attempt in attempts},
            started_at__range=(min(begun) - COMPARED, max(begun) + COMPARED),
            sheet__isnull=False,
        )
        .exclude(status=AttemptStatus.OPEN)
        .select_related("candidate", "version", "rig__centre")
        .order_by("started_at", "pk")
    )
    for attempt in found:
        peers[attempt.rig_id, attempt.version.task_id].append(attempt)
    return peers
