"""Characterising a rig: repeats by one person, approval by another."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from itertools import groupby

from django.db import transaction
from django.db.models import Max, Q, QuerySet

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs import repeats
from rigs.histories import AirOfRuns, air_of_runs, day_of
from rigs.instruments import spec_of
from rigs.metrology import baseline as statistics
from rigs.metrology.environment import into_reference_air
from rigs.metrology.instruments import RangeSpec
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading
from rigs.metrology.usual_air import UsualAir, usual_air
from rigs.models import (
    Baseline,
    BaselineReading,
    BaselineRoom,
    BaselineValue,
    Instrument,
    Measurand,
    Rig,
)
from rigs.models.baselines import BaselineStatus, Outlier
from rigs.models.designs import MeasurandKind
from rigs.rooms import Room

LEAST_REPEATS = 5
# With fewer, t at 99.73 % is so wide that nothing is ever out of range.
LEAST_REPEATS_FOR_ASSESSMENT = 10


def in_force(*, rig: Rig) -> Baseline | None:
    return rig.baselines.approved().first()


@transaction.atomic
def start(*, rig: Rig, by: Person, at: datetime) -> Baseline:
    """Begin a baseline. Refused while another of this rig isn't finished, or a fault is set."""
    if not measurands_of(rig):
        raise Refused(f"Nothing of {rig.tag} is characterised by repeats: it needs no baseline.")
    if rig.baselines.filter(status__in=(BaselineStatus.OPEN, BaselineStatus.WAITING)).exists():
        raise Refused(f"A baseline of {rig.tag} is being made already: finish that one.")
    if rig.fault_settings.open().exists():
        raise Refused(f"A fault is set on {rig.tag}: record it as removed first.")
    last = rig.baselines.aggregate(last=Max("number"))["last"] or 0
    baseline = Baseline.objects.create(rig=rig, number=last + 1, made_by=by, started_at=at)
    _log("baseline.start", baseline, by=by, at=at)
    return baseline


@transaction.atomic
def add_run(
    *,
    baseline: Baseline,
    readings: Mapping[Measurand, TypedReading],
    instruments: Mapping[str, Instrument],
    by: Person,
    at: datetime,
    room: Room | None = None,
    expected: int | None = None,
) -> int:
    """Add one reading of every measurand, the connection made again before each; returns the run's number.

    ``room`` is the air at this run, if somebody read it.

    ``expected`` is the number that the run was typed under: sent twice, it is refused the second time.
    """
    held = _own(baseline, by)
    number = runs_of(held) + 1
    if expected is not None and expected != number:
        raise Refused(f"Run {expected} is recorded already: the next one is run {number}.")
    measurands = measurands_of(held.rig)
    repeats.require_references(measurands=measurands, instruments=instruments, at=at)
    rows = repeats.rows(
        BaselineReading,
        measurands=measurands,
        readings=readings,
        instruments=instruments,
        repeat=number,
        at=at,
        baseline=held,
    )
    BaselineReading.objects.bulk_create(rows)
    if room is not None:
        BaselineRoom.objects.create(baseline=held, repeat=number, **room.columns)
    _log("baseline.run", held, by=by, at=at, run=str(number))
    return number


@transaction.atomic
def hand_over(*, baseline: Baseline, by: Person, at: datetime) -> Baseline:
    """Pass it to a second person. Refused with fewer than five runs."""
    held = _own(baseline, by)
    runs = runs_of(held)
    if runs < LEAST_REPEATS:
        raise Refused(f"A baseline needs at least {LEAST_REPEATS} runs; this one has {runs}.")
    if len(summaries(baseline=held)) < len(measurands_of(held.rig)):
        raise Refused("At least one day needs two runs: repeat noise comes from repeats within a day.")
    held.status = BaselineStatus.WAITING
    held.save(update_fields=["status"])
    _log("baseline.hand-over", held, by=by, at=at)
    return held


@transaction.atomic
def approve(*, baseline: Baseline, by: Person, at: datetime, note: str = "") -> Baseline:
    """Put it in force. Refused to whoever made it, and where a contact isn't in the state it should be."""
    held = _locked(baseline, BaselineStatus.WAITING)
    _decide(held, BaselineStatus.APPROVED, by=by, at=at, note=note)
    values = summaries(baseline=held)
    for value in values:
        if value.measurand.kind == MeasurandKind.STATE and value.state != value.measurand.expected_state:
            found = repeats.state_words(value.state)
            raise Refused(
                f"{value.measurand}: should be {value.measurand.expected_state}, was {found}. "
                "Mend the rig first."
            )
    undecided = flagged_readings(baseline=held, values=values).filter(outlier="").first()
    if undecided is not None:
        raise Refused(
            f"{undecided.measurand}: run {undecided.repeat} stands apart from the others. "
            "Keep it or leave it out first, with a reason."
        )
    BaselineValue.objects.bulk_create(values)
    _log("baseline.approve", held, by=by, at=at)
    return held


@transaction.atomic
def decide_on(
    *, reading: BaselineReading, outlier: Outlier, reason: str, by: Person, at: datetime
) -> BaselineReading:
    """Keep a reading that the screen flags, or leave it out of the figures. It stays on record either way.

    Refused to whoever made the baseline, without a reason, for a reading that isn't flagged, and where too
    few would be left. What is left is screened again.
    """
    held = _locked(reading.baseline, BaselineStatus.WAITING)
    if held.made_by_id == by.pk:
        raise Refused("You made this baseline: a second person decides on it.")
    if not reason.strip():
        raise Refused("Say why: what happened at that run, or why nothing did.", field="reason")
    found = flagged_readings(baseline=held).filter(pk=reading.pk).first()
    if found is None:
        raise Refused("This reading doesn't stand apart from the others.")
    kept = held.readings.filter(measurand=found.measurand).exclude(outlier=Outlier.LEFT_OUT).count()
    if outlier == Outlier.LEFT_OUT and kept <= LEAST_REPEATS:
        raise Refused(f"Only {kept - 1} readings would be left, and {LEAST_REPEATS} are needed.")
    found.outlier, found.outlier_reason, found.outlier_by = outlier, reason.strip(), by
    found.save(update_fields=["outlier", "outlier_reason", "outlier_by"])
    facts = {"measurand": str(found.measurand_id), "run": str(found.repeat), "outlier": str(outlier)}
    _log("baseline.outlier", held, by=by, at=at, **facts)
    return found


def figures(*, baseline: Baseline) -> list[BaselineValue]:
    """What a baseline says: as it was approved, or as its runs have it so far, if they are enough."""
    if baseline.status == BaselineStatus.APPROVED:
        return list(baseline.values.select_related("measurand__test_point", "measurand__condition"))
    return summaries(baseline=baseline) if runs_of(baseline) >= LEAST_REPEATS else []


def flagged_readings(
    *, baseline: Baseline, values: Iterable[BaselineValue] | None = None
) -> QuerySet[BaselineReading]:
    """Those that stand apart from the others by the outlier screen, and those decided on before.

    ``values`` are the baseline's figures, where they are known already.
    """
    values = figures(baseline=baseline) if values is None else values
    wanted = ~Q(outlier="")
    for value in values:
        if value.flagged:
            wanted |= Q(measurand=value.measurand_id, repeat__in=value.flagged)
    return baseline.readings.filter(wanted).select_related(
        "measurand__test_point", "measurand__condition", "outlier_by"
    )


@transaction.atomic
def send_back(*, baseline: Baseline, by: Person, at: datetime, note: str) -> Baseline:
    """Decide against it, with the reason; its readings stay on record and the next baseline starts afresh.

    One that is still being recorded can be set aside in this way too, for when its maker doesn't come back.
    """
    if not note.strip():
        raise Refused("Say what is wrong with it.", field="note")
    held = _locked(baseline, BaselineStatus.OPEN, BaselineStatus.WAITING)
    _decide(held, BaselineStatus.REJECTED, by=by, at=at, note=note.strip())
    _log("baseline.send-back", held, by=by, at=at)
    return held


def before(baseline: Baseline) -> Baseline | None:
    """The approved baseline before this one."""
    return Baseline.objects.approved().filter(rig=baseline.rig_id, number__lt=baseline.number).first()


def measurands_of(rig: Rig) -> tuple[Measurand, ...]:
    return tuple(rig.design.measurands.select_related("test_point", "condition"))


def runs_of(baseline: Baseline) -> int:
    """How many runs were recorded so far."""
    last: int | None = baseline.readings.aggregate(last=Max("repeat"))["last"]
    return last or 0


def summaries(*, baseline: Baseline) -> list[BaselineValue]:
    """What the readings so far say of each measurand, unsaved; without levels that have too few of them."""
    readings = baseline.readings.select_related(
        "measurand__test_point", "measurand__condition", "instrument__model"
    ).prefetch_related("instrument__model__ranges")
    by_measurand = groupby(sorted(readings, key=_place), key=lambda each: each.measurand)
    air = air_of_runs(baseline)
    values = (_summary(baseline, measurand, list(group), air) for measurand, group in by_measurand)
    return [value for value in values if value is not None]


def _place(reading: BaselineReading) -> tuple[int, int]:
    return reading.measurand.position, reading.repeat


def _summary(
    baseline: Baseline,
    measurand: Measurand,
    readings: list[BaselineReading],
    air: AirOfRuns,
) -> BaselineValue | None:
    if measurand.kind == MeasurandKind.LEVEL:
        readings = [reading for reading in readings if reading.outlier != Outlier.LEFT_OUT]
    days = [day_of(baseline, reading.taken_at) for reading in readings]
    value = BaselineValue(baseline=baseline, measurand=measurand, repeats=len(readings), days=len(set(days)))
    if measurand.kind == MeasurandKind.STATE:
        value.state = repeats.state_of(readings)
        return value
    if len(readings) <= len(set(days)):
        # Repeat noise comes from repeats within a day.
        return None
    usual = usual_air(list(air.by_day.values())) if measurand.follows_density else None
    numbers = [each.corrected for each in readings]
    if usual is not None:
        numbers = _in_reference_air(readings, days=days, air=air, usual=usual)
        value.air_u = usual.mean_u(days=[(days.count(day), air.by_day.get(day)) for day in sorted(set(days))])
    value.reference_u = reference_u(readings)
    summary = statistics.summarise(
        numbers, days=days, resolution=_display_resolution(readings), reference_u=value.reference_u
    )
    value.mean, value.repeat_sd, value.repeat_dof = summary.mean, summary.repeat_sd, summary.repeat_dof
    value.between_sd = summary.between_sd
    value.flagged = [readings[index].repeat for index in summary.flagged]
    return value


def _display_resolution(readings: Iterable[BaselineReading]) -> float:
    """The coarsest display among the instruments used, in SI."""
    return max(_range(each).resolution_si for each in readings)


def reference_u(readings: Iterable[BaselineReading]) -> float:
    """Standard uncertainty of the reference instrument: the same in every reading, so the largest counts."""
    return max(each.instrument_u or 0.0 for each in readings)


def _in_reference_air(
    readings: Sequence[BaselineReading], *, days: Sequence[int], air: AirOfRuns, usual: UsualAir
) -> list[float]:
    """Each reading as reference air would have given it; where nobody read its room, by the usual air."""
    return [
        each.corrected * into_reference_air(air.of(run=each.repeat, day=day) or usual.of_a_session)
        for each, day in zip(readings, days, strict=True)
    ]


def _range(reading: BaselineReading) -> RangeSpec:
    spec = spec_of(reading.instrument.model)
    return spec.range_for(quantity=Quantity(reading.measurand.test_point.quantity), value_si=_number(reading))


def _number(reading: BaselineReading) -> float:
    assert reading.si_value is not None  # a level is always a number
    return reading.si_value


def _locked(baseline: Baseline, *statuses: BaselineStatus) -> Baseline:
    found = Baseline.objects.select_related("rig__centre", "rig__design", "made_by")
    held = found.select_for_update(of=("self",)).get(pk=baseline.pk)
    if held.status not in statuses:
        raise Refused(f"This baseline is {held.get_status_display().lower()}.")
    return held


def _own(baseline: Baseline, by: Person) -> Baseline:
    """The baseline that a person is recording. One person makes it, so that another can decide on it."""
    held = _locked(baseline, BaselineStatus.OPEN)
    if held.made_by_id != by.pk:
        raise Refused(f"{held.made_by} is making this baseline: only they can add to it.")
    return held


def _decide(held: Baseline, status: BaselineStatus, *, by: Person, at: datetime, note: str) -> None:
    if held.made_by_id == by.pk:
        raise Refused("You made this baseline: a second person decides on it.")
    held.status, held.decided_by, held.decided_at, held.decision_note = status, by, at, note
    held.save(update_fields=["status", "decided_by", "decided_at", "decision_note"])


def _log(verb: str, baseline: Baseline, *, by: Person, at: datetime, **facts: str) -> None:
    facts["rig"] = str(baseline.rig_id)
    ledger.append(centre=baseline.rig.centre, actor=by, verb=verb, subject=baseline.pk, at=at, facts=facts)
