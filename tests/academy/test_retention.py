"""What is kept goes when its period is over and somebody says so; what is held stays."""

from datetime import UTC, date, datetime, timedelta

import pytest
from axes.models import AccessLog
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from academy import invitations, ledger, people, retention
from academy.models import AccessLink, Digest, Disposal, LedgerEntry, Person
from academy.refusals import Refused
from tests.factories.academy import AT, DAY, CandidateFactory, ManagerFactory

pytestmark = pytest.mark.django_db

YEARS_LATER = datetime(2029, 3, 1, 12, tzinfo=UTC)


@pytest.fixture
def manager():
    return ManagerFactory()


@pytest.fixture
def gone(manager):
    """Somebody whose role ended long ago."""
    person = CandidateFactory(by=manager, name="Cole Tap", until=date(2025, 6, 30))
    Digest.objects.create(person=person, on=DAY, sent_at=AT)
    return person


def due(manager, kind, at=YEARS_LATER):
    return retention.due(centre=manager.centre, kind=retention.kind_named(kind), at=at)


def dispose(manager, kind, at=YEARS_LATER):
    return retention.dispose(centre=manager.centre, kind=retention.kind_named(kind), by=manager, at=at)


@pytest.mark.parametrize(
    ("day", "months", "before"),
    [
        (date(2026, 3, 31), 1, date(2026, 2, 28)),
        (date(2024, 3, 31), 1, date(2024, 2, 29)),
        (date(2026, 1, 15), 12, date(2025, 1, 15)),
        (date(2026, 1, 15), 1, date(2025, 12, 15)),
        (date(2026, 5, 31), 36, date(2023, 5, 31)),
    ],
)
def test_months_are_counted_on_the_calendar(day, months, before):
    assert retention.months_before(day, months) == before


class TestPeriods:
    def test_the_usual_one_holds_until_a_centre_has_its_own(self, manager, gone):
        assert len(due(manager, "people").due) == 1

        kind = retention.kind_named("people")
        given = {"centre": manager.centre, "kind": kind, "by": manager, "at": AT}
        retention.set_period(**given, months=72, source="public funding, 6 years")

        assert due(manager, "people").due == ()
        assert retention.period_of(centre=manager.centre, kind=kind).source == "public funding, 6 years"
        with pytest.raises(Refused, match="whose rule"):
            retention.set_period(**given, months=72, source=" ")
        with pytest.raises(Refused, match="a month at least"):
            retention.set_period(**given, months=0, source="ours")

    @pytest.mark.parametrize(
        ("at", "is_due"),
        [(datetime(2028, 6, 30, 12, tzinfo=UTC), False), (datetime(2028, 7, 1, tzinfo=UTC), True)],
    )
    def test_a_record_is_due_the_day_after_its_period(self, manager, gone, at, is_due):
        assert bool(due(manager, "people", at).due) is is_due

    def test_who_is_here_is_not_due(self, manager):
        CandidateFactory(by=manager)

        assert due(manager, "people").due == ()

    def test_every_usual_period_says_whose_rule_it_is(self):
        for kind in retention.kinds():
            assert kind.source.endswith("check your scheme’s rules"), kind.slug
        slugs = [kind.slug for kind in retention.kinds()]
        assert len(set(slugs)) == len(slugs)


class TestDisposing:
    def test_a_person_is_erased_with_an_entry_for_the_batch(self, manager, gone):
        assert dispose(manager, "people") == 1

        gone.refresh_from_db()
        assert gone.name == people.ERASED_NAME
        batch = Disposal.objects.get()
        assert (batch.kind, batch.count, batch.by) == ("people", 1, manager)
        entry = LedgerEntry.objects.get(centre=manager.centre, number=batch.ledger_number)
        assert entry.verb == "retention.dispose" and str(gone.pk) in entry.body
        assert isinstance(ledger.verify(centre=manager.centre), ledger.Intact)
        assert dispose(manager, "people") == 0

    def test_links_sign_ins_and_digests_go_by_their_own_periods(self, manager, gone):
        invitations.give_link(person=gone, by=manager, at=AT)
        log = AccessLog.objects.create(username=gone.email, ip_address="127.0.0.1")
        AccessLog.objects.filter(pk=log.pk).update(attempt_time=AT)
        AccessLog.objects.create(username="other@example.org", ip_address="127.0.0.1")
        AccessLog.objects.update(attempt_time=AT)

        counts = {kind: dispose(manager, kind) for kind in ("links", "sign-ins", "digests")}

        assert counts == {"links": 1, "sign-ins": 1, "digests": 1}
        assert not AccessLink.objects.exists()
        assert not Digest.objects.exists()
        assert [log.username for log in AccessLog.objects.all()] == ["other@example.org"]
        assert Person.objects.get(pk=gone.pk).name == "Cole Tap"

    def test_many_go_in_batches(self, manager, gone, monkeypatch):
        monkeypatch.setattr(retention, "BATCH", 2)
        for day in range(1, 5):
            Digest.objects.create(person=gone, on=DAY + timedelta(days=day), sent_at=AT)

        assert dispose(manager, "digests") == 5
        assert sorted(Disposal.objects.values_list("count", flat=True)) == [1, 2, 2]

    def test_another_centres_records_stay(self, manager, gone):
        other = ManagerFactory()

        assert due(other, "people").due == ()
        with pytest.raises(Refused, match="own centre"):
            retention.dispose(
                centre=manager.centre, kind=retention.kind_named("people"), by=other, at=YEARS_LATER
            )


class TestHolds:
    def place(self, manager, person, **given):
        defaults = {"cause": "malpractice", "reason": "Copied readings?"}
        return retention.place_hold(person=person, by=manager, at=AT, **defaults | given)

    def test_what_is_held_never_goes(self, manager, gone):
        hold = self.place(manager, gone)

        found = due(manager, "people")
        assert found.due == ()
        assert found.held[0].reasons == ("on hold since 6 January 2025, suspected malpractice",)
        assert dispose(manager, "people") == dispose(manager, "digests") == 0
        with pytest.raises(Refused, match="may go yet: on hold since 6 January 2025"):
            people.erase(person=gone, by=manager, at=YEARS_LATER)

        retention.lift_hold(hold=hold, why="Nothing in it.", by=manager, at=AT)
        assert dispose(manager, "people") == 1
        hold.refresh_from_db()
        assert (hold.reason, hold.lifted_why) == ("[erased]", "[erased]")

    def test_it_needs_a_reason_and_somebody_else(self, manager, gone):
        with pytest.raises(Refused) as refusal:
            self.place(manager, gone, reason=" ")
        assert refusal.value.field == "reason"
        with pytest.raises(Refused, match="Somebody else"):
            self.place(manager, manager)
        with pytest.raises(Refused, match="own centre"):
            self.place(ManagerFactory(), gone)

    def test_it_is_lifted_once_and_why(self, manager, gone):
        hold = self.place(manager, gone)
        with pytest.raises(Refused) as refusal:
            retention.lift_hold(hold=hold, why="", by=manager, at=AT)
        assert refusal.value.field == "why"
        retention.lift_hold(hold=hold, why="Nothing in it.", by=manager, at=AT)
        with pytest.raises(Refused, match="already"):
            retention.lift_hold(hold=hold, why="Again.", by=manager, at=AT)


class TestThePages:
    @pytest.fixture
    def later(self, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: YEARS_LATER)

    def test_what_is_due_is_shown_before_it_goes(self, client, manager, gone, later):
        client.force_login(manager)
        address = reverse("retention-dispose", args=["people"])

        assert "1 due" in client.get(reverse("retention-list")).text
        assert "Cole Tap" in client.get(address).text
        assert "required" in client.post(address, {}).text
        assert Person.objects.get(pk=gone.pk).name == "Cole Tap"
        assert "1 record is disposed of" in client.post(address, {"sure": "on"}, follow=True).text
        assert "Personal details" in client.get(reverse("disposal-list")).text
        assert "Nothing of this kind may go now" in client.post(address, {"sure": "on"}).text

    def test_a_period_and_a_hold_are_set_there(self, client, manager, gone, later):
        client.force_login(manager)
        client.post(reverse("retention-period", args=["photos"]), {"months": 24, "source": "our scheme"})
        assert "Our scheme" in client.get(reverse("retention-list")).text
        given = {"cause": "appeal", "reason": "A complaint of 3 March."}
        page = client.post(reverse("record-hold-place", args=[gone.pk]), given, follow=True).text
        assert "A complaint of 3 March." in page
        hold = gone.record_holds.get()
        lift = reverse("record-hold-lift", args=[gone.pk, hold.pk])
        assert "It was settled." in client.post(lift, {"why": "It was settled."}, follow=True).text

    def test_an_unknown_kind_is_not_there(self, client, manager):
        client.force_login(manager)

        assert client.get(reverse("retention-period", args=["diaries"])).status_code == 404


class TestTheCommand:
    @pytest.fixture(autouse=True)
    def later(self, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: YEARS_LATER)

    def test_it_lists_and_changes_nothing(self, manager, gone, capsys):
        call_command("retention", "--by", manager.email, "--kind", "people")

        said = capsys.readouterr().out
        assert "Personal details, 36 months, before 2026-03-01: 1 due, 0 held." in said
        assert "2025-06-30  Cole Tap" in said
        assert Person.objects.get(pk=gone.pk).name == "Cole Tap"

    def test_it_disposes_when_told_to(self, manager, gone, capsys):
        call_command("retention", "--by", manager.email, "--dispose")

        assert "Personal details: 1 disposed of, 0 held." in capsys.readouterr().out

    @pytest.mark.parametrize(
        ("given", "said"),
        [
            (["--by", "nobody@example.org"], "Nobody with a centre"),
            (["--by", "candidate@example.org"], "may not dispose"),
            (["--by", "{manager}", "--kind", "diaries"], "no kind of record “diaries”"),
        ],
    )
    def test_what_is_wrong_is_one_clear_line(self, manager, given, said):
        CandidateFactory(by=manager, email="candidate@example.org")
        with pytest.raises(CommandError, match=said):
            call_command("retention", *[text.format(manager=manager.email) for text in given])
