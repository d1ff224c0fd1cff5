"""What a centre may set for itself."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import check_fields

Value = int | float | Decimal


def keep(*, centre: Centre, values: Mapping[str, Value], verb: str, by: Person, at: datetime) -> Centre:
    """Keep values under the names of the centre's fields. Which, and by whom, is for the verb to ask before.

    Part of its transaction.
    """
    ledger.lock(centre=centre)
    held = Centre.objects.get(pk=centre.pk)
    for name, value in values.items():
        setattr(held, name, value)
    check_fields(held)
    held.save(update_fields=list(values))
    facts = {name: str(value) for name, value in values.items()}
    ledger.append(centre=held, actor=by, verb=verb, subject=held.pk, at=at, facts=facts)
    return held
