"""The pages of practising on a virtual rig, as a phone without JavaScript asks for them."""

import re
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from assessments import virtual
from assessments.models import VirtualEntry, VirtualPractice
from assessments.models.virtual import Draw
from tests.factories import assessments as made
from tests.factories import virtual as practices
from tests.factories.academy import AT, CandidateFactory
from tests.site.reading import faults_of

LABEL = "Practice on a virtual rig: never evidence"
pytestmark = pytest.mark.django_db


@pytest.fixture
def classroom(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT)
    return practices.classroom()


@pytest.fixture
def phone(classroom):
    client = Client()
    client.force_login(classroom.candidate)
    return client


@pytest.fixture
def version(classroom):
    return classroom.tasks[made.SWITCH_TEST]


@pytest.fixture
def practice(classroom, version):
    return practices.started(candidate=classroom.candidate, version=version)


@pytest.fixture
def search(classroom):
    version = practices.fault_finding(by=classroom.manager)
    found = practices.started(candidate=classroom.candidate, version=version, draw=Draw.ANY)
    return practices.with_fault(found, "contact-open")


def step_address(practice, slug):
    return reverse("virtual-step", args=[practice.pk, practice.version.steps.get(slug=slug).position])


def measuring(practice, at="contacts", condition="fan-running", n=0):
    return reverse("virtual-measure", args=[practice.pk], query={"at": at, "condition": condition, "n": n})


def shown_in(page):
    """What the display on a page shows, from what is said of it."""
    (said,) = re.findall(r"The display shows ([^<]*)\.</span>", page)
    return said


class TestStarting:
    def test_the_bench_leads_there(self, phone):
        assert reverse("virtual-list") in phone.get(reverse("bench-home")).text

    def test_the_list_offers_what_a_virtual_rig_can_stand_in_for(self, classroom, phone, version):
        page = phone.get(reverse("virtual-list")).text

        assert reverse("virtual-start", args=[version.pk]) in page
        assert reverse("virtual-start", args=[classroom.tasks["safe-isolation"].pk]) not in page

    def test_the_tasks_own_cautions_come_first(self, phone, version):
        page = phone.get(reverse("virtual-start", args=[version.pk])).text

        assert version.cautions[0].replace("'", "&#x27;") in page
        assert "As if your hands" in page or "as if your hands" in page

    def test_without_the_cautions_read_nothing_starts(self, phone, version):
        address = reverse("virtual-start", args=[version.pk])
        page = phone.post(address, {"id": uuid4(), "draw": "nothing"}).text

        assert "Read the cautions and confirm them first." in page
        assert not VirtualPractice.objects.exists()

    def test_then_its_first_step_is_there(self, phone, version):
        address = reverse("virtual-start", args=[version.pk])
        response = phone.post(address, {"id": uuid4(), "draw": "nothing", "cautions_read": "on"})

        practice = VirtualPractice.objects.get()
        assert response["Location"] == reverse("virtual-step", args=[practice.pk, 1])

    def test_a_search_asks_what_may_be_wrong(self, phone, search):
        page = phone.get(reverse("virtual-start", args=[search.version_id])).text

        for draw in (Draw.ANY, Draw.ELECTRICAL, Draw.PNEUMATIC):
            assert draw.label in page
        assert Draw.NOTHING.label not in page

    def test_a_task_that_no_virtual_rig_stands_in_for_is_not_there(self, classroom, phone):
        address = reverse("virtual-start", args=[classroom.tasks["safe-isolation"].pk])

        assert phone.get(address).status_code == 404

    def test_starting_again_draws_another_rig(self, phone, version):
        for _ in range(2):
            phone.post(
                reverse("virtual-start", args=[version.pk]),
                {"id": uuid4(), "draw": "nothing", "cautions_read": "on"},
            )

        first, second = VirtualPractice.objects.all()
        assert first.drawn["rig"] != second.drawn["rig"]


class TestAStep:
    def test_shows_what_the_display_shows_now(self, phone, practice):
        step = practice.version.steps.get(slug="ports-running")
        said = shown_in(phone.get(step_address(practice, "ports-running")).text)

        assert said == f"{practices.what_it_shows(practice, step)} mbar"

    def test_shows_the_same_when_it_is_loaded_again(self, phone, practice):
        first, second = (phone.get(step_address(practice, "taps-running")).text for _ in range(2))

        assert shown_in(first) == shown_in(second)

    def test_says_that_an_open_contact_is_over_limit(self, phone, practice):
        assert shown_in(phone.get(step_address(practice, "contacts-at-rest")).text) == "OL, over limit"

    def test_gives_the_verdict_with_its_working_at_once(self, phone, practice):
        address = step_address(practice, "ports-running")
        page = phone.post(address, {"id": uuid4(), "text": "9.99", "unit": "mbar"}, follow=True).text

        assert "Out of range" in page
        assert "Welch" in page
        assert "Not what it showed" in page

    def test_says_nothing_of_the_display_where_it_was_read_right(self, phone, practice):
        step = practice.version.steps.get(slug="ports-running")
        right = practices.what_it_shows(practice, step)
        page = phone.post(
            step_address(practice, "ports-running"),
            {"id": uuid4(), "text": right, "unit": "mbar"},
            follow=True,
        ).text

        assert "Not what it showed" not in page
        assert "as the display showed" in page

    def test_the_same_in_another_unit_is_read_right_too(self, phone, practice):
        step = practice.version.steps.get(slug="ports-running")
        in_pascals = f"{float(practices.what_it_shows(practice, step)) * 100:.0f}"
        page = phone.post(
            step_address(practice, "ports-running"),
            {"id": uuid4(), "text": in_pascals, "unit": "Pa"},
            follow=True,
        ).text

        assert "Not what it showed" not in page

    @pytest.mark.parametrize(("text", "says"), [("", "Nothing is written here"), ("about one", "about one")])
    def test_what_is_no_reading_is_said_beside_the_field(self, phone, practice, text, says):
        page = phone.post(
            step_address(practice, "ports-running"), {"id": uuid4(), "text": text, "unit": "mbar"}
        ).text

        assert says in page
        assert faults_of(page) == []
        assert not VirtualEntry.objects.exists()

    def test_an_action_is_ticked_and_the_next_step_comes(self, phone, practice):
        response = phone.post(step_address(practice, "prove-before"), {"id": uuid4()})

        assert response["Location"] == step_address(practice, "isolate")

    def test_a_photo_is_ticked_in_its_place(self, phone, practice):
        page = phone.get(step_address(practice, "photo-before")).text

        assert "nothing to photograph" in page
        assert 'type="file"' not in page

    def test_a_tone_is_heard(self, phone, practice):
        assert "it sounds" in phone.get(step_address(practice, "leads-tone")).text

    def test_the_indicator_and_the_lamp_show_what_they_would(self, phone, practice):
        assert "Nothing lights" in phone.get(step_address(practice, "prove-dead")).text
        lamp = phone.get(step_address(practice, "function-check")).text
        assert re.search(r"Fan off</dt>.*dark.*Fan running</dt>.*lit", lamp, re.DOTALL)

    def test_one_that_is_not_in_the_task_is_not_there(self, phone, practice):
        assert phone.get(reverse("virtual-step", args=[practice.pk, 99])).status_code == 404

    def test_sent_twice_is_logged_once(self, phone, practice):
        data = {"id": uuid4(), "text": "1.5", "unit": "mbar"}
        for _ in range(2):
            phone.post(step_address(practice, "ports-running"), data)

        assert VirtualEntry.objects.count() == 1


class TestMeasuring:
    def test_the_step_leads_to_its_page(self, phone, search):
        response = phone.get(step_address(search, "measure"))

        assert response["Location"] == reverse("virtual-measure", args=[search.pk])

    def test_shows_the_display_that_is_asked_for(self, phone, search):
        assert shown_in(phone.get(measuring(search)).text) == "OL, over limit"
        assert shown_in(phone.get(measuring(search, "ports")).text).endswith("mbar")

    def test_keeps_what_is_read_and_begins_from_there_again(self, phone, search):
        page = phone.post(measuring(search), {"id": uuid4(), "qualifier": "over-limit"}, follow=True).text

        entry = VirtualEntry.objects.get()
        assert (entry.test_point.slug, entry.condition.slug, entry.shown) == ("contacts", "fan-running", "OL")
        assert '<option value="contacts" selected>' in page
        assert 'name="n" value="1"' in page

    def test_says_on_request_what_the_readings_say(self, phone, search):
        page = phone.post(measuring(search), {"id": uuid4(), "qualifier": "over-limit"}, follow=True).text

        assert "<summary>What these readings say so far</summary>" in page
        assert "bits to be expected" in page
        assert "All others together" in page

    def test_gives_no_verdict_and_no_fault_away(self, phone, search):
        page = phone.post(measuring(search), {"id": uuid4(), "qualifier": "over-limit"}, follow=True).text
        overview = phone.get(reverse("virtual-overview", args=[search.pk])).text

        for text in (page, overview):
            assert "What was set" not in text
            assert "<h2>Diagnosis</h2>" not in text
            assert "out-of-range" not in text

    @pytest.mark.parametrize("asked", [{"at": "nowhere"}, {"condition": "on fire"}, {"n": "-1"}, {"n": "x"}])
    def test_what_cannot_be_measured_is_said(self, phone, search, asked):
        page = phone.get(measuring(search, **{"at": "ports", "condition": "fan-off", "n": 0} | asked)).text

        assert "The display shows" not in page
        assert "Nothing to see there" in page
        assert faults_of(page) == []

    def test_what_is_no_reading_is_said_beside_the_field(self, phone, search):
        page = phone.post(measuring(search, "ports"), {"id": uuid4(), "text": "?", "unit": "mbar"}).text

        assert 'aria-invalid="true"' in page
        assert faults_of(page) == []
        assert not VirtualEntry.objects.exists()

    def test_a_reading_of_nothing_chosen_is_asked_for_again(self, phone, search):
        page = phone.post(
            reverse("virtual-measure", args=[search.pk]),
            {"id": uuid4(), "text": "1", "unit": "mbar"},
            follow=True,
        ).text

        assert "Choose a test point and a condition first." in page

    def test_a_task_without_it_has_no_such_page(self, phone, practice):
        assert phone.get(reverse("virtual-measure", args=[practice.pk])).status_code == 404

    def test_giving_up_shows_what_was_set(self, phone, search):
        page = phone.post(reverse("virtual-give-up", args=[search.pk]), follow=True).text

        assert "Contact does not make" in page
        assert "Give up and show it" not in page


class TestTheDiagnosis:
    def state(self, phone, search, answer):
        return phone.post(
            step_address(search, "diagnosis"),
            {"id": uuid4(), "answer": answer, "note": "OL with the fan running."},
            follow=True,
        ).text

    def test_without_a_reading_is_refused_beside_the_form(self, phone, search):
        page = self.state(phone, search, "contact-open")

        assert "Measure something first" in page
        assert "OL with the fan running." in page

    def test_shows_at_once_what_was_set_and_what_the_readings_say(self, phone, search):
        for at, condition in (("contacts", "fan-running"), ("ports", "fan-running"), ("taps", "fan-running")):
            practices.measure(search, at, condition)
        page = self.state(phone, search, "contact-open")

        assert "<h2>Diagnosis</h2>" in page
        assert "Contact does not make" in page
        assert "How likely each is" in page

    def test_cannot_be_changed_once_the_answer_is_out(self, phone, search):
        practices.measure(search, "contacts", "fan-running")
        self.state(phone, search, "none")
        page = self.state(phone, search, "contact-open")

        assert VirtualEntry.objects.filter(step__slug="diagnosis").count() == 1
        assert "The fault is out" in page


class TestTheEnd:
    @pytest.fixture
    def done(self, phone, practice):
        practices.work_through(practice, {"ports-running": "9.99"})
        return phone.post(reverse("virtual-finish", args=[practice.pk]), follow=True).text

    def test_shows_all_three_strands_and_every_working(self, done):
        for name in ("Procedure", "Readings", "Conclusion"):
            assert f"<dt>{name}</dt>" in done
        assert "Out of range" in done
        assert "<summary>Working</summary>" in done
        assert "the display showed" in done

    def test_never_says_competent_or_not_yet(self, done):
        assert "ompetent" not in done

    def test_leads_to_another_rig(self, done, practice):
        assert reverse("virtual-start", args=[practice.version_id]) in done

    def test_nothing_can_be_added(self, phone, done, practice):
        response = phone.post(step_address(practice, "isolate"), {"id": uuid4()}, follow=True)

        assert "finished" in response.text
        assert response.redirect_chain[-1][0] == reverse("virtual-result", args=[practice.pk])

    def test_stays_in_ones_own_history(self, phone, done, practice):
        assert reverse("virtual-result", args=[practice.pk]) in phone.get(reverse("virtual-list")).text

    def test_a_search_that_was_not_finished_shows_its_fault_then(self, phone, search):
        page = phone.post(reverse("virtual-finish", args=[search.pk]), follow=True).text

        assert "Contact does not make" in page


class TestWhoseItIs:
    NAMES = ("virtual-overview", "virtual-result", "virtual-measure")

    @pytest.mark.parametrize("name", NAMES)
    def test_nobody_elses_is_there(self, classroom, practice, name):
        other = Client()
        other.force_login(CandidateFactory(by=classroom.manager))

        assert other.get(reverse(name, args=[practice.pk])).status_code == 404
        assert reverse("virtual-overview", args=[practice.pk]) not in other.get(reverse("virtual-list")).text

    def test_a_manager_has_no_such_page(self, classroom, practice):
        client = Client()
        client.force_login(classroom.manager)

        assert client.get(reverse("virtual-overview", args=[practice.pk])).status_code == 403


def test_every_page_and_its_title_say_what_it_is(phone, practice, search):
    virtual.finish(practice=practices.started(candidate=practice.candidate, version=practice.version),
                   candidate=practice.candidate, at=AT)  # fmt: skip
    finished = VirtualPractice.objects.get(finished_at__isnull=False)
    addresses = [
        reverse("virtual-list"),
        reverse("virtual-start", args=[practice.version_id]),
        reverse("virtual-overview", args=[practice.pk]),
        *(
            reverse("virtual-step", args=[practice.pk, step.position])
            for step in practice.version.steps.all()
        ),
        measuring(search),
        reverse("virtual-result", args=[finished.pk]),
    ]
    for address in addresses:
        page = phone.get(address).text
        assert LABEL in page
        assert re.search(r"<title>[^<]*practice on a virtual rig, never evidence", page), address
        assert "A screen is no substitute for the bench." in page
        assert faults_of(page) == []
