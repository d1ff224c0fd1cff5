"""Who gets to the pages of rigs and instruments, what an empty one says, and what a long list costs."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from academy.models import Role
from rigs import baselines, faults, holds, readouts
from rigs.models import Check, Fault, Hold, Rig, Session
from rigs.models.checks import Half
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]

C, A, V = Role.Kind.CANDIDATE, Role.Kind.ASSESSOR, Role.Kind.VERIFIER
T, M = Role.Kind.TECHNICIAN, Role.Kind.MANAGER
STAFF = {A, V, T, M}

# Each page of one bench, and who may open it.
ALLOWED = {
    "rig-list": STAFF,
    "rig-create": {T, M},
    "rig-detail": STAFF,
    "rig-values": STAFF,
    "baseline-detail": STAFF,
    "baseline-decide": {A, V, M},
    "check-record": {A, T, M},
    "check-detail": STAFF,
    "hold-place": {A, T, M},
    "hold-release": {A, T, M},
    "fault-set": {A},
    "fault-remove": {A},
    "instrument-list": STAFF,
    "instrument-create": {T, M},
    "instrument-detail": STAFF,
    "instrument-model-create": {T, M},
    "calibration-record": {T, M},
}
BUTTONS = {"baseline-start": {T, M}, "baseline-hand-over": {T, M}}


@pytest.fixture
def addresses(bench):
    """Where each page of one bench is."""
    check = bench.check()
    waiting = make.rig(by=bench.technician, tag="VB-02")
    baseline = make.open_baseline(of=waiting, instruments=bench.references, by=bench.technician)
    baselines.hand_over(baseline=baseline, by=bench.technician, at=AT)
    spare = make.rig(by=bench.technician, tag="VB-06")
    hold = holds.place(on=spare, reason="Fan noisy.", by=bench.technician, at=AT)
    fault = Fault.objects.filter(design=spare.design).first()
    setting = faults.set_fault(rig=spare, fault=fault, by=bench.assessor, at=AT)
    given = {
        "rig-detail": [bench.rig.pk],
        "rig-values": [bench.rig.pk],
        "baseline-start": [spare.pk],
        "baseline-detail": [check.baseline.pk],
        "baseline-decide": [baseline.pk],
        "baseline-hand-over": [baseline.pk],
        "check-record": [bench.rig.pk],
        "check-detail": [check.pk],
        "hold-release": [hold.pk],
        "fault-set": [bench.rig.pk],
        "fault-remove": [setting.pk],
        "instrument-detail": [bench.manometer.pk],
        "calibration-record": [bench.manometer.pk],
    }
    places = {
        name: reverse(name, args=given.get(name, [])) for name in (ALLOWED | BUTTONS) if name != "hold-place"
    }
    places["hold-place"] = reverse("hold-place", kwargs={"rig": bench.rig.pk})
    return places


def sign_in(client, person):
    client.force_login(person)


def text_of(response):
    return response.content.decode()


class TestAccess:
    @pytest.mark.parametrize("kind", list(Role.Kind))
    def test_a_role_opens_the_pages_that_are_its_own(self, client, bench, addresses, kind):
        sign_in(client, person_with(kind, by=bench.manager))
        got = {name: client.get(addresses[name]).status_code for name in ALLOWED}
        assert got == {name: 200 if kind in kinds else 403 for name, kinds in ALLOWED.items()}
        pressed = {name: client.post(addresses[name]).status_code for name in BUTTONS}
        assert pressed == {name: 302 if kind in kinds else 403 for name, kinds in BUTTONS.items()}

    def test_what_belongs_to_another_centre_is_not_found(self, client, addresses):
        sign_in(client, person_with(A, by=ManagerFactory()))
        lists = {"rig-list", "rig-create", "instrument-list", "instrument-create", "instrument-model-create"}
        mine = {name for name, kinds in ALLOWED.items() if A in kinds} - lists
        assert {name: client.get(addresses[name]).status_code for name in mine} == dict.fromkeys(mine, 404)

    def test_lists_are_of_ones_own_centre(self, client, bench):
        sign_in(client, ManagerFactory())
        assert bench.rig.tag not in text_of(client.get(reverse("rig-list")))
        assert bench.manometer.tag not in text_of(client.get(reverse("instrument-list")))

    def test_a_button_is_not_a_link(self, client, bench, addresses):
        sign_in(client, bench.technician)
        assert client.get(addresses["baseline-start"]).status_code == 405

    def test_buttons_are_there_for_those_who_may(self, client, bench, addresses):
        looked_for = {
            name: addresses[name] for name in ("check-record", "hold-place", "fault-set", "rig-values")
        }
        looked_for["baseline-start"] = reverse("baseline-start", args=[bench.rig.pk])

        def buttons(person):
            sign_in(client, person)
            page = text_of(client.get(addresses["rig-detail"]))
            return {name for name, address in looked_for.items() if address in page}

        assert buttons(bench.technician) == {"check-record", "hold-place", "rig-values", "baseline-start"}
        assert buttons(bench.assessor) == {"check-record", "hold-place", "rig-values", "fault-set"}
        assert buttons(person_with(V, by=bench.manager)) == {"rig-values"}


class TestWhatARigPageSays:
    def test_it_has_no_reading_of_the_rig_on_it(self, client, bench):
        check = bench.check(running=1.31)
        sign_in(client, bench.assessor)
        figures = {each.found for each in readouts.comparisons(check=check) if each.unit}
        figures |= {each.mean for each in readouts.summaries(baseline=check.baseline) if each.mean}
        for name, given in (("rig-detail", [bench.rig.pk]), ("rig-list", [])):
            page = text_of(client.get(reverse(name, args=given)))
            assert "Hold proposed" in page
            assert not [figure for figure in figures if figure in page]
            assert not [reason for reason in check.reasons if reason in page]

    @pytest.mark.parametrize(
        ("days", "word"), [(-1, "Overdue"), (0, "Due soon"), (30, "Due soon"), (31, "In date")]
    )
    def test_the_electrical_inspection_is_due(self, client, manager, days, word):
        make.rig(by=manager, electrical_inspection_due=AT.date() + timedelta(days=days))
        sign_in(client, manager)
        assert word in text_of(client.get(reverse("rig-list")))

    def test_a_check_is_of_this_session_until_the_next(self, client, bench, monkeypatch):
        bench.check()
        sign_in(client, bench.assessor)
        assert "practice only until it is" not in text_of(
            client.get(reverse("rig-detail", args=[bench.rig.pk]))
        )
        monkeypatch.setattr("django.utils.timezone.now", lambda: AT + timedelta(hours=5))
        assert "practice only until it is" in text_of(client.get(reverse("rig-detail", args=[bench.rig.pk])))
        assert "5\N{NO-BREAK SPACE}hours ago" in text_of(client.get(reverse("rig-list")))

    def test_a_hold_is_said_with_its_reason_and_who(self, client, bench):
        holds.place(on=bench.rig, reason="Guard loose.", by=bench.technician, at=AT)
        sign_in(client, bench.assessor)
        page = text_of(client.get(reverse("rig-detail", args=[bench.rig.pk])))
        assert "On hold" in page
        assert "Guard loose." in page
        assert bench.technician.name in page
        assert "Place a hold" not in page

    def test_a_fault_is_for_those_who_may_set_one(self, client, bench):
        fault = Fault.objects.get(design=bench.rig.design, slug="contact-welded")
        faults.set_fault(rig=bench.rig, fault=fault, by=bench.assessor, at=AT)
        for person, sees in ((bench.assessor, True), (bench.technician, False), (bench.manager, False)):
            sign_in(client, person)
            page = text_of(client.get(reverse("rig-detail", args=[bench.rig.pk])))
            assert (fault.label in page) is sees
            assert ("Fault setting" in page) is sees

    def test_a_retired_rig_is_still_there_without_buttons(self, client, bench):
        Rig.objects.filter(pk=bench.rig.pk).update(retired_at=AT)
        sign_in(client, bench.technician)
        page = text_of(client.get(reverse("rig-detail", args=[bench.rig.pk])))
        assert "Retired" in page
        for button in ("Record a check", "Place a hold", "baseline</button>"):
            assert button not in page


class TestEmptyPages:
    def test_a_bench_without_rigs_says_what_comes_first(self, client, manager):
        sign_in(client, manager)
        page = text_of(client.get(reverse("rig-list")))
        assert "No rig is on the bench yet." in page
        assert reverse("rig-create") in page

    def test_who_may_not_add_one_is_told_who_does(self, client, manager):
        sign_in(client, person_with(V, by=manager))
        for name, words in (
            ("rig-list", "No rig is on the bench"),
            ("instrument-list", "No instrument is on the shelf"),
        ):
            page = text_of(client.get(reverse(name)))
            assert words in page
            assert "A technician or the centre manager adds them." in page

    def test_a_shelf_without_instruments_begins_with_a_model(self, client, manager):
        sign_in(client, manager)
        assert reverse("instrument-model-create") in text_of(client.get(reverse("instrument-list")))

    def test_a_new_rig_has_nothing_on_record_yet(self, client, manager):
        rig = make.rig(by=manager)
        sign_in(client, manager)
        page = text_of(client.get(reverse("rig-detail", args=[rig.pk])))
        for words in ("No baseline yet", "Never checked", "Never on hold", "Start the first baseline"):
            assert words in page
        values = text_of(client.get(reverse("rig-values", args=[rig.pk])))
        assert "There are no values yet." in values

    def test_a_board_that_is_not_characterised_is_not_asked_to_be(self, client, manager):
        board = make.load_designs(by=manager)[make.ISOLATION_BOARD]
        rig = make.rig(by=manager, design=board)
        sign_in(client, manager)
        page = text_of(client.get(reverse("rig-detail", args=[rig.pk])))
        assert "baseline" not in page
        assert "Needs none" in text_of(client.get(reverse("rig-list")))

    def test_an_instrument_without_a_certificate_cannot_be_used(self, client, manager):
        gauge = make.instrument(by=manager, certified=False)
        sign_in(client, manager)
        assert "can’t be used until there is one" in text_of(
            client.get(reverse("instrument-detail", args=[gauge.pk]))
        )
        assert "No certificate" in text_of(client.get(reverse("instrument-list")))


class TestQueries:
    """A longer list costs as many queries as a short one."""

    def count(self, client, address):
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        return len(captured)

    def test_lists_of_rigs_and_instruments(self, client, bench):
        sign_in(client, bench.manager)
        for name, more in (("rig-list", make.rig), ("instrument-list", make.instrument)):
            for _ in range(3):
                more(by=bench.manager)
            few = self.count(client, reverse(name))
            for _ in range(30):
                more(by=bench.manager)
            many = self.count(client, reverse(name))
            assert few == many, name

    def test_the_page_of_a_rig_with_a_history(self, client, bench):
        sign_in(client, bench.manager)
        self.add_history(bench, range(3))
        few = self.count(client, reverse("rig-detail", args=[bench.rig.pk]))
        self.add_history(bench, range(3, 30))
        assert self.count(client, reverse("rig-detail", args=[bench.rig.pk])) == few

    def test_the_page_of_an_instrument_with_a_history(self, client, bench):
        sign_in(client, bench.manager)
        address = reverse("instrument-detail", args=[bench.manometer.pk])

        def certify(days):
            for day in days:
                on = AT.date() - timedelta(days=100 + day)
                make.certificate(of=bench.manometer, by=bench.manager, on=on, late_note="Found in a drawer")

        certify(range(3))
        few = self.count(client, address)
        certify(range(3, 30))
        assert self.count(client, address) == few

    def add_history(self, bench, days):
        baseline = baselines.in_force(rig=bench.rig)
        for day in days:
            at = AT - timedelta(days=40 - day)
            session = Session.objects.create(
                centre=bench.manager.centre,
                on=at.date(),
                half=Half.MORNING,
                opened_by=bench.manager,
                opened_at=at,
            )
            given = {"rig": bench.rig, "baseline": baseline, "made_by": bench.technician, "made_at": at}
            Check.objects.create(session=session, verdict="steady", **given)
            Hold.objects.create(
                rig=bench.rig,
                reason="?",
                placed_by=bench.technician,
                placed_at=at,
                released_by=bench.assessor,
                released_at=at,
            )
