"""A manometer that was found out of tolerance after three months, and the attempts made with it. Invented."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

from academy.models import Person
from assessments.impact import marking_again, opening
from assessments.models import Attempt, ImpactReview, SignOff
from assessments.models.decisions import Decision
from rigs.calibrations import PointLine
from rigs.metrology.quantities import Quantity
from rigs.models import Calibration, Instrument
from rigs.models.instruments import InstrumentKind
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.assessments import Bench, Work

# What it showed of a reference's 0.50, 1.00, 1.50 and 2.00 mbar.
AS_FOUND = {0.5: -0.04, 1.0: -0.07, 1.5: -0.11, 2.0: -0.15}
PRESSURES = ("ports-running", "taps-running", "taps-freed")
FOUND_AFTER = timedelta(days=60)


def reading(text: str) -> Work:
    """The same text wherever the fan's pressure is read."""
    return Work(readings=dict.fromkeys(PRESSURES, text))


def on_day(bench: Bench, day: int) -> datetime:
    """The moment at which work can start that many days on, the rig checked there."""
    at = bench.at + timedelta(days=day)
    if day:
        rigs.check(
            of=bench.rig, instruments=references(bench), by=bench.technician, at=at - timedelta(minutes=15)
        )
    return at


def references(bench: Bench) -> Mapping[str, Instrument]:
    found = Instrument.objects.references().filter(centre=bench.centre).select_related("model")
    return {str(each.model.kind): each for each in found}


def decided(
    bench: Bench,
    text: str,
    *,
    at: datetime,
    candidate: Person | None = None,
    decision: Decision = Decision.COMPETENT,
) -> SignOff:
    return made.signed_off(bench, reading(text), candidate=candidate, decision=decision, at=at)


def points(
    errors: Mapping[float, float] = AS_FOUND, *, unit: str = "mbar", quantity: Quantity = Quantity.PRESSURE
) -> list[PointLine]:
    return [
        PointLine(
            quantity=quantity,
            unit=unit,
            nominal=nominal,
            as_found_error=error,
            as_left_error=0.0,
            expanded_u=0.005,
        )
        for nominal, error in errors.items()
    ]


def found_out(
    bench: Bench,
    *,
    of: Instrument | None = None,
    on: date | None = None,
    lines: Sequence[PointLine] | None = None,
    late_note: str = "",
) -> Calibration:
    """The certificate that says so, recorded the day after it was made."""
    day = on or (bench.at + FOUND_AFTER).date()
    return rigs.certificate(
        of=of or bench.instruments[InstrumentKind.MANOMETER],
        by=bench.technician,
        on=day,
        at=bench.at + FOUND_AFTER + timedelta(days=1),
        points=points() if lines is None else lines,
        as_found_in_tolerance=False,
        late_note=late_note,
    )


def after(bench: Bench, days: int = 2) -> datetime:
    return bench.at + FOUND_AFTER + timedelta(days=days)


def opened(bench: Bench, calibration: Calibration | None = None, **given: object) -> ImpactReview:
    return opening.open_for_certificate(
        calibration=calibration or found_out(bench), by=bench.technician, at=after(bench), **given
    )


def worked(bench: Bench, review: ImpactReview | None = None) -> ImpactReview:
    """A review worked through to the end."""
    review = review or opened(bench)
    while not marking_again.work_through(review=review, by=bench.technician, at=after(bench)).is_done:
        pass
    return ImpactReview.objects.get(pk=review.pk)


def item_of(review: ImpactReview, attempt: Attempt):
    return review.items.get(attempt=attempt)
