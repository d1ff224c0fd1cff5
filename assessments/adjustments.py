"""What is done otherwise for a candidate. The standard stays the same: no marking knows of it."""

import math
from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments import terms
from assessments.models import Adjustment

MOST_EXTRA_PERCENT = 200


@transaction.atomic
def agree(
    *,
    candidate: Person,
    what: str,
    extra_percent: int,
    starts_on: date,
    ends_on: date | None,
    by: Person,
    at: datetime,
) -> Adjustment:
    """Agree on what is done otherwise, and how much more time there is, in percent of the guide minutes."""
    centre = _require_right(candidate, by, at=at)
    what = what.strip()
    if not what:
        raise Refused("Say what is to be done, such as “instructions read out”.", field="what")
    if not 0 <= extra_percent <= MOST_EXTRA_PERCENT:
        raise Refused(f"Give 0 to {MOST_EXTRA_PERCENT} %.", field="extra_percent")
    terms.require_order(starts_on=starts_on, ends_on=ends_on)
    adjustment = Adjustment.objects.create(
        candidate=candidate,
        what=what,
        extra_percent=extra_percent,
        starts_on=starts_on,
        ends_on=ends_on,
        agreed_by=by,
        agreed_at=at,
    )
    facts = {
        "candidate": str(candidate.pk),
        "what": sealed(f"{extra_percent} %\n{what}", adjustment.salt),
        **terms.facts(starts_on=starts_on, ends_on=ends_on),
    }
    ledger.append(centre=centre, actor=by, verb="adjustment.agree", subject=adjustment.pk, at=at, facts=facts)
    return adjustment


@transaction.atomic
def end(*, adjustment: Adjustment, on: date, by: Person, at: datetime) -> Adjustment:
    """Give an adjustment its last day, yesterday at the earliest."""
    held = (
        Adjustment.objects.select_for_update(of=("self",))
        .select_related("candidate__centre")
        .get(pk=adjustment.pk)
    )
    centre = _require_right(held.candidate, by, at=at)
    terms.require_last_day(held, on=on, today=centre.date_at(at))
    terms.end(held, on=on, centre=centre, verb="adjustment.end", by=by, at=at)
    return held


def in_force(*, candidate: Person, on: date) -> tuple[Adjustment, ...]:
    """What is done otherwise for a candidate on that day. One query."""
    return tuple(Adjustment.objects.in_force(on=on).filter(candidate=candidate))


def minutes(guide_minutes: int, agreed: Iterable[Adjustment]) -> int:
    """The guide minutes with the most extra time that was agreed on, rounded up."""
    extra = max((each.extra_percent for each in agreed), default=0)
    return math.ceil(guide_minutes * (100 + extra) / 100)


def _require_right(candidate: Person, by: Person, *, at: datetime) -> Centre:
    centre = candidate.centre
    if centre is None or centre.pk != by.centre_id:
        raise Refused("That candidate belongs to another centre.")
    if candidate.pk == by.pk:
        raise Refused("Somebody else agrees on what is adjusted for you.")
    if Permission.ADJUSTMENT_AGREE not in permissions_of(by, on=centre.date_at(at)):
        raise Refused("Only an assessor or a manager in post today can do that.")
    return centre
