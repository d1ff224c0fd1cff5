"""One list of everything that is due, and the same as a calendar (RFC 5545)."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from academy.models import LedgerEntry, Role
from rigs import calendars
from rigs.due_dates import Due, months_after
from rigs.due_list import Duty, due_items
from rigs.models import CalendarAddress, Calibration, Instrument, Rig
from tests.factories import rigs
from tests.factories.academy import AT, person_with

TODAY = AT.date()


@pytest.mark.parametrize(
    ("on", "months", "expected"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 12, 31), 2, date(2028, 2, 29)),
        (date(2026, 6, 15), 12, date(2027, 6, 15)),
        (date(2026, 11, 30), 3, date(2027, 2, 28)),
    ],
    ids=str,
)
def test_months_end_where_a_short_month_does(on, months, expected):
    assert months_after(on, months=months) == expected


@given(st.dates(max_value=date(9000, 1, 1)), st.integers(1, 120))
def test_a_later_number_of_months_is_never_an_earlier_day(on, months):
    assert on < months_after(on, months=months) <= months_after(on, months=months + 1)


@pytest.mark.django_db
class TestTheList:
    def test_it_has_calibrations_inspections_and_baselines_by_date(self, bench):
        Rig.objects.filter(pk=bench.rig.pk).update(electrical_inspection_due=TODAY + timedelta(days=3))
        found = due_items(centre=bench.rig.centre)
        duties = {(item.duty, item.tag) for item in found}
        assert {(Duty.INSPECTION, "VB-01"), (Duty.BASELINE, "VB-01")} <= duties
        assert (Duty.CALIBRATION, bench.manometer.tag) in duties
        assert (Duty.CALIBRATION, bench.indicator.tag) not in duties  # proved at each use
        assert [item.due_on for item in found] == sorted(item.due_on for item in found)

    def test_a_baseline_is_due_the_centres_number_of_months_after_its_approval(self, bench):
        centre = bench.rig.centre
        centre.baseline_months = 6
        (item,) = [each for each in due_items(centre=centre) if each.duty is Duty.BASELINE]
        assert item.since == date(2025, 1, 5)
        assert item.due_on == date(2025, 7, 5)

    def test_what_was_never_calibrated_comes_first_and_is_overdue(self, bench):
        Calibration.objects.filter(instrument=bench.manometer).delete()
        first = due_items(centre=bench.rig.centre)[0]
        assert (first.tag, first.due_on, first.state(on=TODAY)) == (bench.manometer.tag, None, Due.OVERDUE)

    def test_what_is_retired_is_not_in_it(self, bench):
        Instrument.objects.filter(pk=bench.manometer.pk).update(retired_at=AT)
        Rig.objects.filter(pk=bench.rig.pk).update(retired_at=AT)
        tags = {item.tag for item in due_items(centre=bench.rig.centre)}
        assert not tags & {bench.manometer.tag, "VB-01"}

    def test_more_things_cost_no_more_queries(self, bench):
        def counted():
            with CaptureQueriesContext(connection) as queries:
                due_items(centre=bench.rig.centre)
            return len(queries)

        before = counted()
        Instrument.objects.bulk_create(
            Instrument(centre=bench.rig.centre, model=bench.manometer.model, tag=f"MN-{number}")
            for number in range(20, 50)
        )
        assert counted() == before

    def test_the_page_leads_to_each(self, client, bench, morning):
        client.force_login(bench.technician)
        page = client.get(reverse("due-list")).text
        assert reverse("instrument-detail", args=[bench.manometer.pk]) in page
        assert reverse("rig-detail", args=[bench.rig.pk]) in page


@pytest.mark.django_db
class TestTheCalendar:
    @pytest.fixture
    def feed(self, client, bench, morning):
        """What a calendar program gets, which isn't signed in."""
        address = calendars.give_address(person=bench.technician, at=AT)

        def feed(token=address.token):
            return client.get(reverse("calendar-feed", args=[token]))

        return feed

    def test_it_reads_back_as_the_list(self, bench, feed):
        response = feed()
        assert response["Content-Type"] == "text/calendar; charset=utf-8"
        read = Calendar.from_ical(response.content)
        expected = {
            (f"{item.tag}: {item.duty} due", item.due_on) for item in due_items(centre=bench.rig.centre)
        }
        assert {(str(event["summary"]), event["dtstart"].dt) for event in read.walk("VEVENT")} == expected

    def test_its_lines_are_as_the_standard_has_them(self, feed):
        """RFC 5545, 3.1: lines end in CRLF and are folded at 75 octets."""
        content = feed().content
        assert content.endswith(b"END:VCALENDAR\r\n")
        lines = content.split(b"\r\n")
        assert not any(b"\n" in line or b"\r" in line for line in lines)
        assert max(map(len, lines)) <= 75
        assert lines[0] == b"BEGIN:VCALENDAR"
        assert b"VERSION:2.0" in lines

    def test_every_event_has_what_the_standard_asks_for(self, feed):
        """RFC 5545, 3.6.1: UID and DTSTAMP are required; a whole day is a DATE, its end the next day."""
        for event in Calendar.from_ical(feed().content).walk("VEVENT"):
            assert event["dtstamp"].dt.utcoffset() == timedelta(0)
            assert event["dtstart"].params["VALUE"] == "DATE"
            assert event["dtend"].dt - event["dtstart"].dt == timedelta(days=1)
            assert re.fullmatch(r"[0-9a-f-]{36}-\w+@\S+", str(event["uid"]))

    def test_a_date_that_moves_keeps_its_event(self, bench, feed):
        def event():
            found = Calendar.from_ical(feed().content).walk("VEVENT")
            return next(each for each in found if str(each["summary"]).startswith(bench.manometer.tag))

        before = event()
        Calibration.objects.filter(instrument=bench.manometer).update(due_on=TODAY + timedelta(days=700))
        assert event()["uid"] == before["uid"]
        assert event()["dtstart"].dt != before["dtstart"].dt

    def test_an_address_works_until_it_is_revoked_or_replaced(self, client, bench, feed):
        client.force_login(bench.technician)
        assert feed().status_code == 200
        client.post(reverse("calendar-give"))
        assert feed().status_code == 404
        newest = CalendarAddress.objects.in_use().get()
        assert feed(newest.token).status_code == 200
        client.post(reverse("calendar-revoke"))
        assert feed(newest.token).status_code == 404
        verbs = LedgerEntry.objects.filter(verb__startswith="calendar.").values_list("verb", flat=True)
        assert sorted(verbs) == ["calendar.give", "calendar.give", "calendar.revoke"]

    def test_it_stops_with_the_persons_role(self, bench, feed):
        bench.technician.roles.update(ends_on=AT.date() - timedelta(days=1), starts_on=date(2024, 1, 1))
        assert feed().status_code == 404

    def test_a_made_up_address_is_not_there(self, feed):
        assert feed("nobody").status_code == 404

    def test_another_centre_is_not_in_it(self, bench, feed):
        other = rigs.open_bench(tag="ZZ-99")
        assert "ZZ-99" not in feed().content.decode()
        address = calendars.give_address(person=person_with(Role.Kind.ASSESSOR, by=other.manager), at=AT)
        assert "ZZ-99" in feed(address.token).content.decode()
