"""Opening an impact review: by a certificate, by a hold on a rig, or by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Max

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.impact import exposure
from assessments.models import ImpactReview
from assessments.models.impact import EvidenceKind, Trigger
from rigs import looking_back
from rigs.metrology.quantities import Quantity, UnitError, to_si, unit_quantity, width_to_si
from rigs.models import Calibration, Hold, Instrument, Rig


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The last that showed all to be well, and when."""

    kind: EvidenceKind
    at: datetime
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a person knows besides: a later good look at it, and something that happened to it.

    ``good_on`` is the day of a cross-check or the like, which ``evidence`` says more about.
    """

    good_on: date | None = None
    evidence: str = ""
    event_on: date | None = None
    event: str = ""


NOTHING = Told()


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorLine:
    """What an instrument read wrong, in ``unit``: the error is indicated minus reference."""

    unit: str
    nominal: float
    error: float


@transaction.atomic
def open_for_certificate(
    *, calibration: Calibration, by: Person, at: datetime, told: Told = NOTHING
) -> ImpactReview:
    """Open a review of what an instrument did before the day on which it was found out of tolerance.

    Refused for a certificate without errors as found, and where nothing shows since when it is in doubt.
    """
    instrument = calibration.instrument
    centre = instrument.centre
    _require_right(by, centre, at=at)
    known = ImpactReview.objects.filter(calibration=calibration).first()
    if known is not None:
        raise Refused(f"Certificate {calibration} has its review already, number {known.number}.")
    lines = [
        ErrorLine(unit=point.unit, nominal=point.nominal, error=point.as_found_error)
        for point in calibration.points.all()
        if point.as_found_error is not None
    ]
    if not lines:
        raise Refused(
            f"Certificate {calibration} doesn’t say how {instrument.tag} was found, point by point. Ask the "
            "laboratory for the errors as found; or open the review by hand with what you know of them."
        )
    before = looking_back.certificate_before(calibration)
    found = None
    if before is not None:
        found = Evidence(
            kind=EvidenceKind.CERTIFICATE,
            at=_start_of(before.calibrated_on, centre),
            words=f"Certificate {before} of {before.laboratory}",
        )
    return _open(
        centre,
        told=told,
        evidence=found,
        by=by,
        at=at,
        trigger=Trigger.CERTIFICATE,
        instrument=instrument,
        calibration=calibration,
        finding=f"Certificate {calibration} of {calibration.laboratory}: out of tolerance as found.",
        found_at=min(_start_of(calibration.calibrated_on + timedelta(days=1), centre), at),
        points=_points(lines, instrument=instrument),
    )


@transaction.atomic
def open_for_hold(*, hold: Hold, by: Person, at: datetime, told: Told = NOTHING) -> ImpactReview:
    """Open a review of what was measured on a rig before it was put on hold because it had drifted.

    Refused for a hold on an instrument: there the errors as found are needed.
    """
    rig = hold.rig
    if rig is None:
        raise Refused("For an instrument, open the review by its certificate, or by hand with its errors.")
    _require_right(by, rig.centre, at=at)
    known = ImpactReview.objects.filter(hold=hold).first()
    if known is not None:
        raise Refused(f"This hold has its review already, number {known.number}.")
    return _open(
        rig.centre,
        told=told,
        evidence=_evidence_of(rig, before=hold.placed_at),
        by=by,
        at=at,
        trigger=Trigger.HOLD,
        rig=rig,
        hold=hold,
        finding=f"Put on hold: {hold.reason}",
        found_at=hold.placed_at,
    )


@transaction.atomic
def open_by_hand(
    *,
    thing: Instrument | Rig,
    finding: str,
    found_on: date,
    told: Told,
    by: Person,
    at: datetime,
    errors: Sequence[ErrorLine] = (),
) -> ImpactReview:
    """Open a review for what somebody found out. For an instrument it takes what it read wrong, and where."""
    centre = thing.centre
    _require_right(by, centre, at=at)
    if not finding.strip():
        raise Refused("Say what was found.", field="finding")
    if found_on > centre.date_at(at):
        raise Refused("That day lies in the future.", field="found_on")
    found_at = min(_start_of(found_on + timedelta(days=1), centre), at)
    is_rig = isinstance(thing, Rig)
    if not is_rig and not errors:
        raise Refused("Say what it read wrong, at one value at least.", field="shown")
    return _open(
        centre,
        told=told,
        evidence=_evidence_of(thing, before=found_at),
        by=by,
        at=at,
        trigger=Trigger.HAND,
        rig=thing if is_rig else None,
        instrument=None if is_rig else thing,
        finding=finding.strip(),
        found_at=found_at,
        points=[] if isinstance(thing, Rig) else _points(errors, instrument=thing),
    )


def _require_right(person: Person, centre: Centre, *, at: datetime) -> None:
    may = Permission.IMPACT_OPEN in permissions_of(person, on=centre.date_at(at))
    if person.centre_id != centre.pk or not may:
        raise Refused("Only a manager or a technician of this centre, in post today, opens an impact review.")


def _evidence_of(thing: Instrument | Rig, *, before: datetime) -> Evidence | None:
    """The last steady check of a rig, or its baseline; the last certificate of an instrument."""
    if isinstance(thing, Instrument):
        on = thing.centre.date_at(before)
        last = thing.calibrations.filter(calibrated_on__lt=on).order_by("-calibrated_on").first()
        if last is None:
            return None
        return Evidence(
            kind=EvidenceKind.CERTIFICATE,
            at=_start_of(last.calibrated_on, thing.centre),
            words=f"Certificate {last} of {last.laboratory}",
        )
    check = looking_back.last_steady_check(rig=thing, before=before)
    if check is not None:
        return Evidence(kind=EvidenceKind.CHECK, at=check.made_at, words=f"Check by {check.made_by}: steady")
    baseline = looking_back.baseline_in_force(rig=thing, before=before)
    if baseline is None:
        return None
    assert baseline.decided_at is not None  # an approved one has
    return Evidence(
        kind=EvidenceKind.BASELINE, at=baseline.decided_at, words=f"Baseline {baseline.number}, approved"
    )


def _open(
    centre: Centre,
    *,
    told: Told,
    evidence: Evidence | None,
    by: Person,
    at: datetime,
    found_at: datetime,
    **what: Any,
) -> ImpactReview:
    start = _start(told, evidence, centre=centre, found_at=found_at)
    Centre.objects.select_for_update().get(pk=centre.pk)  # numbers follow one another
    last = ImpactReview.objects.filter(centre=centre).aggregate(last=Max("number"))["last"] or 0
    review = ImpactReview.objects.create(
        centre=centre,
        number=last + 1,
        found_at=found_at,
        since=start.at,
        evidence_kind=start.kind,
        evidence=start.words,
        event_at=_event(told, centre=centre, since=start.at, found_at=found_at),
        event=told.event.strip(),
        opened_by=by,
        opened_at=at,
        **what,
    )
    listed = exposure.list_exposed(review)
    ledger.append(
        centre=centre,
        actor=by,
        verb="impact.open",
        subject=review.pk,
        at=at,
        facts={
            "thing": str(review.instrument_id or review.rig_id),
            "trigger": str(review.trigger),
            "since": review.since.isoformat(),
            "found": review.found_at.isoformat(),
            "attempts": [str(pk) for pk in listed],
            "finding": sealed(review.finding, review.salt),
        },
    )
    return review


def _start(told: Told, found: Evidence | None, *, centre: Centre, found_at: datetime) -> Evidence:
    """What a person knows counts before what is on record: a later cross-check, or an earlier doubt."""
    if told.good_on is None:
        if found is None:
            raise Refused(
                "Nothing on record shows when it was last right: give the day of the last good evidence.",
                field="good_on",
            )
        return found
    at = _start_of(told.good_on, centre)
    if at >= found_at:
        raise Refused("The last good evidence must be from before the finding.", field="good_on")
    if not told.evidence.strip():
        raise Refused("Say what showed on that day that it was right.", field="evidence")
    return Evidence(kind=EvidenceKind.TOLD, at=at, words=told.evidence.strip())


def _event(told: Told, *, centre: Centre, since: datetime, found_at: datetime) -> datetime | None:
    if told.event_on is None:
        if told.event.strip():
            raise Refused("Give the day on which that happened.", field="event_on")
        return None
    if not told.event.strip():
        raise Refused("Say what happened on that day.", field="event")
    first, last = centre.date_at(since), centre.date_at(found_at)
    if not first <= told.event_on <= last:
        raise Refused(
            f"That must have happened between the last good evidence, {first:%d %B %Y}, and the finding, "
            f"{last:%d %B %Y}.",
            field="event_on",
        )
    return min(max(_start_of(told.event_on, centre), since), found_at)


def _points(lines: Sequence[ErrorLine], *, instrument: Instrument) -> list[list[str | float]]:
    """As they are kept: quantity, nominal and error in SI. Refused in a unit that it doesn't measure in."""
    measured = {Quantity(each.quantity) for each in instrument.model.ranges.all()}
    points: dict[tuple[str, float], float] = {}
    for line in lines:
        try:
            quantity = unit_quantity(line.unit)
        except UnitError as error:
            raise Refused(str(error), field="shown") from error
        if quantity not in measured:
            raise Refused(
                f"At {line.nominal:g} {line.unit}: {instrument.tag} doesn’t measure {quantity.words}. "
                "Put the unit right first.",
                field="shown",
            )
        place = (quantity.value, to_si(line.nominal, unit=line.unit))
        if place in points:
            raise Refused(f"There are two errors at {line.nominal:g} {line.unit}.", field="shown")
        points[place] = width_to_si(line.error, unit=line.unit)
    return [[quantity, nominal, error] for (quantity, nominal), error in sorted(points.items())]


def _start_of(day: date, centre: Centre) -> datetime:
    return datetime.combine(day, time.min, tzinfo=centre.zone)
