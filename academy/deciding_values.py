"""The centre's own values for how decisions are made there, and for what is pointed out about them."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType

from django.db import transaction

from academy import own_values
from academy.models import Centre, Person
from academy.own_values import Value
from academy.people import check_own_centre
from academy.refusals import Refused

BETWEEN: Mapping[str, tuple[Value, Value]] = MappingProxyType(
    {
        "decide_days": (0, 365),
        "hasty_seconds": (0, 3600),
        "same_words_times": (2, 100),
        "sitting_minutes": (1, 720),
        "countersign_days": (1, 365),
        "appeal_within_days": (1, 365),
        "appeal_informal_days": (1, 365),
        "appeal_written_days": (1, 365),
        "hands_seconds": (0, 600),
        "hurried_percent": (0, 100),
        "photo_slack_minutes": (0, 1440),
        "coincidence": (0, 1),
    }
)
"""The least and the most that each may be, by the name of the centre's field."""


@transaction.atomic
def change(*, centre: Centre, values: Mapping[str, Value], by: Person, at: datetime) -> Centre:
    """Set some of ``BETWEEN`` from now on; what was decided and pointed out stands. KeyError for another."""
    check_own_centre(centre=centre, by=by)
    for name, value in values.items():
        least, most = BETWEEN[name]
        if not least <= value <= most:
            raise Refused(f"Give between {least:g} and {most:g}.", field=name)
    return own_values.keep(centre=centre, values=values, verb="deciding-values.change", by=by, at=at)
