"""The candidate's pages of a fault-finding task, as a phone without JavaScript sends them, and the result."""

import re
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from assessments.models import Reading, StepRecord
from rigs.metrology.quantities import Qualifier
from tests.factories import assessments as made
from tests.factories import fault_finding as finding
from tests.factories.fault_finding import MINUTE, Found
from tests.factories.portfolios import bytes_of, issue

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return finding.bench(fault="tubes-crossed")


@pytest.fixture
def attempt(bench):
    return finding.started(bench)


@pytest.fixture
def phone(bench, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + 2 * MINUTE)
    client = Client()
    client.force_login(bench.candidate)
    return client


@pytest.fixture
def address(attempt):
    return reverse("attempt-measure", args=[attempt.pk, finding.step(attempt, "measure").position])


def where(key):
    test_point, condition = key.split("/")
    return {"test_point": test_point, "condition": condition}


def log(phone, address, key, **data):
    units = {"unit_pressure": "mbar", "unit_resistance": "Ω"}
    return phone.post(address, {"id": str(uuid4()), **where(key), **units, **data})


def text_of(response):
    assert response.status_code == 200
    return response.content.decode()


def checked(page, name):
    return re.findall(rf'name="{name}" value="([a-z-]+)"[^>]* checked', page)


class TestMeasuring:
    def test_the_step_leads_to_its_own_page(self, phone, attempt, address):
        step = finding.step(attempt, "measure")
        response = phone.get(reverse("attempt-step", args=[attempt.pk, step.position]))

        assert response.url == address
        page = text_of(phone.get(address))
        assert "Δp at the switch ports" in page
        assert "Make point" not in page
        assert "None yet." in page

    def test_a_reading_is_added_below_and_the_place_is_remembered(self, phone, attempt, address):
        response = log(phone, address, "ports/fan-running", text="-1.57", why="Which side is high?")
        assert response.url == address
        page = text_of(phone.get(address))

        assert checked(page, "test_point") == ["ports"]
        assert checked(page, "condition") == ["fan-running"]
        assert "−1.57" in page or "-1.57" in page
        assert "Which side is high?" in page

    def test_units_are_remembered_for_each_quantity(self, phone, attempt, address):
        log(phone, address, "ports/fan-running", text="-157", unit_pressure="Pa")
        log(phone, address, "contacts/fan-off", text="0.4", unit_resistance="kΩ")

        page = text_of(phone.get(address))
        assert '<option value="Pa" selected>' in page
        assert '<option value="kΩ" selected>' in page
        assert [each.unit for each in attempt.readings.in_order()] == ["Pa", "kΩ"]

    @pytest.mark.parametrize("qualifier", ["over-limit", "tone", "no-tone", "unstable", "not-obtained"])
    def test_a_button_is_a_reading(self, phone, attempt, address, qualifier):
        log(phone, address, "contacts/fan-off", text="", qualifier=qualifier)
        assert attempt.readings.get().qualifier == Qualifier(qualifier)

    @pytest.mark.parametrize(
        ("data", "said"),
        [
            ({"text": ""}, "Nothing is written here"),
            ({"text": "about one"}, "about one"),
            ({"text": "1.5 Ω"}, "1.5 Ω"),
            ({"text": "1", "qualifier": "tone"}, "no tone to hear"),
            ({"text": "1", "qualifier": "loud"}, "Choose one of the buttons"),
            ({"text": "1", "test_point": ""}, "Choose where you measured"),
            ({"text": "1", "test_point": "make-point"}, "one of this task’s test points"),
            ({"text": "1", "test_point": "x"}, "one of this task’s test points"),
            ({"text": "1", "condition": ""}, "Choose the condition"),
            ({"text": "1", "unit_pressure": "V"}, "V"),
            ({"text": "1", "id": "x"}, "UUID"),
            ({"text": "1", "why": "w" * 201}, "200"),
        ],
    )
    def test_what_is_wrong_is_said_and_nothing_typed_is_lost(self, phone, attempt, address, data, said):
        page = text_of(log(phone, address, "ports/fan-running", **{"why": "To see", **data}))

        assert said in page
        assert not Reading.objects.exists()
        if "why" not in data:
            assert 'value="To see"' in page

    def test_a_test_point_that_the_task_does_not_offer_is_no_choice(self, phone, attempt, address):
        page = text_of(log(phone, address, "make-point/hand-pump", text="0.93"))
        assert "one of this task’s test points" in page

    def test_as_many_queries_for_many_readings_as_for_one(
        self, phone, attempt, address, django_assert_num_queries
    ):
        finding.measure(attempt, "taps/fan-running", "1.58")
        phone.get(address)
        with django_assert_num_queries(10) as first:
            phone.get(address)
        for _ in range(5):
            finding.measure(attempt, "taps/fan-running", "1.58")
        with django_assert_num_queries(len(first)):
            phone.get(address)

    def test_nobody_elses_is_there(self, bench, phone, attempt, address):
        reading = finding.measure(attempt, "taps/fan-running", "1.58")
        phone.force_login(made.another_candidate(bench))
        assert phone.get(address).status_code == 404
        assert phone.get(reverse("reading-correct", args=[attempt.pk, reading.pk])).status_code == 404

    def test_another_step_is_no_step_of_measurements(self, phone, attempt):
        assert phone.get(reverse("attempt-measure", args=[attempt.pk, 1])).status_code == 404
        assert phone.get(reverse("attempt-measure", args=[attempt.pk, 99])).status_code == 404


class TestCorrecting:
    @pytest.fixture
    def reading(self, attempt):
        return finding.measure(attempt, "taps/fan-running", "15.8", why="Is there air?")

    @pytest.fixture
    def correcting(self, attempt, reading):
        return reverse("reading-correct", args=[attempt.pk, reading.pk])

    def test_what_was_logged_stands_in_the_form(self, phone, attempt, address, correcting):
        assert correcting in text_of(phone.get(address))
        page = text_of(phone.get(correcting))
        assert 'value="15.8"' in page
        assert 'value="Is there air?"' in page

    def test_the_old_one_stays_readable_struck_out_with_the_reason(self, phone, attempt, address, correcting):
        log(phone, correcting, "taps/fan-running", text="1.58", reason="Point misplaced")

        page = text_of(phone.get(address))
        assert "<del>" in page
        assert "Point misplaced" in page
        assert attempt.readings.standing().get().text == "1.58"

    def test_without_a_reason_nothing_is_struck_out(self, phone, attempt, correcting):
        page = text_of(log(phone, correcting, "taps/fan-running", text="1.58"))
        assert "Say why it is corrected." in page
        assert 'value="1.58"' in page

    def test_one_that_was_struck_out_meanwhile_says_so(self, phone, attempt, correcting):
        log(phone, correcting, "taps/fan-running", text="1.58", reason="Misread")
        page = text_of(log(phone, correcting, "taps/fan-running", text="1.59", reason="Misread"))
        assert "struck out already" in page

    def test_it_can_be_taken_back(self, phone, attempt, address, reading):
        back = reverse("reading-take-back", args=[attempt.pk, reading.pk])
        page = text_of(phone.post(back, {"id": str(uuid4()), "reason": ""}, follow=True))
        assert "Say why it is taken back." in page
        page = text_of(phone.post(back, {"id": str(uuid4()), "reason": "Wrong rig"}, follow=True))
        assert "Taken back" in page
        assert "Wrong rig" in page
        assert not attempt.readings.standing().exists()
        overview = text_of(phone.get(reverse("attempt-overview", args=[attempt.pk])))
        assert "Wrong rig" in overview

    def test_after_handing_in_there_is_the_list_alone(self, bench, phone):
        attempt = finding.handed_in(bench)
        reading = attempt.readings.first()
        overview = reverse("attempt-overview", args=[attempt.pk])
        position = finding.step(attempt, "measure").position
        for address in (
            reverse("attempt-measure", args=[attempt.pk, position]),
            reverse("reading-correct", args=[attempt.pk, reading.pk]),
        ):
            assert phone.get(address).url == overview
            page = text_of(phone.post(address, {}, follow=True))
            assert "handed in" in page
        page = text_of(phone.get(overview))
        assert "Your own readings" in page
        assert "Δp at the switch ports" in page


class TestStating:
    def test_without_readings_the_page_says_what_comes_first(self, phone, attempt):
        position = finding.step(attempt, "diagnosis").position
        address = reverse("attempt-step", args=[attempt.pk, position])
        page = text_of(phone.get(address))
        assert "Nothing is wrong" in page
        assert "Tubes crossed" in page

        data = {"id": str(uuid4()), "answer": "tubes-crossed", "note": "I saw it."}
        page = text_of(phone.post(address, data))
        assert "Measure something first" in page
        assert "I saw it." in page
        assert not StepRecord.objects.exists()

    def test_with_a_reading_it_is_logged(self, phone, attempt):
        finding.measure(attempt, "ports/fan-running", "-1.57")
        step = finding.step(attempt, "diagnosis")
        data = {"id": str(uuid4()), "answer": "tubes-crossed", "note": "Ports below zero."}
        phone.post(reverse("attempt-step", args=[attempt.pk, step.position]), data)
        assert StepRecord.objects.get().answer == "tubes-crossed"


class TestAfterwards:
    def review(self, bench, attempt):
        client = Client()
        client.force_login(bench.assessor)
        return text_of(client.get(reverse("review-detail", args=[attempt.pk])))

    def test_the_assessor_sees_what_was_stated_set_and_how_likely_each_is(self, bench, phone):
        page = self.review(bench, finding.handed_in(bench))

        assert "The diagnosis is right, and the readings taken support it." in page
        assert "set and stated" in page
        assert "How likely each is, given the readings" in page
        assert "|ζ| = " in page
        assert "over 99" in page

    def test_a_lucky_guess_is_named(self, bench, phone):
        little = Found(readings=(("contacts/fan-off", "OL"),))
        page = self.review(bench, finding.handed_in(bench, little))

        assert "lucky guess" in page
        assert "Next best test" in page
        assert "For you to decide" in page

    def test_the_candidates_result_has_words_and_no_numbers_of_the_rig(self, bench, phone):
        signed = finding.signed_off(bench)
        page = text_of(phone.get(reverse("attempt-result", args=[signed.attempt.pk])))

        assert "The diagnosis is right, and the readings taken support it." in page
        for hidden in ("|ζ|", "How likely", "With what was set", "over 99", "<dt>Set</dt>"):
            assert hidden not in page

    def test_a_wrong_one_does_not_learn_what_was_set(self, bench, phone):
        wrong = Found(stated="fan-slow")
        signed = finding.signed_off(bench, wrong, decision="not-yet-competent")
        page = text_of(phone.get(reverse("attempt-result", args=[signed.attempt.pk])))

        assert "The diagnosis isn’t right" in page
        assert "Tubes crossed" not in page

    def test_the_portfolio_has_the_words(self, bench, unset):
        finding.signed_off(bench)

        text = bytes_of(issue(bench, by=bench.candidate)).decode()
        assert "The diagnosis is right, and the readings taken support it." in text
        assert "Δp at the switch ports" in text
        for hidden in ("|ζ|", "over 99", "Fault set"):
            assert hidden not in text
