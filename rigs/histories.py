"""A rig's levels since its baseline, as the filter takes them: corrected, and in one air."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import fmean
from uuid import UUID

from rigs.metrology.environment import Density, into_reference_air
from rigs.metrology.today import BaselineLevel, CheckMean
from rigs.metrology.usual_air import UsualAir, usual_air
from rigs.models import (
    Baseline,
    BaselineReading,
    BaselineRoom,
    BaselineValue,
    Check,
    CheckReading,
    Measurand,
    Session,
)
from rigs.models.checks import AirSource
from rigs.models.designs import MeasurandKind
from rigs.rooms import density_of

SECONDS_A_DAY = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Airs:
    """The air of each session since a baseline, as far as it is known, and of the baseline's days."""

    known: Mapping[UUID, Density]
    days: tuple[Density, ...] = ()

    @property
    def usual(self) -> UsualAir | None:
        """None where nothing is known, and levels stay as they were read."""
        return usual_air([*self.days, *self.known.values()])

    def with_session(self, session: Session) -> "Airs":
        density = density_of(session)
        return self if density is None else replace(self, known={**self.known, session.pk: density})

    def of(self, session: UUID | None) -> Density | None:
        """The session's own air, or the usual one; None where levels stay as they were read."""
        own = None if session is None else self.known.get(session)
        usual = self.usual
        if usual is None:
            return None
        return own or usual.of_a_session

    def source(self, session: UUID | None) -> AirSource:
        if self.usual is None:
            return AirSource.AS_READ
        return AirSource.ROOM if session in self.known else AirSource.USUAL


@dataclass(frozen=True, slots=True, kw_only=True)
class AirOfRuns:
    """The air at the runs of a baseline where it was read, and of the days (ordinals) on which it was."""

    by_run: Mapping[int, Density]
    by_day: Mapping[int, Density]

    def of(self, *, run: int, day: int) -> Density | None:
        """The run's own, or that of its day: a room changes little in a day."""
        return self.by_run.get(run) or self.by_day.get(day)


AS_READ = Airs(known={})


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelHistory:
    """One level of one rig: in reference air if it follows density and any room is known, else as read.

    ``reference_u`` is the largest standard uncertainty of the instruments that it was read with (SI).
    ``made`` has the id of each of ``checks``.
    """

    value: BaselineValue
    baseline: BaselineLevel
    checks: tuple[CheckMean, ...]
    made: tuple[UUID, ...]
    airs: Airs
    reference_u: float


def airs(baseline: Baseline, *, session: Session | None = None) -> Airs:
    """The air since a baseline; ``session`` is one that has no check yet."""
    found = _airs_of([baseline])[baseline.pk]
    return found if session is None else found.with_session(session)


def air_of_runs(baseline: Baseline) -> AirOfRuns:
    return _air_of_runs([baseline])[baseline.pk]


def _airs_of(baselines: Sequence[Baseline]) -> dict[UUID, Airs]:
    of_runs = _air_of_runs(baselines)
    known: dict[UUID, dict[UUID, Density]] = {each.pk: {} for each in baselines}
    for check in Check.objects.filter(baseline__in=baselines).select_related("session"):
        density = density_of(check.session)
        if density is not None:
            known[check.baseline_id][check.session_id] = density
    return {pk: Airs(known=known[pk], days=tuple(of_runs[pk].by_day.values())) for pk in known}


def _air_of_runs(baselines: Sequence[Baseline]) -> dict[UUID, AirOfRuns]:
    rooms = list(BaselineRoom.objects.filter(baseline__in=baselines))
    with_rooms = {room.baseline_id for room in rooms}
    readings = BaselineReading.objects.filter(baseline__in=with_rooms)
    moments = {
        (pk, repeat): at
        for pk, repeat, at in readings.values_list("baseline", "repeat", "taken_at").distinct()
    }
    return {each.pk: _air_of(each, rooms, moments) for each in baselines}


def _air_of(
    baseline: Baseline, rooms: Iterable[BaselineRoom], moments: Mapping[tuple[UUID, int], datetime]
) -> AirOfRuns:
    by_run = {}
    by_day: dict[int, list[Density]] = defaultdict(list)
    for room in rooms:
        density, at = density_of(room), moments.get((baseline.pk, room.repeat))
        if room.baseline_id == baseline.pk and density is not None and at is not None:
            by_run[room.repeat] = density
            by_day[day_of(baseline, at)].append(density)
    return AirOfRuns(by_run=by_run, by_day={day: _mean(found) for day, found in by_day.items()})


def _mean(densities: Sequence[Density]) -> Density:
    """The mean of one day's rooms: read on the same instruments, so as uncertain as one of them."""
    return Density(
        value=fmean(each.value for each in densities),
        u=max(each.u for each in densities),
        stated=all(each.stated for each in densities),
    )


def day_of(baseline: Baseline, at: datetime) -> int:
    return at.astimezone(baseline.rig.centre.zone).toordinal()


def histories(baseline: Baseline, *, session: Session | None = None) -> dict[int, LevelHistory]:
    """Each level's history since a baseline, by its measurand. ``session`` may have no check yet."""
    found = _histories([baseline], session=session)
    return {each.value.measurand_id: each for each in found}


def histories_of(baselines: Sequence[Baseline], *, session: Session | None = None) -> list[LevelHistory]:
    """Every level's history since each of several baselines, in a constant number of queries."""
    return _histories(baselines, session=session)


def _histories(baselines: Sequence[Baseline], *, session: Session | None) -> list[LevelHistory]:
    airs_of = _airs_of(baselines)
    if session is not None:
        airs_of = {pk: found.with_session(session) for pk, found in airs_of.items()}
    values = BaselineValue.objects.filter(baseline__in=baselines, measurand__kind=MeasurandKind.LEVEL)
    readings = _check_readings(baselines)
    return [
        history(
            value, readings=readings[value.baseline_id, value.measurand_id], airs=airs_of[value.baseline_id]
        )
        for value in values.select_related(
            "measurand__test_point", "measurand__condition", "baseline"
        ).order_by("measurand__position")
    ]


def history(value: BaselineValue, *, readings: Sequence[CheckReading], airs: Airs) -> LevelHistory:
    """One level's history from the check readings since its baseline, which come with their check."""
    frame = frame_of(value.measurand, airs)
    level = baseline_level(value, usual=frame.usual)
    means = _check_means(value.baseline, readings, airs=frame, size=abs(float(level.mean)))
    return LevelHistory(
        value=value,
        baseline=level,
        checks=tuple(mean for mean, _ in means),
        made=tuple(check for _, check in means),
        airs=frame,
        reference_u=max([value.reference_u or 0.0, *(each.instrument_u or 0.0 for each in readings)]),
    )


def frame_of(measurand: Measurand, airs: Airs) -> Airs:
    return airs if measurand.follows_density else AS_READ


def baseline_level(value: BaselineValue, *, usual: UsualAir | None) -> BaselineLevel:
    """A baseline whose rooms nobody read is taken to have been made in the usual air, where that is known."""
    assert value.mean is not None  # a level has one
    mean, air_u = value.mean, value.air_u
    if usual is not None and air_u is None:
        mean *= into_reference_air(usual.of_a_session)
        air_u = usual.mean_u(days=[(1, None)] * value.days)
    return BaselineLevel(
        mean=mean, n=value.repeats, days=value.days, at=0.0, air_u=(air_u or 0.0) * abs(mean)
    )


def mean_in(airs: Airs, *, readings: Sequence[CheckReading], session: UUID) -> float:
    """The mean of one check's readings of a level, corrected, in the air that its history is carried in."""
    air = airs.of(session)
    mean = fmean(each.corrected for each in readings)
    return mean if air is None else mean * into_reference_air(air)


def back_in(air: Density | None) -> float:
    """The factor from the air that a history is carried in to what is read in another."""
    return 1.0 if air is None else 1 / into_reference_air(air)


def days_between(start: datetime, end: datetime) -> float:
    return (end - start).total_seconds() / SECONDS_A_DAY


def _check_readings(baselines: Sequence[Baseline]) -> Mapping[tuple[UUID, int], list[CheckReading]]:
    found = CheckReading.objects.filter(
        rig_check__baseline__in=baselines, si_value__isnull=False, measurand__kind=MeasurandKind.LEVEL
    ).select_related("rig_check")
    found = found.defer("rig_check__reasons", "rig_check__words")  # much to read, and nothing asks for it
    readings: dict[tuple[UUID, int], list[CheckReading]] = defaultdict(list)
    for each in found:
        readings[each.rig_check.baseline_id, each.measurand_id].append(each)
    return readings


def _check_means(
    baseline: Baseline, readings: Sequence[CheckReading], *, airs: Airs, size: float
) -> list[tuple[CheckMean, UUID]]:
    """In order, in days from the baseline's start, each with its check's id."""
    groups: dict[UUID, list[CheckReading]] = defaultdict(list)
    for each in readings:
        groups[each.rig_check_id].append(each)
    means = []
    for group in groups.values():
        check = group[0].rig_check
        air = airs.of(check.session_id)
        mean = CheckMean(
            at=days_between(baseline.started_at, check.made_at),
            mean=mean_in(airs, readings=group, session=check.session_id),
            n=len(group),
            session=check.session_id,
            air_u=0.0 if air is None else air.u / air.value * size,
        )
        means.append((mean, check.pk))
    return sorted(means, key=lambda each: each[0].at)
