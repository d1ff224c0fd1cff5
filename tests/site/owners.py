"""Whose each thing is that a candidate gets to: their own, or the centre's."""

from operator import attrgetter
from typing import Any

from academy.models import Job, Person
from assessments.models import (
    Attempt,
    Photo,
    PortfolioDocument,
    Reading,
    TaskVersion,
    Ticket,
    VirtualPractice,
)
from rigs.models import Instrument, Rig
from tests.factories.centres import BusyCentre
from tests.site.pages import Page

OF_THE_CENTRE = (Instrument, Rig, TaskVersion)
OWNERS = {
    Attempt: "candidate",
    Job: "asked_by",
    Photo: "attempt.candidate",
    PortfolioDocument: "candidate",
    Reading: "attempt.candidate",
    Ticket: "candidate",
    VirtualPractice: "candidate",
}


def owners(centre: BusyCentre, page: Page) -> set[Person]:
    """The people whose things a page is about. KeyError for a kind of thing that nobody has decided on."""
    return {owner for named in page.things if (owner := _owner(centre.things[named]))}


def _owner(thing: Any) -> Person | None:
    if isinstance(thing, Person):
        return thing
    if isinstance(thing, OF_THE_CENTRE):
        return None
    owner: Person = attrgetter(OWNERS[type(thing)])(thing)
    return owner
