"""The check before a session: whether the rig still agrees with its baseline."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID, uuid4

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs import baselines, histories, repeats, sessions, sheets
from rigs.metrology.quantities import from_si
from rigs.metrology.readings import TypedReading
from rigs.models import Baseline, BaselineValue, Check, CheckReading, Instrument, Measurand, Rig, Session
from rigs.models.checks import CheckVerdict
from rigs.models.designs import MeasurandKind
from rigs.rooms import Room

LEAST_REPEATS = 3

Runs = Sequence[Mapping[Measurand, TypedReading]]
Finding = tuple[CheckVerdict, str]


@transaction.atomic
def record(
    *,
    rig: Rig,
    runs: Runs,
    instruments: Mapping[str, Instrument],
    by: Person,
    at: datetime,
    room: Room | None = None,
    id: UUID | None = None,  # noqa: A002 - the form names it, so that sending it twice records it once
) -> Check:
    """Record at least three runs, judge them against the baseline, and write the session's value sheet.

    ``room`` is the session's air, if somebody read it and nobody has before.

    The same id again gives the same check. A hold is proposed, never placed: a person does that. Refused
    without an approved baseline, and while a fault is set on the rig.
    """
    Rig.objects.lock(rig)  # one after the other, so that the second finds the first
    known = Check.objects.filter(pk=id).first() if id else None
    if known is not None:
        return _sent_again(known, rig=rig, runs=runs, by=by)
    baseline = baselines.in_force(rig=rig)
    if baseline is None:
        raise Refused(f"{rig.tag} has no approved baseline yet: make one first.")
    if rig.fault_settings.open().exists():
        raise Refused(f"A fault is set on {rig.tag}: record it as removed first.")
    if len(runs) < LEAST_REPEATS:
        raise Refused(f"A check needs at least {LEAST_REPEATS} runs; this one has {len(runs)}.")
    measurands = baselines.measurands_of(rig)
    repeats.require_references(measurands=measurands, instruments=instruments, at=at)
    session = sessions.ensure_open(centre=rig.centre, by=by, at=at, room=room)
    check = Check(pk=id or uuid4(), session=session, rig=rig, baseline=baseline, made_by=by, made_at=at)
    rows = [
        row
        for number, run in enumerate(runs, start=1)
        for row in repeats.rows(
            CheckReading,
            measurands=measurands,
            readings=run,
            instruments=instruments,
            repeat=number,
            at=at,
            rig_check=check,
        )
    ]
    findings = judge(baseline=baseline, readings=rows, session=session)
    check.verdict, check.reasons = verdict_of(findings), [reason for _, reason in findings]
    check.save(force_insert=True)
    CheckReading.objects.bulk_create(rows)
    sheets.write(baseline=baseline, at=at, after=check)
    facts = {"rig": str(rig.pk), "verdict": str(check.verdict)}
    ledger.append(centre=rig.centre, actor=by, verb="check.record", subject=check.pk, at=at, facts=facts)
    return check


def _sent_again(known: Check, *, rig: Rig, runs: Runs, by: Person) -> Check:
    """The check that is recorded already. Refused where it isn't the same: nothing is lost without a word."""
    recorded = {(each.measurand_id, each.repeat): each.text for each in known.readings.all()}
    sent = {
        (measurand.pk, number): typed.text
        for number, run in enumerate(runs, start=1)
        for measurand, typed in run.items()
    }
    if (known.rig_id, known.made_by_id, recorded) != (rig.pk, by.pk, sent):
        raise Refused(
            "A check was recorded from this form before. Load the page again to record another one."
        )
    return known


def judge(*, baseline: Baseline, readings: Sequence[CheckReading], session: Session) -> list[Finding]:
    """What stands out, each with its reason; empty when everything agrees with the baseline.

    A level that follows the air's density is compared in reference air, where any room is known.
    """
    findings = []
    airs = histories.airs(baseline, session=session)
    for value in baseline.values.select_related("measurand__test_point", "measurand__condition"):
        mine = [reading for reading in readings if reading.measurand == value.measurand]
        is_state = value.measurand.kind == MeasurandKind.STATE
        finding = _judge_state(value, mine) if is_state else _judge_level(value, mine, session, airs)
        if finding is not None:
            findings.append(finding)
    return findings


def verdict_of(findings: Sequence[Finding]) -> CheckVerdict:
    worst = {verdict for verdict, _ in findings}
    if CheckVerdict.HOLD in worst:
        return CheckVerdict.HOLD
    return CheckVerdict.WATCH if worst else CheckVerdict.STEADY


def _judge_state(value: BaselineValue, readings: Sequence[CheckReading]) -> Finding | None:
    found = repeats.state_of(readings)
    if found == value.state:
        return None
    return (
        CheckVerdict.HOLD,
        f"{value.measurand}: should be {value.state}, is {repeats.state_words(found)}.",
    )


def _judge_level(
    value: BaselineValue, readings: Sequence[CheckReading], session: Session, airs: histories.Airs
) -> Finding | None:
    """Compare by the centre's percentages of the baseline; near zero, by the measurand's own tolerance."""
    centre, frame = session.centre, histories.frame_of(value.measurand, airs)
    baseline = float(histories.baseline_level(value, usual=frame.usual).mean)
    mean = histories.mean_in(frame, readings=readings, session=session.pk)
    hold_percent, watch_percent = float(centre.hold_percent), float(centre.watch_percent)
    hold_at = max(hold_percent / 100 * abs(baseline), value.measurand.tolerance_floor)
    away = abs(mean - baseline)
    if away < hold_at * watch_percent / hold_percent:
        return None
    verdict = CheckVerdict.HOLD if away >= hold_at else CheckVerdict.WATCH
    unit = value.measurand.test_point.unit
    both = "" if frame.usual is None else " (both as in reference air)"
    return verdict, (
        f"{value.measurand}: {Decimal(from_si(mean, unit=unit)):.3g} {unit} today, "
        f"{Decimal(from_si(baseline, unit=unit)):.3g} {unit} in the baseline{both}."
    )
