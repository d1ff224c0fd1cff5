"""The pages with a rig's answers on them, and what it means to have been shown one."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from academy.models import Role
from assessments import disclosure
from assessments.models import RangeSeen
from rigs import baselines, readouts
from rigs.models.baselines import BaselineStatus
from tests.factories import rigs as make
from tests.factories.academy import AT, person_with

pytestmark = pytest.mark.django_db

TAPS = "Δp at the venturi taps, fan running"


@pytest.fixture(autouse=True)
def morning(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT)


@pytest.fixture
def bench(db):
    return make.open_bench()


@pytest.fixture
def verifier(client, bench):
    """Somebody who has had no hand in the rig, signed in."""
    person = person_with(Role.Kind.VERIFIER, by=bench.manager)
    client.force_login(person)
    return person


def text_of(response):
    assert response.status_code == 200
    return response.content.decode()


def waiting_baseline(bench, **given):
    rig = make.rig(by=bench.technician, tag="VB-02")
    given = {"of": rig, "instruments": bench.references, "by": bench.technician} | given
    baseline = make.open_baseline(**given)
    return baselines.hand_over(baseline=baseline, by=bench.technician, at=AT)


class TestBeingShown:
    def test_a_look_at_the_rig_does_not_count(self, client, bench, verifier):
        bench.check()
        for address in (reverse("rig-list"), reverse("rig-detail", args=[bench.rig.pk])):
            client.get(address)
        assert not disclosure.has_seen(person=verifier, rig=bench.rig)

    @pytest.mark.parametrize("page", ["rig-values", "check-detail", "baseline-detail"])
    def test_a_page_with_its_numbers_does(self, client, bench, verifier, page):
        check = bench.check()
        about = {"rig-values": bench.rig, "check-detail": check, "baseline-detail": check.baseline}[page]
        address = reverse(page, args=[about.pk])
        for _ in range(2):
            assert "you can’t be assessed on it" in text_of(client.get(address))
        assert disclosure.has_seen(person=verifier, rig=bench.rig)
        seen = RangeSeen.objects.get()
        assert (seen.person, seen.rig, seen.first_seen_at) == (verifier, bench.rig, AT)

    def test_a_page_without_values_yet_does_not(self, client, bench, verifier):
        bare = make.rig(by=bench.technician, tag="VB-02")
        client.get(reverse("rig-values", args=[bare.pk]))
        assert not RangeSeen.objects.exists()

    def test_a_look_at_a_waiting_baseline_does(self, client, bench, verifier):
        baseline = waiting_baseline(bench)
        client.get(reverse("baseline-decide", args=[baseline.pk]))
        assert disclosure.has_seen(person=verifier, rig=baseline.rig)

    def test_whoever_found_the_numbers_has_seen_them(self, bench):
        assert disclosure.has_seen(person=bench.technician, rig=bench.rig)  # made its baseline
        assert disclosure.has_seen(person=bench.assessor, rig=bench.rig)  # approved it
        assert not disclosure.has_seen(person=bench.manager, rig=bench.rig)
        bench.check(by=bench.manager)
        assert disclosure.has_seen(person=bench.manager, rig=bench.rig)
        assert not RangeSeen.objects.exists()

    def test_it_is_that_rig_only(self, bench):
        other = make.rig(by=bench.technician, tag="VB-02")
        assert not disclosure.has_seen(person=bench.technician, rig=other)


class TestValues:
    @pytest.fixture
    def address(self, bench):
        bench.check()
        return reverse("rig-values", args=[bench.rig.pk])

    def present(self, response):
        return next(each for each in response.context["values"] if each.label == TAPS)

    def test_the_first_bench_manometer_is_chosen_at_first(self, client, bench, verifier, address):
        response = client.get(address)
        assert response.context["chosen"] == bench.manometer
        present = self.present(response)
        page = text_of(response)
        assert present.suitable
        for words in (present.value, present.lower, present.upper, "after the check of", "Suitable"):
            assert words in page

    def test_another_instrument_has_another_range(self, client, bench, verifier, address):
        coarse = make.instrument(by=bench.manager, tag="MN-05", ranges=make.COARSE_MANOMETER)
        fine = self.present(client.get(address))
        response = client.get(address, {"instrument": coarse.pk})
        assert response.context["chosen"] == coarse
        assert self.present(response).lower < fine.lower
        assert "Not suitable" in text_of(response)

    def test_references_and_multimeters_are_not_offered(self, client, bench, verifier, address):
        assert [each.tag for each in client.get(address).context["view"].choices] == ["MN-02"]

    @pytest.mark.parametrize("wanted", ["", "nonsense", "0e0ebd2a-9e39-4c2f-8a3d-2b4f3a1c9f00"])
    def test_an_instrument_that_is_not_there_is_the_first_one(self, client, bench, verifier, address, wanted):
        assert client.get(address, {"instrument": wanted}).context["chosen"] == bench.manometer

    def test_one_that_could_not_be_used_today_says_so(self, client, bench, verifier, address):
        lapsed = make.instrument(by=bench.manager, tag="MN-03", certified=False)
        page = text_of(client.get(address, {"instrument": lapsed.pk}))
        assert "MN-03 has no calibration certificate on record." in page

    def test_without_a_bench_instrument_the_values_stand_alone(self, client, bench, verifier, address):
        type(bench.manometer).objects.filter(pk=bench.manometer.pk).update(retired_at=AT)
        page = text_of(client.get(address))
        assert "No bench instrument measures" in page
        assert "Present value" in page

    def test_another_instrument_costs_no_more_queries(
        self, client, bench, verifier, address, django_assert_max_num_queries
    ):
        client.get(address)
        for _ in range(10):
            make.instrument(by=bench.manager)
        with django_assert_max_num_queries(20):
            client.get(address)


class TestACheck:
    def test_its_reasons_and_readings_are_there(self, client, bench, verifier):
        check = bench.check(running=1.31)
        page = text_of(client.get(reverse("check-detail", args=[check.pk])))
        assert "Hold proposed" in page
        assert check.reasons[0] in page
        assert "VB-01 stays in service until somebody places the hold." in page
        assert reverse("hold-place", kwargs={"rig": bench.rig.pk}) not in page  # not a verifier's to place

    def test_only_the_latest_check_proposes(self, client, bench):
        old = bench.check(running=1.31)
        bench.check(at=AT + timedelta(minutes=20))
        client.force_login(bench.technician)
        page = text_of(client.get(reverse("check-detail", args=[old.pk])))
        assert "Place the hold" not in page
        assert "stays in service until" not in page


class TestASecondLook:
    def test_what_stands_out_is_marked_and_named(self, client, bench):
        texts = [{}, {}, {"taps:fan-running": "1.95"}]
        baseline = waiting_baseline(bench, texts=texts)
        client.force_login(bench.assessor)
        page = text_of(client.get(reverse("baseline-decide", args=[baseline.pk])))
        assert page.count("Look again") == 2
        assert "run 3" in page
        assert "There is no baseline before this one" in page

    def test_the_baseline_before_is_beside_it(self, client, bench):
        at = AT + timedelta(days=9)
        baseline = make.open_baseline(
            of=bench.rig, instruments=bench.references, by=bench.technician, running=1.50, at=at
        )
        baselines.hand_over(baseline=baseline, by=bench.technician, at=at)
        client.force_login(bench.assessor)
        response = client.get(reverse("baseline-decide", args=[baseline.pk]))
        taps = next(each for each in response.context["summaries"] if each.label == TAPS)
        page = text_of(response)
        assert taps.before in page
        assert f"{taps.change} since" in page

    def test_it_is_sent_back_with_a_note(self, client, bench):
        baseline = waiting_baseline(bench)
        client.force_login(bench.assessor)
        address = reverse("baseline-decide", args=[baseline.pk])
        response = client.post(address, {"send_back": "yes", "note": " "})
        assert response.context["form"].errors == {"note": ["Say what is wrong with it."]}
        page = text_of(client.post(address, {"send_back": "yes", "note": "Tubes crossed."}, follow=True))
        assert "is sent back. Its readings stay on record." in page
        assert "Tubes crossed." in page
        baseline.refresh_from_db()
        assert baseline.status == BaselineStatus.REJECTED

    def test_its_maker_is_told_that_somebody_else_decides(self, client, bench):
        rig = make.rig(by=bench.manager, tag="VB-02")
        baseline = make.open_baseline(of=rig, instruments=bench.references, by=bench.manager)
        baselines.hand_over(baseline=baseline, by=bench.manager, at=AT)
        client.force_login(bench.manager)
        address = reverse("baseline-decide", args=[baseline.pk])
        words = "You made this baseline: a second person decides on it."
        assert words in text_of(client.get(address, follow=True))
        assert words in text_of(client.post(address, {"approve": "yes", "note": ""}))
        assert address not in text_of(client.get(reverse("baseline-detail", args=[baseline.pk])))
        baseline.refresh_from_db()
        assert baseline.status == BaselineStatus.WAITING

    def test_a_contact_in_the_wrong_state_is_marked_and_not_approved(self, client, bench):
        baseline = waiting_baseline(bench, texts=[{"contacts:fan-running": "4.2"}] * 10)
        client.force_login(bench.assessor)
        address = reverse("baseline-decide", args=[baseline.pk])
        assert "should be closed" in text_of(client.get(address))
        page = text_of(client.post(address, {"approve": "yes", "note": ""}))
        assert "was high resistance. Mend the rig first." in page

    def test_one_that_was_left_unfinished_can_be_set_aside_only(self, client, bench):
        rig = make.rig(by=bench.technician, tag="VB-02")
        baseline = make.open_baseline(
            of=rig, instruments=bench.references, by=bench.technician, runs=2, days=1
        )
        client.force_login(bench.assessor)
        address = reverse("baseline-decide", args=[baseline.pk])
        page = text_of(client.get(address))
        assert "Set it aside" in page
        assert "Approve the baseline" not in page
        assert "Fewer than 5 runs: they say nothing yet." in page
        assert "Say what is wrong with it." in text_of(client.post(address, {"send_back": "yes", "note": ""}))
        assert "being recorded" in text_of(client.post(address, {"approve": "yes", "note": "Fine."}))
        page = text_of(client.post(address, {"send_back": "yes", "note": "Left."}, follow=True))
        assert "Sent back" in page

    def test_a_decided_one_leads_to_what_was_decided(self, client, bench):
        baseline = baselines.in_force(rig=bench.rig)
        client.force_login(person_with(Role.Kind.VERIFIER, by=bench.manager))
        page = text_of(client.get(reverse("baseline-decide", args=[baseline.pk]), follow=True))
        assert "This baseline is approved already." in page
        summary = readouts.summaries(baseline=baseline)[1]
        assert summary.mean in page
