"""Due dates as an iCalendar feed (RFC 5545), under a private address for each person."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from django.db import transaction
from icalendar import Alarm, Calendar, Event

from academy import ledger
from academy.models import Person
from academy.permissions import Permission, permissions_of
from rigs.due_list import DueItem
from rigs.models import CalendarAddress

REMINDER = timedelta(days=-14)


@transaction.atomic
def give_address(*, person: Person, at: datetime) -> CalendarAddress:
    """A new private address; one that the person had stops working."""
    _revoke(person, at=at)
    address = CalendarAddress.objects.create(person=person, made_at=at)
    _log("calendar.give", address, at=at)
    return address


@transaction.atomic
def revoke_address(*, person: Person, at: datetime) -> None:
    """Stop a person's address from working. Nothing happens without one."""
    for address in _revoke(person, at=at):
        _log("calendar.revoke", address, at=at)


def reader_of(*, token: str, at: datetime) -> Person | None:
    """Whose address this is; None when it doesn't work, or its owner may no longer see instruments."""
    known = CalendarAddress.objects.in_use().filter(token=token).select_related("person__centre").first()
    if known is None or known.person.centre is None:
        return None
    on = known.person.centre.date_at(at)
    may = Permission.INSTRUMENT_READ in permissions_of(known.person, on=on)
    return known.person if may else None


def feed(items: Iterable[DueItem], *, name: str, site: str, at: datetime) -> bytes:
    """The calendar: a whole-day event for each date, with a reminder a fortnight before.

    An event's UID is the thing's and its duty's, so that a date which moves moves in the subscriber's
    calendar too, and isn't there twice. What has no date isn't in it.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Makepoint//due dates//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", name)
    for item in items:
        if item.due_on is not None:
            calendar.add_component(_event(item, site=site, at=at))
    return bytes(calendar.to_ical())


def _event(item: DueItem, *, site: str, at: datetime) -> Event:
    assert item.due_on is not None  # feed() leaves the others out
    event = Event()
    event.add("uid", f"{item.pk}-{item.duty.name.lower()}@{site}")
    event.add("dtstamp", at.astimezone(UTC))
    event.add("dtstart", item.due_on)
    event.add("dtend", item.due_on + timedelta(days=1))
    event.add("summary", f"{item.tag}: {item.duty} due")
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"{item.tag}: {item.duty} due")
    alarm.add("trigger", REMINDER)
    event.add_component(alarm)
    return event


def _revoke(person: Person, *, at: datetime) -> list[CalendarAddress]:
    held = list(CalendarAddress.objects.of(person).in_use().select_for_update())
    for address in held:
        address.revoked_at = at
        address.save(update_fields=["revoked_at"])
    return held


def _log(verb: str, address: CalendarAddress, *, at: datetime) -> None:
    centre = address.person.centre
    assert centre is not None  # nobody else gets to the page
    ledger.append(centre=centre, actor=address.person, verb=verb, subject=address.pk, at=at)
