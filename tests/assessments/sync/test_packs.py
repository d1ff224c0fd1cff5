"""What a phone is given to go on by itself: the task’s pages as the site has them, and where things stand."""

import json
from datetime import timedelta
from html.parser import HTMLParser
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from academy.models import Person
from assessments.models import Ticket
from assessments.sync import shell
from rigs import holds
from tests.assessments.sync.devices import ticket_for
from tests.factories import assessments as made
from tests.factories import fault_finding
from tests.factories.assessments import SWITCH_TEST

pytestmark = pytest.mark.django_db
WHEN = made.AT + timedelta(hours=1)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: WHEN)


@pytest.fixture
def device(client, bench):
    client.force_login(bench.candidate)
    return client


def ask(device, bench, **changes):
    data = {"id": str(uuid4()), "purpose": "assessment"}
    data |= {kind: str(each.pk) for kind, each in bench.instruments.items()}
    address = reverse("ticket-issue", args=[bench.rig.pk, bench.tasks[SWITCH_TEST].pk])
    return device.post(address, data | changes)


class Shape(HTMLParser):
    """Tags with their classes and names, and the words between them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[object] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        kept = {key: value for key, value in attrs if key != "value" and value is not None}
        if kept.get("name") not in {"csrfmiddlewaretoken", "id"}:
            self.found.append((tag, kept))

    def handle_data(self, data) -> None:
        if data.strip():
            self.found.append(data.strip())


def test_every_step_looks_on_the_phone_as_it_does_on_the_site(device, bench):
    attempt = made.started(bench)
    content = device.get(reverse("attempt-pack", args=[attempt.pk])).json()["content"]
    assert len(content["steps"]) == 32
    for step in content["steps"]:
        page = device.get(reverse("attempt-step", args=[attempt.pk, step["position"]])).text
        shown = Shape(page).found
        for part in (step["head"], step["form"]):
            (first, *_rest) = expected = Shape(part).found
            starts = [place for place, each in enumerate(shown) if each == first]
            assert any(shown[start : start + len(expected)] == expected for start in starts), step["title"]


def test_a_ticket_comes_with_the_pages_of_its_task(device, bench):
    pack = ask(device, bench).json()

    ticket = Ticket.objects.get()
    assert pack["ticket"]["id"] == str(ticket.pk)
    assert pack["ticket"]["expires_at"] == ticket.expires_at.isoformat()
    assert set(pack["ticket"]["instruments"]) == {"manometer", "multimeter", "voltage-indicator"}
    assert "With MN-02" in pack["content"]["steps"][2]["head"]
    assert pack["content"]["steps"][5]["labels"]["answer"]["no-indication"] == "No indication on any pair"
    assert not pack["held"]


def test_what_is_wrong_with_asking_is_told(device, bench):
    answer = ask(device, bench, manometer="")
    assert (answer.status_code, answer.json()) == (
        422,
        {"words": "Pick the instrument that you will use.", "field": "manometer"},
    )
    holds.place(on=bench.rig, reason="Fan noisy", by=bench.technician, at=WHEN)
    assert "VB-01 is on hold" in ask(device, bench).json()["words"]


def test_what_the_device_has_already_isnt_sent_again(device, bench):
    address = reverse("attempt-pack", args=[made.started(bench).pk])
    first = device.get(address).json()
    again = device.get(address, {"has": first["digest"]}).json()

    assert first["content"] is not None
    assert again["content"] is None
    assert again["digest"] == first["digest"]


def test_what_stands_is_told_with_the_next_number(device, bench):
    attempt = made.started(bench)
    made.work_through(attempt, made.Work(struck={"leads-together": "2.0"}))
    told = device.get(reverse("attempt-pack", args=[attempt.pk])).json()["attempt"]

    assert told["standing"]["1"]["says"] == "0.2 Ω"
    assert told["standing"]["2"]["says"] == "tone"
    assert told["standing"]["4"]["says"] == "Done"
    assert told["standing"]["8"]["says"] == "A photo"
    assert told["next"] == 34


def test_readings_of_ones_own_choice_are_told_with_their_places(client):
    bench = fault_finding.bench()
    attempt = fault_finding.started(bench)
    first = fault_finding.measure(attempt, "taps/fan-running", "15.8")
    fault_finding.measure(attempt, "taps/fan-running", "1.58", corrects=first, reason="Point misplaced")
    fault_finding.take_back(attempt, fault_finding.measure(attempt, "contacts/fan-off", "OL"))
    client.force_login(bench.candidate)
    told = client.get(reverse("attempt-pack", args=[attempt.pk])).json()["attempt"]

    (reading,) = told["readings"]
    assert reading["says"] == "1.58 mbar"
    assert reading["where"].endswith("fan running")
    assert str(reading["position"]) not in told["standing"]


def test_a_pack_is_of_no_use_to_anybody_else(client, bench):
    other: Person = made.another_candidate(bench)
    client.force_login(other)

    assert client.get(reverse("attempt-pack", args=[made.started(bench).pk])).status_code == 404


class TestEnding:
    def test_a_device_gives_its_ticket_back(self, device, bench):
        ticket = ticket_for(bench, bench.candidate)

        assert device.post(reverse("ticket-end", args=[ticket.pk])).json() == {"id": str(ticket.pk)}
        assert Ticket.objects.get().ended_by == bench.candidate

    def test_somebody_elses_isnt_there(self, client, bench):
        ticket = ticket_for(bench, bench.candidate)
        client.force_login(made.another_candidate(bench))

        assert client.post(reverse("ticket-end", args=[ticket.pk])).status_code == 404

    def test_an_assessor_withdraws_one_where_it_is_seen(self, client, bench):
        ticket = ticket_for(bench, bench.candidate)
        client.force_login(bench.assessor)
        page = client.get(reverse("rig-attempts", args=[bench.rig.pk])).text
        assert "May be at work without a network" in page

        client.post(reverse("ticket-end", args=[ticket.pk]))
        assert (
            "May be at work without a network"
            not in client.get(reverse("rig-attempts", args=[bench.rig.pk])).text
        )


class TestShell:
    def test_the_worker_keeps_the_page_and_its_files(self, client):
        response = client.get("/sw.js")

        assert response["Content-Type"].startswith("text/javascript")
        kept = json.loads(response.text.splitlines()[0].removeprefix("const KEPT = ").removesuffix(";"))
        assert kept["page"] == reverse("bench-offline")
        assert "/static/assessments/bench-offline.js" in kept["files"]

    def test_the_page_is_the_same_for_everybody_but_for_the_name_in_its_head(self, client, bench):
        text = client.get(reverse("bench-offline")).text

        assert "csrfmiddlewaretoken" not in text
        assert str(bench.candidate.pk) not in text

    def test_its_version_changes_with_what_it_keeps(self, client, monkeypatch):
        before = client.get("/sw.js").text
        assert client.get("/sw.js").text == before
        monkeypatch.setattr(shell, "FILES", shell.FILES[1:])
        assert client.get("/sw.js").text != before
