"""What holds for a person from one day to another: scopes, conflicts of interest, adjustments."""

from datetime import date, datetime, timedelta

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.models import Adjustment, AssessorScope, ConflictOfInterest

Term = Adjustment | AssessorScope | ConflictOfInterest


def require_order(*, starts_on: date, ends_on: date | None) -> None:
    if ends_on is not None and ends_on < starts_on:
        raise Refused("The last day can't be before the first.", field="ends_on")


def facts(*, starts_on: date, ends_on: date | None) -> dict[str, ledger.Fact]:
    """The days, for the ledger."""
    return {
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat() if ends_on else None,
    }


def require_not_over(term: Term, *, today: date) -> None:
    if term.ends_on is not None and term.ends_on < today:
        raise Refused("That has ended already.", field="ends_on")


def require_last_day(term: Term, *, on: date, today: date) -> None:
    """Yesterday at the earliest: what was done under it stays in order."""
    require_not_over(term, today=today)
    if on < max(term.starts_on, today - timedelta(days=1)):
        raise Refused("The last day can't be before the first, nor before yesterday.", field="ends_on")


def end(term: Term, *, on: date, centre: Centre, verb: str, by: Person, at: datetime) -> None:
    """Give it its last day. Whether that may be is asked before: this is part of a verb's transaction."""
    term.ends_on = on
    term.save(update_fields=["ends_on"])
    said = {"ends_on": on.isoformat()}
    ledger.append(centre=centre, actor=by, verb=verb, subject=term.pk, at=at, facts=said)
