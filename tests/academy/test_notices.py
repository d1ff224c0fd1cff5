"""What people are told on their page, and once a day by email."""

from dataclasses import replace
from datetime import date, timedelta
from smtplib import SMTPServerDisconnected

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy import digests, notices
from academy.models import Digest, LedgerEntry, Person
from academy.notices import Notice, Urgency
from tests.factories.academy import AT, ManagerFactory, PersonFactory

pytestmark = pytest.mark.django_db

LATER = Notice(urgency=Urgency.COMING, text="GM-07: calibration due soon", url="/g/", on=date(2026, 4, 1))
OLD = Notice(urgency=Urgency.WAITING, text="Baseline 3 waits", url="/b/", on=date(2026, 2, 1))
NEW = Notice(urgency=Urgency.WAITING, text="Two attempts wait", url="/r/", on=date(2026, 3, 1))
URGENT = Notice(urgency=Urgency.NOW, text="A fault is still set", url="/f/")


def told_to_all(_reader):
    return [LATER, NEW, OLD, URGENT]


def told_to_nobody(_reader):
    return []


@pytest.fixture
def manager():
    return ManagerFactory(manager_name="Ada Tapley", manager_email="ada@example.org")


@pytest.fixture
def sources(settings):
    def use(*found):
        settings.NOTICE_SOURCES = [f"{__name__}.{source.__name__}" for source in found]

    use(told_to_all)
    return use


@pytest.fixture
def noon(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT)


def send(**options):
    call_command("send_digest", **options)


def test_the_most_urgent_comes_first_and_of_those_the_oldest(sources, manager):
    assert notices.notices_for(person=manager, at=AT) == [URGENT, OLD, NEW, LATER]


def test_who_stands_and_waits_comes_before_what_has_waited_for_days(sources, manager, monkeypatch):
    old = replace(URGENT, on=date(2024, 12, 1))
    call = Notice(urgency=Urgency.NOW, text="C-07 calls", url="/c/", on=date(2025, 1, 6), in_the_room=True)
    monkeypatch.setattr(f"{__name__}.told_to_all", lambda _reader: [old, call, OLD])
    assert notices.notices_for(person=manager, at=AT) == [call, old, OLD]


def test_the_page_of_today_leads_to_each(client, sources, manager):
    client.force_login(manager)
    page = client.get(reverse("today")).text
    assert page.index("To see to now") < page.index("Waiting for you") < page.index("Coming up")
    for notice in (URGENT, OLD, NEW, LATER):
        assert f'<a href="{notice.url}">{notice.text}</a>' in page


def test_with_nothing_waiting_the_page_says_what_will_show_there(client, sources, manager):
    sources(told_to_nobody)
    client.force_login(manager)
    assert "Nothing waits for you." in client.get(reverse("today")).text


def test_a_digest_has_every_notice_with_a_whole_address(sources, settings, manager, noon):
    settings.SITE_ADDRESS = "https://bench.example.org/"
    send()
    (message,) = mail.outbox
    assert message.to == ["ada@example.org"]
    assert message.subject == "Makepoint: 4 things waiting"
    assert "- Baseline 3 waits (Sun 1 Feb 2026)\n  https://bench.example.org/b/" in message.body
    assert f"https://bench.example.org{reverse('digest-choose')}" in message.body


def test_a_person_is_written_to_once_a_day_however_often_it_runs(sources, manager, monkeypatch):
    for at in (AT, AT + timedelta(hours=1), AT + timedelta(days=1)):
        monkeypatch.setattr(timezone, "now", lambda at=at: at)
        send()
    assert len(mail.outbox) == 2
    assert Digest.objects.filter(person=manager).count() == 2


def test_nobody_is_written_to_without_a_reason(sources, manager, noon, capsys):
    sources(told_to_nobody)
    send()
    assert mail.outbox == []
    assert capsys.readouterr().out == "Nobody to write to.\n"


def test_a_person_may_have_none(client, sources, manager, noon):
    client.force_login(manager)
    client.post(reverse("digest-choose"), {})
    send()
    assert mail.outbox == []
    assert not Person.objects.get(pk=manager.pk).wants_digest
    assert LedgerEntry.objects.filter(verb="digest.choose", actor=manager.pk).count() == 1
    client.post(reverse("digest-choose"), {"wanted": "on"})
    send()
    assert len(mail.outbox) == 1


def test_those_without_access_are_not_written_to(sources, manager, noon):
    gone = PersonFactory(by=manager)
    Person.objects.filter(pk=gone.pk).update(is_active=False)
    send()
    assert [message.to for message in mail.outbox] == [["ada@example.org"]]


def test_a_dry_run_says_who_would_be_written_to_and_sends_nothing(sources, manager, noon, capsys):
    send(dry_run=True)
    assert mail.outbox == []
    assert not Digest.objects.exists()
    assert capsys.readouterr().out == "ada@example.org: 4 waiting\n"


def test_what_the_mail_server_did_not_take_is_due_again(sources, manager, noon, monkeypatch):
    def lost(_backend, _messages):
        raise SMTPServerDisconnected("Connection unexpectedly closed")

    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", lost)
        with pytest.raises(CommandError, match="Connection unexpectedly closed"):
            send()
    assert list(digests.due(centre=manager.centre, at=AT))
    send()
    assert len(mail.outbox) == 1


def test_more_people_cost_no_more_queries_each(sources, manager, noon):
    def counted():
        with CaptureQueriesContext(connection) as queries:
            found = list(digests.due(centre=manager.centre, at=AT))
        return len(queries) / len(found)

    one = counted()
    PersonFactory.create_batch(4, by=manager)
    assert counted() <= one
