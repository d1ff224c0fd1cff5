"""Which attempts a finding reaches: through their own readings, or through what they were marked from."""

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q

from assessments.models import Attempt, AttemptInstrument, ImpactItem, ImpactReview
from rigs import looking_back
from rigs.metrology.doubt import Doubt, curve_as_found
from rigs.metrology.quantities import Quantity

READINGS = "its own readings"


def doubt_of(review: ImpactReview) -> Doubt:
    """An instrument's errors as found, and the time in doubt."""
    by_quantity: dict[Quantity, dict[float, float]] = defaultdict(dict)
    for quantity, nominal, error in review.points:
        by_quantity[Quantity(quantity)][nominal] = error
    return Doubt(
        curves={quantity: curve_as_found(points) for quantity, points in by_quantity.items()},
        since=review.since,
        until=review.found_at,
        event=review.event_at,
    )


def exposed(review: ImpactReview) -> dict[UUID, list[str]]:
    """The attempts handed in so far that the finding reaches, each with the ways in which it does."""
    ways: dict[UUID, list[str]] = defaultdict(list)
    for attempt in _directly(review):
        ways[attempt].append(READINGS if review.instrument_id else "the rig’s values")
    if review.instrument is not None:
        for attempt, words in _through_sheets(review):
            ways[attempt].append(words)
    return ways


def list_exposed(review: ImpactReview) -> list[UUID]:
    """Put those that aren't on the review's list yet on it; returns which."""
    found = exposed(review)
    known = set(review.items.values_list("attempt", flat=True))
    new = [pk for pk in found if pk not in known]
    ImpactItem.objects.bulk_create(ImpactItem(review=review, attempt_id=pk, through=found[pk]) for pk in new)
    return new


def _directly(review: ImpactReview) -> Iterable[UUID]:
    """By the time of the work: that of the start, or the day that a log sheet is of."""
    zone = review.centre.zone
    first, last = review.since.astimezone(zone).date(), review.found_at.astimezone(zone).date()
    worked = Q(observed_on=None, started_at__gte=review.since, started_at__lte=review.found_at) | Q(
        observed_on__gte=first, observed_on__lte=last
    )
    attempts = Attempt.objects.filter(worked).counting()
    if review.rig_id is not None:
        attempts = attempts.filter(rig=review.rig_id, sheet__isnull=False)
    else:
        taken = AttemptInstrument.objects.filter(instrument=review.instrument_id)
        attempts = attempts.filter(pk__in=taken.values("attempt"))
    return attempts.order_by("submitted_at", "pk").values_list("pk", flat=True)


def _through_sheets(review: ImpactReview) -> Iterable[tuple[UUID, str]]:
    assert review.instrument is not None
    fed = looking_back.fed_by(instrument=review.instrument, since=review.since, until=review.found_at)
    by_sheet = {each.sheet: each for each in fed}
    attempts = Attempt.objects.filter(sheet__in=by_sheet).counting().order_by("submitted_at", "pk")
    rows = attempts.values_list("pk", "sheet", "rig__tag", "sheet__baseline__number")
    for attempt, sheet, rig, baseline in rows:
        if by_sheet[sheet].through_baseline:
            yield attempt, f"baseline {baseline} of {rig}"
        if by_sheet[sheet].checks:
            yield attempt, f"checks of {rig}"
