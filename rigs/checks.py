"""The check before a session: whether the rig still agrees with its baseline."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from statistics import fmean
from uuid import UUID, uuid4

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs import baselines, histories, repeats, series, sessions, sheets
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.metrology import standing
from rigs.metrology.quantities import from_si
from rigs.metrology.readings import TypedReading
from rigs.metrology.standing import Standing, Thresholds, Why
from rigs.models import Baseline, BaselineValue, Check, CheckReading, Instrument, Measurand, Rig, Session
from rigs.models.checks import CheckVerdict
from rigs.models.designs import MeasurandKind
from rigs.rooms import Room
from rigs.series import Series

LEAST_REPEATS = 3

# The pressure that the switch sees, and the one that it makes at: test point and condition.
AT_THE_SWITCH = (TestPoint.PORTS, Condition.FAN_RUNNING)
MAKE_POINT = (TestPoint.MAKE_POINT, Condition.HAND_PUMP)

Runs = Sequence[Mapping[Measurand, TypedReading]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What stands out in a check. ``words`` say what ``reason`` does, without a reading of the rig."""

    verdict: CheckVerdict
    reason: str
    words: str


@transaction.atomic
def record(
    *,
    rig: Rig,
    runs: Runs,
    instruments: Mapping[str, Instrument],
    by: Person,
    at: datetime,
    room: Room | None = None,
    entered_at: datetime | None = None,
    id: UUID | None = None,  # noqa: A002 - the form names it, so that sending it twice records it once
) -> Check:
    """Record at least three runs, judge them against the baseline, and write the session's value sheet.

    ``room`` is the session's air, if somebody read it and nobody has before. ``entered_at`` is the moment
    for the ledger, of a check that is put on record after it was made.

    The same id again gives the same check. A hold is proposed, never placed: a person does that. Refused
    without an approved baseline, and while a fault is set on the rig.
    """
    Rig.objects.lock(rig)  # one after the other, so that the second finds the first
    known = Check.objects.filter(pk=id).first() if id else None
    if known is not None:
        return _sent_again(known, rig=rig, runs=runs, by=by)
    baseline = _baseline_to_check(rig, runs)
    measurands = measurands_of(rig)
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
    check.verdict = verdict_of(findings)
    check.reasons, check.words = [each.reason for each in findings], [each.words for each in findings]
    check.save(force_insert=True)
    CheckReading.objects.bulk_create(rows)
    sheets.write(baseline=baseline, at=at, after=check)
    facts = {"rig": str(rig.pk), "verdict": str(check.verdict)}
    entered_at = entered_at or at
    ledger.append(
        centre=rig.centre, actor=by, verb="check.record", subject=check.pk, at=entered_at, facts=facts
    )
    return check


def _baseline_to_check(rig: Rig, runs: Runs) -> Baseline:
    """The baseline in force. Refused without one, with a fault set, and with too few runs."""
    baseline = baselines.in_force(rig=rig)
    if baseline is None:
        raise Refused(f"{rig.tag} has no approved baseline yet: make one first.")
    if rig.fault_settings.open().exists():
        raise Refused(f"A fault is set on {rig.tag}: record it as removed first.")
    if len(runs) < LEAST_REPEATS:
        raise Refused(f"A check needs at least {LEAST_REPEATS} runs; this one has {len(runs)}.")
    return baseline


def measurands_of(rig: Rig) -> tuple[Measurand, ...]:
    """What is read in each run of a check."""
    return tuple(each for each in baselines.measurands_of(rig) if each.in_check)


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

    ``readings`` are not saved yet: what was checked before is on record. A level that follows the air's
    density is compared in reference air, where any room is known.
    """
    findings = []
    thresholds = series.thresholds_of(session.centre)
    before = {each.measurand.pk: each for each in series.of_baseline(baseline, session=session)}
    values = baseline.values.select_related("measurand__test_point", "measurand__condition")
    for value in values.filter(measurand__in_check=True):
        mine = [reading for reading in readings if reading.measurand == value.measurand]
        if value.measurand.kind == MeasurandKind.STATE:
            finding = _judge_state(value, mine)
        else:
            finding = _judge_level(before[value.measurand_id], mine, session, thresholds)
        if finding is not None:
            findings.append(finding)
    return [*findings, *_judge_margin(values, readings, thresholds)]


def verdict_of(findings: Sequence[Finding]) -> CheckVerdict:
    worst = {each.verdict for each in findings}
    if CheckVerdict.HOLD in worst:
        return CheckVerdict.HOLD
    return CheckVerdict.WATCH if worst else CheckVerdict.STEADY


def _judge_state(value: BaselineValue, readings: Sequence[CheckReading]) -> Finding | None:
    found = repeats.state_of(readings)
    if found == value.state:
        return None
    reason = f"{value.measurand}: should be {value.state}, is {repeats.state_words(found)}."
    return Finding(verdict=CheckVerdict.HOLD, reason=reason, words=f"{value.measurand}: not as it should be.")


def _judge_level(
    before: Series, readings: Sequence[CheckReading], session: Session, thresholds: Thresholds
) -> Finding | None:
    """Compare by the centre's percentages of the baseline, and by the checks since it all together."""
    frame = before.history.airs
    mean = histories.mean_in(frame, readings=readings, session=session.pk)
    judged = standing.judge(before.reference, means=[*before.means, mean], thresholds=thresholds)
    if judged.standing is Standing.STEADY:
        return None
    measurand, baseline = before.measurand, before.reference.mean
    side = "above" if mean > baseline else "below"
    if judged.why is Why.AVERAGE:
        chart = before.reference.chart([*before.means, mean])
        side = "above" if chart.points[-1] > baseline else "below"
        average, limit = before.percent(chart.points[-1]), before.percent(chart.upper[-1])
        return Finding(
            verdict=CheckVerdict.WATCH,
            reason=f"{measurand}: the weighted average of the checks is {abs(average):.1f} % {side} the "
            f"baseline, and {limit:.1f} % is as far as chance takes it.",
            words=f"{measurand}: the last checks together have drifted {side} the baseline.",
        )
    unit = measurand.test_point.unit
    far = "too far" if judged.why is Why.FAR else "some way"
    both = "" if frame.usual is None else " (both as in reference air)"
    return Finding(
        verdict=CheckVerdict(judged.standing.value),
        reason=f"{measurand}: {Decimal(from_si(mean, unit=unit)):.3g} {unit} today, "
        f"{Decimal(from_si(baseline, unit=unit)):.3g} {unit} in the baseline{both}.",
        words=f"{measurand}: {far} {side} the baseline.",
    )


def _judge_margin(
    values: Iterable[BaselineValue], readings: Sequence[CheckReading], thresholds: Thresholds
) -> Iterator[Finding]:
    """What is in hand before the switch no longer makes, on a rig whose baseline has its make point."""
    make = next((each for each in values if _key(each.measurand) == MAKE_POINT), None)
    running = [each for each in readings if _key(each.measurand) == AT_THE_SWITCH]
    if make is None or not make.mean or not running:
        return
    margin = fmean(each.corrected for each in running) / make.mean
    if margin < thresholds.least_margin:
        yield Finding(
            verdict=CheckVerdict.HOLD,
            reason=f"{running[0].measurand}: {margin:.2f} times the make point of the baseline. "
            f"Below {thresholds.least_margin:g} the switch may not make.",
            words=f"{running[0].measurand}: too near the make point of the switch.",
        )


def _key(measurand: Measurand) -> tuple[str, str]:
    return measurand.test_point.slug, measurand.condition.slug
