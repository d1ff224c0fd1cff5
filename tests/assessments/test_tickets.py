"""Tickets: what they pin, how long they are good, and what they hold up meanwhile."""

from datetime import timedelta
from uuid import uuid4

import pytest

from academy.refusals import Refused
from assessments import attempts, disclosure, faults, tickets
from assessments.models import Attempt, Ticket
from assessments.models.attempts import Purpose
from rigs import holds
from rigs.models import Fault, Instrument
from tests.assessments.sync.devices import ticket_for
from tests.factories import assessments as made
from tests.factories import fault_finding, rigs
from tests.factories.assessments import SWITCH_TEST

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
REFERENCES = {"manometer": "MN-01", "multimeter": "DM-01"}


@pytest.fixture
def ticket(bench) -> Ticket:
    return ticket_for(bench, bench.candidate)


def asked(bench) -> dict[str, object]:
    version = bench.tasks[SWITCH_TEST]
    return {
        "candidate": bench.candidate,
        "version": version,
        "rig": bench.rig,
        "purpose": Purpose.ASSESSMENT,
        "chosen": {kind: bench.instruments[kind] for kind in attempts.kinds_needed(version)},
        "cautions_read": True,
        "at": bench.at,
    }


def used(ticket: Ticket, *, after: timedelta = HOUR, arrives: timedelta | None = None, **given) -> Attempt:
    at = ticket.issued_at + (arrives or after)
    return tickets.use(
        ticket=ticket,
        **{
            "id": uuid4(),
            "candidate": ticket.candidate,
            "cautions_read": True,
            "begun_at": ticket.issued_at + after,
            "at": at,
        }
        | given,
    )


def test_an_attempt_gets_what_the_ticket_pinned(bench, ticket):
    attempt = used(ticket)

    assert (attempt.sheet, attempt.session, attempt.fault) == (ticket.sheet, ticket.session, ticket.fault)
    assert attempt.purpose == Purpose.ASSESSMENT
    taken = {row.kind: (row.instrument, row.model, row.calibration) for row in attempt.instruments.all()}
    assert taken == {
        row.kind: (row.instrument, row.model, row.calibration) for row in ticket.instruments.all()
    }
    assert attempt.started_at == ticket.issued_at + HOUR


def test_a_later_check_changes_nothing_that_the_ticket_pinned(bench, ticket):
    references = {kind: Instrument.objects.get(tag=tag) for kind, tag in REFERENCES.items()}
    rigs.check(of=bench.rig, instruments=references, by=bench.technician, at=bench.at, running=1.6)

    assert attempts.pins_for(**asked(bench)).sheet != ticket.sheet
    assert used(ticket).sheet == ticket.sheet


def test_asking_twice_fetches_one_ticket(bench, ticket):
    again = tickets.issue(
        id=ticket.pk,
        candidate=bench.candidate,
        version=ticket.version,
        rig=bench.rig,
        purpose=Purpose.ASSESSMENT,
        chosen={},
        at=bench.at,
    )
    assert again == ticket
    with pytest.raises(Refused, match="You have a ticket for this task on VB-01 already"):
        ticket_for(bench, bench.candidate)


def test_a_ticket_runs_out_with_the_half_day(bench, ticket):
    assert ticket.expires_at.astimezone(bench.centre.zone).time() == bench.centre.afternoon_from
    left = ticket.expires_at - ticket.issued_at

    with pytest.raises(Refused, match="The ticket ran out at 13:00, before this attempt began"):
        used(ticket, after=left)
    assert used(ticket, after=left - timedelta(seconds=1), arrives=left + 5 * HOUR).purpose == "assessment"


@pytest.mark.parametrize(("off", "begun"), [(-timedelta(days=9000), timedelta()), (timedelta(hours=3), HOUR)])
def test_a_clock_that_is_off_puts_the_start_no_earlier_than_the_ticket_and_no_later_than_now(
    bench, ticket, off, begun
):
    attempt = used(ticket, begun_at=ticket.issued_at + HOUR + off)

    assert attempt.started_at == ticket.issued_at + begun


def test_a_ticket_is_used_once(bench, ticket):
    attempt = used(ticket)

    assert used(ticket, id=attempt.pk) == attempt
    with pytest.raises(Refused, match="used for another attempt"):
        used(ticket)


def test_a_ticket_is_nobody_elses(bench, ticket):
    with pytest.raises(Refused, match="belongs to somebody else"):
        used(ticket, candidate=made.another_candidate(bench))


def test_cautions_are_confirmed_when_work_begins(bench, ticket):
    with pytest.raises(Refused, match="Read the cautions"):
        used(ticket, cautions_read=False)


def test_it_is_refused_beside_an_open_attempt(bench, ticket):
    made.started(bench)
    with pytest.raises(Refused, match="carry on with that one"):
        used(ticket)


def test_work_on_a_rig_that_was_put_on_hold_since_is_kept(bench, ticket):
    holds.place(on=bench.rig, reason="Fan noisy", by=bench.technician, at=bench.at)

    assert used(ticket).sheet == ticket.sheet


def test_none_is_issued_where_no_attempt_could_start(bench):
    holds.place(on=bench.rig, reason="Fan noisy", by=bench.technician, at=bench.at)

    with pytest.raises(Refused, match="VB-01 is on hold"):
        ticket_for(bench, bench.candidate)


def test_who_has_seen_the_ranges_since_is_not_assessed(bench, ticket):
    disclosure.note_seen(person=bench.candidate, rig=bench.rig, at=bench.at)

    with pytest.raises(Refused, match="You have seen what VB-01 reads"):
        used(ticket)


def test_numbers_are_withheld_while_a_ticket_is_out(bench):
    other = made.another_candidate(bench)
    assert not disclosure.is_withheld(person=other, rig=bench.rig, on=bench.at.date())

    ticket_for(bench, bench.candidate)

    assert disclosure.is_withheld(person=other, rig=bench.rig, on=bench.at.date())
    assert not disclosure.is_withheld(person=other, rig=bench.rig, on=bench.at.date() + timedelta(days=1))


class TestFaults:
    def test_none_is_set_under_a_ticket_until_it_is_given_back(self, bench, ticket):
        fault = Fault.objects.get(design=bench.rig.design, slug="tubes-crossed")
        given = {"rig": bench.rig, "fault": fault, "by": bench.assessor, "at": bench.at}

        with pytest.raises(Refused, match="has a ticket to work on VB-01"):
            faults.set_fault(**given, practice_only=True)
        tickets.end(ticket=ticket, by=bench.candidate, at=bench.at)

        assert faults.set_fault(**given, practice_only=True)

    def test_one_that_is_set_is_pinned(self):
        bench = fault_finding.bench(fault="tubes-crossed")
        ticket = ticket_for(bench, bench.candidate, task=fault_finding.FAULT_FINDING)

        assert ticket.fault is not None
        assert used(ticket).fault == ticket.fault


class TestEnding:
    def test_an_assessor_withdraws_one(self, bench, ticket):
        ended = tickets.end(ticket=ticket, by=bench.assessor, at=bench.at)

        assert ended.ended_by == bench.assessor
        assert tickets.end(ticket=ticket, by=bench.candidate, at=bench.at).ended_by == bench.assessor
        with pytest.raises(Refused, match="given back or withdrawn"):
            used(ticket)

    @pytest.mark.parametrize("who", ["technician", "other"])
    def test_nobody_else_does(self, bench, ticket, who):
        by = made.another_candidate(bench) if who == "other" else bench.technician
        with pytest.raises(Refused, match="Only its candidate or an assessor"):
            tickets.end(ticket=ticket, by=by, at=bench.at)

    def test_one_that_was_used_is_not_ended(self, bench, ticket):
        used(ticket)
        with pytest.raises(Refused, match="used already"):
            tickets.end(ticket=ticket, by=bench.candidate, at=bench.at)
