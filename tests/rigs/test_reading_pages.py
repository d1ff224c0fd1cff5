"""Baselines, checks and holds, as a technician and an assessor go through their pages."""

from datetime import timedelta

import pytest
from django.urls import reverse

from academy.models import Role
from rigs import baselines, faults, repeats
from rigs.models import Baseline, BaselineRoom, Check, Fault, Hold, Session
from rigs.models.baselines import BaselineStatus
from rigs.models.checks import CheckVerdict
from tests.factories import rigs as make
from tests.factories.academy import AT, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]

HEALTHY = {
    "contacts:fan-off": "OL",
    "ports:fan-off": "0.00",
    "taps:fan-running": "1.58",
    "ports:fan-running": "1.57",
    "contacts:fan-running": "0.2",
    "contacts:outlet-blocked": "OL",
    "high-tap:fan-running": "0.66",
    "make-point:hand-pump": "0.95",
    "break-point:hand-pump": "0.72",
}


def typed_in(bench, *runs, first=1):
    """What a technician sends for runs that are numbered from `first`, each by measurand."""
    fields = {kind: str(instrument.pk) for kind, instrument in bench.references.items()}
    for number, texts in enumerate(runs, start=first):
        for each in baselines.measurands_of(bench.rig):
            fields[repeats.field_name(each, repeat=number)] = texts[make.key_of(each)]
    return fields


def field_of(bench, key, *, repeat):
    measurand = next(each for each in baselines.measurands_of(bench.rig) if make.key_of(each) == key)
    return repeats.field_name(measurand, repeat=repeat)


def text_of(response):
    assert response.status_code == 200
    return response.content.decode()


class TestRecordingACheck:
    @pytest.fixture
    def address(self, client, bench):
        client.force_login(bench.technician)
        return reverse("check-record", args=[bench.rig.pk])

    def test_the_verdict_is_on_the_next_page(self, client, bench, address):
        response = client.post(address, typed_in(bench, *[HEALTHY] * 3), follow=True)
        check = Check.objects.get()
        assert response.redirect_chain[-1][0] == reverse("check-detail", args=[check.pk])
        assert "Everything agrees with the baseline." in text_of(response)
        assert (check.made_by, check.made_at) == (bench.technician, AT)

    def test_the_instruments_are_remembered_for_the_next_rig(self, client, bench, address):
        assert "<summary>Reference instruments" not in text_of(client.get(address))
        client.post(address, typed_in(bench, *[HEALTHY] * 3))
        page = text_of(client.get(address))
        assert "<summary>Reference instruments: MN-01 and DM-01</summary>" in page
        assert f'<option value="{bench.references["manometer"].pk}" selected' in page

    def test_what_is_wrong_is_said_beside_its_field_and_everything_typed_stays(self, client, bench, address):
        wrong = HEALTHY | {
            "taps:fan-running": "1.5.8",
            "ports:fan-running": "157",
            "contacts:fan-running": "",
            "ports:fan-off": "OL",
        }
        response = client.post(address, typed_in(bench, HEALTHY, wrong, HEALTHY))
        errors = response.context["form"].errors
        assert {name: messages[0] for name, messages in errors.items()} == {
            field_of(bench, "taps:fan-running", repeat=2): "“1.5.8” has two decimal marks. Type it with one.",
            field_of(bench, "ports:fan-running", repeat=2): "MN-01 has no range that reaches this.",
            field_of(bench, "contacts:fan-running", repeat=2): (
                "Nothing is written here. Type what the display shows."
            ),
            field_of(bench, "ports:fan-off", repeat=2): "A number is needed here.",
        }
        page = text_of(response)
        for text in ("1.5.8", "157", "1.58"):
            assert f'value="{text}"' in page
        assert not Check.objects.exists()

    def test_the_room_is_asked_for_once_a_session(self, client, bench, address):
        assert "The room, if you read it" in text_of(client.get(address))
        room = {"room_temperature": "21,5", "air_pressure": "1004", "relative_humidity": "45"}
        accuracy = {"air_pressure_accuracy": "0.6"}
        client.post(address, typed_in(bench, *[HEALTHY] * 3) | room | accuracy)
        session = Session.objects.get()
        assert (session.room_temperature, session.air_pressure) == (21.5, 100_400.0)
        assert (session.relative_humidity, session.room_temperature_u) == (0.45, None)
        assert session.air_pressure_u == pytest.approx(60 / 3**0.5)
        page = text_of(client.get(address))
        assert "The room, if you read it" not in page
        assert "21.5" in page
        assert "1004" in page

    def test_a_check_needs_no_room(self, client, bench, address):
        client.post(address, typed_in(bench, *[HEALTHY] * 3))
        assert not Session.objects.get().has_room
        assert "The room, if you read it" in text_of(client.get(address))

    @pytest.mark.parametrize(
        ("room", "errors"),
        [
            (
                {"room_temperature": "70", "air_pressure": "1004"},
                {"room_temperature": "Give temperature in °C"},
            ),
            (
                {"room_temperature": "20", "air_pressure": "100400"},
                {"air_pressure": "Give air pressure in mbar"},
            ),
            ({"room_temperature": "20"}, {"air_pressure": "Temperature and pressure go together"}),
            ({"relative_humidity": "40"}, {"room_temperature": "Temperature and pressure go together"}),
            (
                {"room_temperature": "20", "air_pressure": "1004", "relative_humidity": "140"},
                {"relative_humidity": "Give relative humidity in %: 0 to 100."},
            ),
            (
                {"room_temperature": "warm", "air_pressure": "1004"},
                {"room_temperature": "Type a plain number"},
            ),
        ],
    )
    def test_a_room_that_cannot_be_is_asked_for_again(self, client, bench, address, room, errors):
        response = client.post(address, typed_in(bench, *[HEALTHY] * 3) | room)
        found = response.context["form"].errors
        assert found.keys() == errors.keys()
        assert all(found[name][0].startswith(says) for name, says in errors.items())
        assert '<details class="more" open><summary>The room' in text_of(response)
        assert not Check.objects.exists()

    def test_a_missing_instrument_is_asked_for(self, client, bench, address):
        fields = typed_in(bench, *[HEALTHY] * 3) | {"manometer": ""}
        errors = client.post(address, fields).context["form"].errors
        assert errors == {"manometer": ["Choose the manometer that was used."]}

    def test_a_bench_instrument_is_not_among_the_choices(self, client, bench, address):
        fields = typed_in(bench, *[HEALTHY] * 3) | {"manometer": str(bench.manometer.pk)}
        assert "manometer" in client.post(address, fields).context["form"].errors
        assert not Check.objects.exists()

    def test_a_lapsed_reference_is_refused_beside_its_field(self, client, bench, address, monkeypatch):
        monkeypatch.setattr("django.utils.timezone.now", lambda: AT + timedelta(days=400))
        client.force_login(bench.technician)
        errors = client.post(address, typed_in(bench, *[HEALTHY] * 3)).context["form"].errors
        assert "is overdue" in errors["manometer"][0]

    def test_a_rig_without_a_baseline_sends_back_and_says_so(self, client, bench):
        client.force_login(bench.technician)
        bare = make.rig(by=bench.technician, tag="VB-02")
        response = client.get(reverse("check-record", args=[bare.pk]), follow=True)
        assert response.redirect_chain == [(reverse("rig-detail", args=[bare.pk]), 302)]
        assert "VB-02 has no approved baseline yet" in text_of(response)

    def test_a_set_fault_is_said(self, client, bench, address):
        fault = Fault.objects.filter(design=bench.rig.design).first()
        faults.set_fault(rig=bench.rig, fault=fault, by=bench.assessor, at=AT)
        page = text_of(client.post(address, typed_in(bench, *[HEALTHY] * 3)))
        assert "A fault is set on VB-01: record it as removed first." in page

    def test_no_reference_to_choose_says_whom_to_ask(self, client, manager):
        rig = make.rig(by=manager)
        client.force_login(manager)
        client.post(reverse("baseline-start", args=[rig.pk]))
        page = text_of(client.get(reverse("baseline-run", args=[Baseline.objects.get().pk])))
        assert "No reference manometer is in use" in page


class TestHolds:
    def test_a_proposed_hold_is_placed_with_a_reason_that_gives_nothing_away(self, client, bench):
        client.force_login(bench.technician)
        bad = HEALTHY | {"taps:fan-running": "1.31", "ports:fan-running": "1.31"}
        address = reverse("check-record", args=[bench.rig.pk])
        page = text_of(client.post(address, typed_in(bench, *[bad] * 3), follow=True))
        assert Check.objects.get().verdict == CheckVerdict.HOLD
        place = reverse("hold-place", kwargs={"rig": bench.rig.pk})
        assert place in page
        reason = client.get(place).context["form"].initial["reason"]
        assert reason == (
            "The check of 06 January 2025, morning didn’t agree with the baseline. "
            "Δp at the venturi taps, fan running: too far below the baseline. "
            "Δp at the switch ports, fan running: too far below the baseline."
        )
        response = client.post(place, {"reason": reason}, follow=True)
        assert "VB-01 is on hold" in text_of(response)
        assert Hold.objects.get().reason == reason
        assert place not in text_of(client.get(reverse("check-detail", args=[Check.objects.get().pk])))

    def test_a_steady_check_suggests_no_reason(self, client, bench):
        bench.check()
        client.force_login(bench.technician)
        assert client.get(reverse("hold-place", kwargs={"rig": bench.rig.pk})).context["form"].initial == {}

    @pytest.mark.parametrize("kind", ["rig", "instrument"])
    def test_it_is_placed_and_released_on_the_page_of_the_thing(self, client, bench, kind):
        thing = bench.rig if kind == "rig" else bench.manometer
        client.force_login(bench.assessor)
        place = reverse("hold-place", kwargs={kind: thing.pk})
        assert "Say why" in text_of(client.post(place, {"reason": "  "}))
        page = text_of(client.post(place, {"reason": "Dropped."}, follow=True))
        release = reverse("hold-release", args=[Hold.objects.get().pk])
        assert release in page
        assert "on hold already" in text_of(client.post(place, {"reason": "Again."}))
        assert "what shows that it is right" in text_of(client.post(release, {"evidence": ""}))
        page = text_of(client.post(release, {"evidence": "Looked at, and fine."}, follow=True))
        assert f"{thing.tag} is back in service." in page
        assert "Looked at, and fine." in page
        assert "released this hold already" in text_of(client.post(release, {"evidence": "Twice."}))


class TestABaseline:
    @pytest.fixture
    def bench(self, db):
        return make.open_bench(with_baseline=False)

    @pytest.fixture
    def address(self, client, bench):
        """Where the runs of a baseline that the technician has started are recorded."""
        client.force_login(bench.technician)
        response = client.post(reverse("baseline-start", args=[bench.rig.pk]))
        assert response.url == reverse("baseline-run", args=[Baseline.objects.get().pk])
        return response.url

    def record(self, client, bench, address, *, run, texts=HEALTHY, **given):
        return client.post(address, typed_in(bench, texts, first=run) | {"run": run} | given, follow=True)

    def test_it_goes_from_run_to_run_to_a_second_person(self, client, bench, address):
        for run in range(1, 7):
            page = text_of(self.record(client, bench, address, run=run))
            assert f"Run {run} is recorded." in page
            assert ("Hand over after" in page) is (run >= 5)
        baseline = Baseline.objects.get()
        page = text_of(client.post(reverse("baseline-hand-over", args=[baseline.pk]), follow=True))
        assert "waits for a second person" in page
        client.force_login(bench.assessor)
        decide = reverse("baseline-decide", args=[baseline.pk])
        assert decide in text_of(client.get(reverse("rig-detail", args=[bench.rig.pk])))
        page = text_of(client.post(decide, {"approve": "yes", "note": ""}, follow=True))
        assert "Baseline 1 is in force from now on." in page
        assert baselines.in_force(rig=bench.rig) == baseline

    def test_earlier_runs_are_on_the_page(self, client, bench, address):
        self.record(client, bench, address, run=1, texts=HEALTHY | {"taps:fan-running": "1.612"})
        assert "1.612" in text_of(client.get(address))

    def test_a_run_that_is_sent_twice_is_recorded_once(self, client, bench, address):
        self.record(client, bench, address, run=1)
        page = text_of(self.record(client, bench, address, run=1))
        assert "Nothing was recorded this time: run 2 is the next one." in page
        assert baselines.runs_of(Baseline.objects.get()) == 1

    @pytest.mark.parametrize("run", ["", "x", "7"])
    def test_a_run_without_its_right_number_records_nothing(self, client, bench, address, run):
        self.record(client, bench, address, run=1)
        fields = typed_in(bench, HEALTHY, first=2) | {"run": run}
        assert "Nothing was recorded" in text_of(client.post(address, fields, follow=True))
        assert baselines.runs_of(Baseline.objects.get()) == 1

    def test_nobody_else_sees_the_runs_of_its_maker(self, client, bench, address):
        client.force_login(person_with(Role.Kind.TECHNICIAN, by=bench.manager))
        assert client.get(address).status_code == 404
        assert self.record(client, bench, address, run=1).status_code == 404

    def test_a_second_one_is_refused_with_a_message(self, client, bench, address):
        page = text_of(client.post(reverse("baseline-start", args=[bench.rig.pk]), follow=True))
        assert "A baseline of VB-01 is being made already" in page
        assert Baseline.objects.count() == 1

    def test_too_few_runs_are_not_handed_over(self, client, bench, address):
        self.record(client, bench, address, run=1)
        page = text_of(
            client.post(reverse("baseline-hand-over", args=[Baseline.objects.get().pk]), follow=True)
        )
        assert "at least 5 runs; this one has 1" in page

    def test_once_handed_over_the_run_page_leads_to_what_it_says(self, client, bench, address):
        for run in range(1, 6):
            self.record(client, bench, address, run=run)
        baseline = Baseline.objects.get()
        client.post(reverse("baseline-hand-over", args=[baseline.pk]))
        assert client.get(address).url == reverse("baseline-detail", args=[baseline.pk])
        assert "Nothing was recorded" in text_of(self.record(client, bench, address, run=9))
        page = text_of(self.record(client, bench, address, run=6))
        assert "This baseline is waiting for a second person." in page
        assert baseline.readings.count() == 5 * bench.rig.design.measurands.count()
        assert Baseline.objects.get().status == BaselineStatus.WAITING

    def test_each_run_may_have_its_room_and_accuracies_are_offered_again(self, client, bench, address):
        room = {"room_temperature": "19", "air_pressure": "1013", "room_temperature_accuracy": "0.3"}
        client.post(address, typed_in(bench, HEALTHY, first=1) | {"run": "1"} | room)
        recorded = BaselineRoom.objects.get()
        assert (recorded.repeat, recorded.room_temperature, recorded.relative_humidity) == (1, 19.0, None)
        form = client.get(address).context["form"]
        assert form["room_temperature_accuracy"].value() == 0.3
        assert form["room_temperature"].value() is None
        client.post(address, typed_in(bench, HEALTHY, first=2) | {"run": "2"})
        assert BaselineRoom.objects.count() == 1
