"""The centre's own values for when a rig is watched, taken out of use, and due for a new baseline."""

from datetime import datetime
from decimal import Decimal

from django.db import transaction

from academy import own_values
from academy.models import Centre, Person
from academy.people import check_own_centre
from academy.refusals import Refused


@transaction.atomic
def change(
    *,
    centre: Centre,
    watch_percent: Decimal,
    hold_percent: Decimal,
    least_margin: Decimal,
    baseline_months: int,
    by: Person,
    at: datetime,
) -> Centre:
    """Set them from now on. Verdicts that were given stand. Refused where a rig could never be watched."""
    check_own_centre(centre=centre, by=by)
    if watch_percent <= 0:
        raise Refused("Give a share above 0 %: every check is some way off.", field="watch_percent")
    if watch_percent > hold_percent:
        raise Refused("A rig is watched before it is taken out of use: give less.", field="watch_percent")
    if not 1 <= least_margin < 10:
        raise Refused("Give 1 or more: below 1 the switch doesn’t make.", field="least_margin")
    if baseline_months < 1:
        raise Refused("Give a month or more.", field="baseline_months")
    values: dict[str, own_values.Value] = {
        "watch_percent": watch_percent,
        "hold_percent": hold_percent,
        "least_margin": least_margin,
        "baseline_months": baseline_months,
    }
    return own_values.keep(centre=centre, values=values, verb="thresholds.change", by=by, at=at)
