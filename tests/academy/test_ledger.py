import json
from datetime import UTC, datetime, timedelta
from threading import Thread
from uuid import UUID

import pytest
from django.db import connection, transaction
from django.db.models import ProtectedError

from academy import ledger
from academy.models import AppendOnlyError, Centre, LedgerEntry
from tests.factories.academy import AT, CandidateFactory, ManagerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def centre():
    return Centre.objects.create(name="Harbour bench", time_zone="Europe/London")


@pytest.fixture
def chain(centre):
    """A centre with a ledger of five entries."""
    with transaction.atomic():
        for number in range(1, 6):
            ledger.append(
                centre=centre,
                actor=None,
                verb="rig.note",
                subject=f"rig-{number}",
                at=AT + timedelta(minutes=number),
                facts={"tag": f"VB-0{number}", "in_service": True, "reason": None, "taps": ["H", "L"]},
            )
    return centre


def tamper(sql, *values):
    """Change the table behind the ledger's back."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        assert cursor.rowcount > 0


def rechain(centre, number, body):
    """Change a body and give its entry the hash that goes with it."""
    entry = LedgerEntry.objects.get(centre=centre, number=number)
    digest = ledger.entry_hash(entry.previous_hash, body)
    tamper("UPDATE academy_ledgerentry SET body = %s, hash = %s WHERE id = %s", body, digest, entry.pk)


def broken_at(centre, **known):
    found = ledger.verify(centre=centre, **known)
    assert isinstance(found, ledger.Broken), found
    return found.number


def test_entries_are_numbered_and_linked(chain):
    entries = list(LedgerEntry.objects.filter(centre=chain))
    assert [entry.number for entry in entries] == [1, 2, 3, 4, 5]
    assert [entry.previous_hash for entry in entries] == [ledger.GENESIS] + [e.hash for e in entries[:-1]]


def test_an_untouched_chain_is_intact(chain):
    assert ledger.verify(centre=chain) == ledger.Intact(count=5, head=ledger.head(centre=chain))


def test_an_empty_chain_is_intact(centre):
    nothing = ledger.Head(number=0, hash=ledger.GENESIS)
    assert ledger.verify(centre=centre) == ledger.Intact(count=0, head=nothing)


def test_each_centre_has_a_chain_of_its_own(chain):
    other = Centre.objects.create(name="Hill bench", time_zone="UTC")
    with transaction.atomic():
        entry = ledger.append(centre=other, actor=None, verb="rig.note", subject="rig-9", at=AT)
    assert entry.number == 1
    assert ledger.head(centre=chain).number == 5


def test_the_body_is_canonical_and_writes_numbers_as_text(chain):
    entry = LedgerEntry.objects.get(centre=chain, number=1)
    assert entry.body == (
        f'{{"actor":null,"at":"2025-01-06T09:01:00.000000+00:00","centre":"{chain.pk}",'
        '"facts":{"in_service":true,"reason":null,"tag":"VB-01","taps":["H","L"]},'
        '"number":"1","subject":"rig-1","verb":"rig.note"}'
    )


def test_the_moment_is_recorded_in_utc(centre):
    at = datetime.fromisoformat("2026-07-01T10:00:00+01:00")
    with transaction.atomic():
        entry = ledger.append(centre=centre, actor=None, verb="rig.note", subject="rig-1", at=at)
    assert json.loads(entry.body)["at"] == "2026-07-01T09:00:00.000000+00:00"
    assert isinstance(ledger.verify(centre=centre), ledger.Intact)


def test_names_and_addresses_are_not_in_the_ledger():
    manager = ManagerFactory(manager_name="Ottoline Quill", manager_email="quill@example.org")
    CandidateFactory(by=manager, name="Barnaby Thrupp", email="thrupp@example.org")
    bodies = " ".join(LedgerEntry.objects.filter(centre=manager.centre).values_list("body", flat=True))
    for personal in ("Ottoline", "Quill", "quill", "Barnaby", "Thrupp", "thrupp"):
        assert personal not in bodies
    assert ledger.sealed("Ottoline Quill", manager.salt) in bodies


@pytest.mark.django_db(transaction=True)
def test_an_entry_outside_a_transaction_is_refused(centre):
    with pytest.raises(RuntimeError, match="transaction"):
        ledger.append(centre=centre, actor=None, verb="rig.note", subject="rig-1", at=AT)
    assert ledger.head(centre=centre).number == 0


@pytest.mark.parametrize("fact", [1, 2.4, [1], {"a": "b"}, b"x", AT], ids=repr)
def test_a_fact_that_a_reader_could_round_or_misread_is_refused(centre, fact):
    with pytest.raises(TypeError, match="fact"), transaction.atomic():
        ledger.append(
            centre=centre, actor=None, verb="rig.note", subject="rig-1", at=AT, facts={"fact": fact}
        )
    assert ledger.head(centre=centre).number == 0


def test_a_time_without_a_zone_is_refused(centre):
    with pytest.raises(ValueError, match="zone"), transaction.atomic():
        ledger.append(centre=centre, actor=None, verb="rig.note", subject="rig-1", at=AT.replace(tzinfo=None))


def test_an_entry_falls_with_its_transaction(chain):
    with transaction.atomic():
        ledger.append(centre=chain, actor=None, verb="rig.note", subject="rig-6", at=AT)
        transaction.set_rollback(True)
    assert ledger.head(centre=chain).number == 5


class TestTampering:
    def test_a_changed_body_is_found(self, chain):
        tamper("UPDATE academy_ledgerentry SET body = replace(body, 'VB-03', 'VB-04') WHERE number = 3")
        assert broken_at(chain) == 3

    def test_a_changed_hash_is_found(self, chain):
        tamper("UPDATE academy_ledgerentry SET hash = %s WHERE number = 3", "f" * 64)
        assert broken_at(chain) == 3

    def test_a_changed_link_is_found(self, chain):
        tamper("UPDATE academy_ledgerentry SET previous_hash = %s WHERE number = 3", "f" * 64)
        assert broken_at(chain) == 3

    def test_a_body_changed_with_its_hash_is_found_at_the_next_entry(self, chain):
        body = LedgerEntry.objects.get(centre=chain, number=3).body.replace("VB-03", "VB-04")
        rechain(chain, 3, body)
        assert broken_at(chain) == 4

    @pytest.mark.parametrize("body", ["", "[]", "not JSON", "{}"])
    def test_a_last_body_that_says_something_else_than_its_entry_is_found(self, chain, body):
        rechain(chain, 5, body)
        assert broken_at(chain) == 5

    @pytest.mark.parametrize(
        ("column", "value"),
        [
            ("verb", "rig.retire"),
            ("subject", "rig-4"),
            ("at", datetime(2025, 1, 7, tzinfo=UTC)),
            ("actor", UUID(int=7)),
        ],
    )
    def test_a_changed_column_is_found(self, chain, column, value):
        field = LedgerEntry._meta.get_field(column)
        value = field.get_db_prep_value(value, connection)
        tamper(f"UPDATE academy_ledgerentry SET {column} = %s WHERE number = 3", value)  # noqa: S608
        assert broken_at(chain) == 3

    @pytest.mark.parametrize("number", [1, 3])
    def test_a_removed_entry_is_found(self, chain, number):
        tamper("DELETE FROM academy_ledgerentry WHERE number = %s", number)
        assert broken_at(chain) == number

    def test_a_removed_entry_with_the_rest_moved_up_is_found(self, chain):
        tamper("DELETE FROM academy_ledgerentry WHERE number = 3")
        for number in (4, 5):
            tamper("UPDATE academy_ledgerentry SET number = %s WHERE number = %s", number - 1, number)
        assert broken_at(chain) == 3

    def test_entries_that_changed_places_are_found(self, chain):
        for old, new in ((2, 99), (3, 2), (99, 3)):
            tamper("UPDATE academy_ledgerentry SET number = %s WHERE number = %s", new, old)
        assert broken_at(chain) == 2

    def test_an_entry_put_in_is_found(self, chain):
        for number in (5, 4):
            tamper("UPDATE academy_ledgerentry SET number = %s WHERE number = %s", number + 1, number)
        third = LedgerEntry.objects.get(centre=chain, number=3)
        LedgerEntry.objects.create(
            centre=chain,
            number=4,
            at=third.at,
            verb=third.verb,
            subject=third.subject,
            body=third.body,
            previous_hash=third.hash,
            hash=ledger.entry_hash(third.hash, third.body),
        )
        assert broken_at(chain) == 4

    def test_a_gap_is_found(self, chain):
        tamper("UPDATE academy_ledgerentry SET number = 9 WHERE number = 5")
        assert broken_at(chain) == 5

    def test_a_cut_tail_is_found_against_a_head_from_elsewhere(self, chain):
        printed = ledger.head(centre=chain)
        tamper("DELETE FROM academy_ledgerentry WHERE number > 3")
        assert isinstance(ledger.verify(centre=chain), ledger.Intact)
        assert broken_at(chain, known=printed) == 4

    def test_a_chain_written_anew_is_found_against_a_head_from_elsewhere(self, chain):
        printed = ledger.head(centre=chain)
        rechain(chain, 5, LedgerEntry.objects.get(centre=chain, number=5).body.replace("VB-05", "VB-06"))
        assert isinstance(ledger.verify(centre=chain), ledger.Intact)
        assert broken_at(chain, known=printed) == 5

    def test_an_earlier_head_from_elsewhere_still_holds(self, chain):
        printed = ledger.head(centre=chain)
        with transaction.atomic():
            ledger.append(centre=chain, actor=None, verb="rig.note", subject="rig-6", at=AT)
        assert isinstance(ledger.verify(centre=chain, known=printed), ledger.Intact)


class TestAppendOnly:
    def test_an_entry_is_not_saved_again(self, chain):
        entry = LedgerEntry.objects.filter(centre=chain).first()
        entry.verb = "rig.retire"
        with pytest.raises(AppendOnlyError):
            entry.save()

    def test_an_entry_is_not_deleted(self, chain):
        with pytest.raises(AppendOnlyError):
            LedgerEntry.objects.filter(centre=chain).first().delete()

    @pytest.mark.parametrize(
        "change",
        [
            lambda entries: entries.update(verb="rig.retire"),
            lambda entries: entries.delete(),
            lambda entries: entries.bulk_update(list(entries), ["verb"]),
            lambda entries: entries.bulk_create(list(entries), ignore_conflicts=True),
            lambda entries: entries.update_or_create(number=1, defaults={"verb": "rig.retire"}),
        ],
        ids=["update", "delete", "bulk_update", "bulk_create", "update_or_create"],
    )
    def test_entries_are_not_changed_as_a_set(self, chain, change):
        with pytest.raises(AppendOnlyError):
            change(LedgerEntry.objects.filter(centre=chain))
        assert isinstance(ledger.verify(centre=chain), ledger.Intact)

    def test_an_entry_made_under_a_used_key_replaces_nothing(self, chain):
        first = LedgerEntry.objects.filter(centre=chain).first()
        with pytest.raises(Exception, match=r"(?i)unique"), transaction.atomic():
            LedgerEntry(pk=first.pk, centre=chain, number=9, at=AT, verb="x", subject="x", body="{}").save()
        assert isinstance(ledger.verify(centre=chain), ledger.Intact)

    def test_a_centre_with_a_ledger_is_not_deleted(self, chain):
        with pytest.raises(ProtectedError):
            chain.delete()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    connection.vendor == "sqlite", reason="the tests' database in memory has one writer: nothing to race"
)
def test_writers_at_once_leave_one_unbroken_chain(centre):
    def write():
        try:
            for number in range(10):
                with transaction.atomic():
                    ledger.append(centre=centre, actor=None, verb="rig.note", subject=f"rig-{number}", at=AT)
        finally:
            connection.close()

    threads = [Thread(target=write) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = ledger.verify(centre=centre)
    assert isinstance(found, ledger.Intact)
    assert found.count == 60
