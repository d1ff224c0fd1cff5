"""The candidate's first pages: finding something to do, and starting it."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments import catalogue
from assessments.models import Attempt
from rigs import holds
from rigs.metrology.quantities import Quantity
from tests.factories import assessments as made
from tests.factories.phone import NOW, start, start_address

pytestmark = pytest.mark.django_db


class TestFindingSomethingToDo:
    def test_the_bench_lists_rigs_that_have_a_task(self, bench, phone):
        page = phone.get(reverse("bench-home")).content.decode()

        assert bench.rig.tag in page
        assert reverse("bench-rig", args=[bench.rig.pk]) in page

    def test_an_attempt_that_was_begun_is_offered_first(self, phone, attempt):
        page = phone.get(reverse("bench-home")).content.decode()

        assert page.index("Carry on") < page.index("Pick a rig")

    def test_a_rig_lists_its_tasks_and_what_comes_first(self, bench, phone):
        stranger = made.CandidateFactory(by=bench.manager)
        phone.force_login(stranger)

        page = phone.get(reverse("bench-rig", args=[bench.rig.pk])).content.decode()

        assert "Two-terminal air pressure switch test" in page
        assert "“Safe isolation” comes first" in page

    def test_a_held_rig_says_so_and_offers_no_task(self, bench, phone):
        holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=NOW)

        page = phone.get(reverse("bench-rig", args=[bench.rig.pk])).content.decode()

        assert "on hold" in page
        assert "Two-terminal air pressure switch test" not in page


class TestStarting:
    def test_cautions_come_before_the_start(self, bench, phone):
        page = phone.get(start_address(bench)).content.decode()

        assert "Mains voltage can kill" in page
        assert 'role="note"' in page

    def test_starting_leads_to_the_first_step(self, bench, phone):
        response = start(bench, phone)

        attempt = Attempt.objects.get()
        assert response.url == reverse("attempt-step", args=[attempt.pk, 1])
        assert attempt.purpose == "assessment"
        assert attempt.sheet is not None
        assert {each.instrument.tag for each in attempt.instruments.all()} == {"MN-02", "DM-02", "VI-01"}

    def test_sending_the_form_twice_starts_one_attempt(self, bench, phone):
        number = str(uuid4())

        start(bench, phone, id=number)
        start(bench, phone, id=number)

        assert Attempt.objects.count() == 1

    def test_cautions_that_were_not_confirmed_stop_it(self, bench, phone):
        response = start(bench, phone, cautions_read="")

        assert "Read the cautions and confirm them first." in response.content.decode()
        assert not Attempt.objects.exists()

    @pytest.mark.parametrize("kind", ["manometer", "multimeter"])
    def test_a_held_instrument_is_refused_with_the_reason(self, bench, phone, kind):
        holds.place(on=bench.instruments[kind], reason="Case cracked", by=bench.technician, at=NOW)

        response = start(bench, phone)

        assert f"{bench.instruments[kind].tag} is on hold: Case cracked" in response.content.decode()
        assert not Attempt.objects.exists()

    def test_an_instrument_whose_calibration_ran_out_is_refused_with_the_date(
        self, bench, phone, monkeypatch
    ):
        calibration = bench.instruments["manometer"].calibrations.get()
        late = NOW.replace(year=calibration.due_on.year + 1)
        monkeypatch.setattr(timezone, "now", lambda: late)
        phone.force_login(bench.candidate)

        response = start(bench, phone, purpose="practice")

        assert "its calibration ran out on" in response.content.decode()

    def test_a_coarse_manometer_is_refused_without_a_number(self, bench, phone):
        coarse = made.rigs.instrument(
            by=bench.technician,
            tag="MN-05",
            ranges=[
                made.rigs.RangeLine(
                    quantity=Quantity.PRESSURE,
                    unit="mbar",
                    full_scale=150,
                    resolution=0.1,
                    percent_full_scale=0.5,
                )
            ],
            at=made.AT,
        )

        response = start(bench, phone, manometer=str(coarse.pk))

        message = "MN-05 isn’t suitable for what is read on this rig. Choose another."
        assert message in response.content.decode().replace("&#x27;", "’")

    def test_an_instrument_of_another_kind_is_no_choice(self, bench, phone):
        response = start(bench, phone, manometer=str(bench.instruments["multimeter"].pk))

        assert "Select a valid choice" in response.content.decode()
        assert not Attempt.objects.exists()

    def test_without_a_check_this_session_there_is_only_practice(self, bench, phone, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(days=1))
        phone.force_login(bench.candidate)

        page = phone.get(start_address(bench)).content.decode()
        refused = start(bench, phone, purpose="assessment")
        practised = start(bench, phone, purpose="practice")

        assert "been checked this session" in page
        assert refused.status_code == 200
        assert practised.status_code == 302
        assert Attempt.objects.get().purpose == "practice"

    def test_a_missing_prerequisite_leaves_only_practice(self, bench, phone):
        phone.force_login(made.CandidateFactory(by=bench.manager))

        assert (
            "“Instrument checks before use” comes first" in phone.get(start_address(bench)).content.decode()
        )
        assert start(bench, phone, purpose="assessment").status_code == 200
        assert start(bench, phone, purpose="practice").status_code == 302

    def test_a_version_withdrawn_meanwhile_says_so_and_keeps_what_was_chosen(self, bench, phone):
        version = bench.tasks[made.SWITCH_TEST]
        catalogue.withdraw(version=version, by=bench.manager, at=NOW)

        page = start(bench, phone).content.decode()

        assert "This version of the task was withdrawn" in page
        assert re.search(rf'value="{bench.instruments["manometer"].pk}" selected', page)
