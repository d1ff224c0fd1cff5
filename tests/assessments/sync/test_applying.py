"""Each kind of entry, and everything that can be wrong with one: nothing is dropped without a word."""

import random
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments import catalogue, evidence, outcomes, returns, stops
from assessments.models import Arrival, Attempt, Photo, Reading, StepRecord
from assessments.models.attempts import AttemptStatus, Purpose
from rigs import holds
from tests.assessments.sync.devices import Line, Phone, ticket_for
from tests.factories import assessments as made
from tests.factories import fault_finding
from tests.factories.assessments import SWITCH_TEST, picture

pytestmark = pytest.mark.django_db
WHEN = made.AT + timedelta(hours=1)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: WHEN)


def phone_of(person, *, seed=1, **given) -> Phone:
    chance = random.Random(seed)
    return Phone(owner=person, chance=chance, line=Line(chance=chance), **given)


@pytest.fixture
def mine(bench) -> Phone:
    return phone_of(bench.candidate)


@pytest.fixture
def other(bench) -> Phone:
    """The same candidate's other device."""
    return phone_of(bench.candidate, seed=2)


@pytest.fixture
def step(bench):
    return lambda slug: bench.tasks[SWITCH_TEST].steps.get(slug=slug)


@pytest.fixture
def begun(bench, mine) -> str:
    number = mine.start(ticket_for(bench, bench.candidate), at=WHEN)
    assert results(mine) == ["stored"]
    return number


def send(phone: Phone) -> list[dict]:
    return phone.send(at=WHEN)


def results(phone: Phone) -> list[str]:
    return [each["result"] for each in send(phone)]


def leads(phone: Phone, attempt: str, step, text: str, **more: str) -> str:
    return phone.log(attempt, step("leads-together"), at=WHEN, text=text, unit="Ω", **more)


def resend(phone: Phone, entries: list[dict]):
    return phone.client.post(reverse("bench-sync"), phone.request(entries, at=WHEN)).json()["entries"]


class TestWhose:
    def test_a_batch_of_somebody_elses_is_refused_whole(self, bench, mine, begun, step):
        leads(mine, begun, step, "0.2")
        thief = phone_of(made.another_candidate(bench))

        response = thief.client.post(reverse("bench-sync"), mine.request(mine.queue, at=WHEN))

        assert (response.status_code, response.json()) == (403, {"code": "someone-else"})
        assert Reading.objects.count() == 0

    def test_an_attempt_of_somebody_elses_isnt_there(self, bench, begun, step):
        thief = phone_of(made.another_candidate(bench))
        leads(thief, begun, step, "0.2")

        (answer,) = send(thief)

        assert (answer["result"], answer["words"]) == ("refused", "What this belongs to isn’t on the site.")

    def test_a_ticket_of_somebody_elses_isnt_there(self, bench):
        thief = phone_of(made.another_candidate(bench))
        thief.start(ticket_for(bench, bench.candidate), at=WHEN)

        assert send(thief)[0]["words"] == "What this belongs to isn’t on the site."

    def test_who_signed_in_is_told_before_anything_is_sent(self, bench, mine):
        answer = mine.client.get(reverse("bench-sync")).json()

        assert answer["person"] == str(bench.candidate.pk)
        assert len(answer["token"]) == 64

    def test_without_its_token_nothing_is_taken(self, bench, mine):
        mine.client.handler.enforce_csrf_checks = True

        assert mine.client.post(reverse("bench-sync"), mine.request([], at=WHEN)).status_code == 403

    def test_what_is_no_batch_is_refused_in_words(self, mine):
        response = mine.client.post(reverse("bench-sync"), {"batch": "{}"})

        assert (response.status_code, response.json()["code"]) == (400, "unreadable")


class TestOnce:
    def test_what_was_sent_is_known_when_it_comes_again_even_after_handing_in(self, mine, begun, step):
        leads(mine, begun, step, "0.2")
        entries = list(mine.queue)
        assert results(mine) == ["stored"]
        Attempt.objects.update(status=AttemptStatus.SUBMITTED, submitted_at=WHEN)

        assert [each["result"] for each in resend(mine, entries)] == ["already"]
        assert Reading.objects.count() == 1

    def test_a_form_that_reached_the_site_though_the_network_went_is_known(self, bench, mine, begun, step):
        number = leads(mine, begun, step, "0.2")
        address = reverse("attempt-step", args=[begun, step("leads-together").position])
        mine.client.post(address, {"id": number, "text": "0.2", "unit": "Ω"})

        assert results(mine) == ["already"]
        assert Reading.objects.count() == 1

    def test_something_else_under_the_same_id_is_asked_about(self, mine, begun, step):
        leads(mine, begun, step, "0.2")
        entries = [{**each, "payload": {**each["payload"]}} for each in mine.queue]
        send(mine)
        entries[0]["payload"] = {"position": 1, "fields": {"text": "0.3", "unit": "Ω"}}

        (answer,) = resend(mine, entries)

        assert answer["result"] == "refused"
        assert "Something else came under the same number" in answer["words"]
        assert Reading.objects.get().text == "0.2"

    def test_handing_in_again_hands_nothing_in_that_was_returned_since(self, mine, begun, step):
        conclude(mine, begun, step)
        mine.hand_in(begun, at=WHEN)
        entries = list(mine.queue)
        send(mine)
        Attempt.objects.update(status=AttemptStatus.RETURNED)

        assert {each["result"] for each in resend(mine, entries)} == {"already"}
        assert Attempt.objects.get().status == AttemptStatus.RETURNED


def conclude(phone: Phone, attempt: str, step) -> None:
    concluded = step("conclusion")
    phone.log(attempt, concluded, at=WHEN, answer=concluded.choices[0]["value"], note="From my readings.")


class TestOrder:
    def test_nothing_is_taken_before_the_attempt(self, bench, mine, step):
        attempt = mine.start(ticket_for(bench, bench.candidate), at=WHEN)
        leads(mine, attempt, step, "0.2")
        start, reading = mine.queue

        assert [each["result"] for each in resend(mine, [reading])] == ["later"]
        assert [each["result"] for each in resend(mine, [reading, start])] == ["stored", "stored"]

    def test_handing_in_waits_for_all_that_the_device_logged(self, mine, begun, step):
        conclude(mine, begun, step)
        leads(mine, begun, step, "about one")
        mine.hand_in(begun, at=WHEN)

        assert results(mine) == ["stored", "refused", "later"]
        assert Attempt.objects.get().status == AttemptStatus.OPEN

    def test_a_correction_waits_for_what_it_corrects(self, mine, begun, step):
        first = leads(mine, begun, step, "0.2")
        mine.correct(begun, step("leads-together"), first, at=WHEN, text="0.3", unit="Ω", reason="Misread")

        assert [each["result"] for each in resend(mine, mine.queue[1:])] == ["later"]
        assert results(mine) == ["stored", "stored"]
        assert Reading.objects.current().get().text == "0.3"

    def test_the_devices_count_orders_and_its_clock_is_kept(self, bench, mine, begun, step):
        mine.clock_is_off = timedelta(days=-400)
        leads(mine, begun, step, "0.2")
        mine.clock_is_off = timedelta(hours=-3)
        mine.log(begun, step("prove-before"), at=WHEN)
        send(mine)

        reading, record = Reading.objects.get(), StepRecord.objects.get()
        assert (reading.sequence, record.sequence) == (2, 3)
        assert reading.device_at == WHEN - timedelta(days=400)
        assert reading.received_at == WHEN
        assert Arrival.objects.get(pk=record.pk).skew == timedelta(hours=3).total_seconds()

    def test_while_all_is_stopped_it_is_kept_for_later(self, bench, mine, begun, step):
        stopped = stops.stop(centre=bench.centre, reason="Smell of gas", by=bench.assessor, at=WHEN)
        leads(mine, begun, step, "0.2")
        (answer,) = send(mine)
        assert answer["result"] == "later"
        assert "what was logged before is kept" in answer["words"]

        stops.resume(stop=stopped, words="Found nothing", by=bench.assessor, at=WHEN)
        assert results(mine) == ["stored"]


class TestRefused:
    @pytest.mark.parametrize(
        ("slug", "fields", "field", "words"),
        [
            ("leads-together", {"text": "about one", "unit": "Ω"}, "text", "“about one” is text where"),
            ("leads-together", {"text": "0.2", "unit": "mbar"}, "unit", "Select a valid choice"),
            ("leads-together", {"unit": "Ω"}, "text", "Nothing is written here"),
            ("leads-tone", {"text": "0.2"}, None, "Choose whether there was a tone."),
            ("prove-dead", {"answer": "maybe"}, "answer", "Select a valid choice"),
            ("photo-before", {}, "photo", "Take or choose a photo first."),
        ],
    )
    def test_a_slip_gets_the_words_of_the_page(  # noqa: PLR0917
        self, mine, begun, step, slug, fields, field, words
    ):
        mine.log(begun, step(slug), at=WHEN, **fields)

        (answer,) = send(mine)

        assert (answer["result"], answer["field"]) == ("refused", field)
        assert words in answer["words"]

    def test_a_file_that_is_no_photo(self, mine, begun, step):
        mine.photograph(begun, step("photo-before"), b"GIF89a", at=WHEN)

        assert "isn't a photo that can be read" in send(mine)[0]["words"]
        assert Photo.objects.count() == 0

    def test_one_refused_entry_leaves_the_others_as_they_are(self, mine, begun, step):
        leads(mine, begun, step, "about one")
        mine.log(begun, step("prove-before"), at=WHEN)

        assert results(mine) == ["refused", "stored"]

    def test_a_step_that_isnt_there_or_is_of_another_kind(self, mine, begun, step):
        mine.add("reading", begun, {"position": 77, "fields": {}}, at=WHEN)
        mine.add("photo", begun, {"position": 1, "fields": {}}, at=WHEN)

        assert [each["words"] for each in send(mine)] == ["That step isn’t part of this task."] * 2

    def test_after_handing_in_from_another_device_it_is_kept_on_this_one(self, mine, other, begun, step):
        conclude(mine, begun, step)
        mine.hand_in(begun, at=WHEN)
        leads(other, begun, step, "0.2")
        send(mine)

        (answer,) = send(other)

        assert (answer["result"], answer["words"]) == ("refused", evidence.CLOSED)
        assert other.queue


class TestStarting:
    def test_a_ticket_for_a_version_that_was_withdrawn_since_still_holds(self, bench, mine):
        ticket = ticket_for(bench, bench.candidate)
        catalogue.withdraw(version=ticket.version, by=bench.manager, at=WHEN)
        mine.start(ticket, at=WHEN)

        assert results(mine) == ["stored"]
        assert Attempt.objects.get().version == ticket.version

    def test_without_a_ticket_it_is_practice(self, bench, mine):
        practise(bench, mine)

        assert results(mine) == ["stored"]
        attempt = Attempt.objects.get()
        assert (attempt.purpose, attempt.instruments.count()) == (Purpose.PRACTICE, 3)

    def test_without_a_ticket_a_withdrawn_version_is_refused_and_kept(self, bench, mine):
        catalogue.withdraw(version=bench.tasks[SWITCH_TEST], by=bench.manager, at=WHEN)
        practise(bench, mine)

        assert "was withdrawn" in send(mine)[0]["words"]
        assert mine.queue

    def test_without_a_ticket_a_rig_on_hold_is_refused(self, bench, mine):
        holds.place(on=bench.rig, reason="Fan noisy", by=bench.technician, at=WHEN)
        practise(bench, mine)

        assert "VB-01 is on hold" in send(mine)[0]["words"]

    def test_beside_an_open_one_it_names_that(self, bench, mine, other, begun, step):
        second = practise(bench, other)
        leads(other, second, step, "0.2")

        refused, waiting = send(other)

        assert (refused["result"], refused["attempt"]) == ("refused", begun)
        assert waiting["result"] == "later"

    def test_what_was_logged_beside_an_open_one_can_be_put_into_that(self, bench, mine, other, begun, step):
        second = practise(bench, other)
        leads(other, second, step, "0.2")
        send(other)
        other.queue = [each | {"attempt": begun} for each in other.queue if each["kind"] != "start"]

        assert results(other) == ["stored"]
        assert Reading.objects.get().attempt_id == Attempt.objects.get(pk=begun).pk

    def test_a_task_or_rig_that_isnt_there(self, bench, mine):
        practise(bench, mine)
        mine.queue[0]["payload"]["rig"] = str(uuid4())

        assert send(mine)[0]["words"] == "What this belongs to isn’t on the site."

    def test_an_instrument_left_out_is_asked_for(self, bench, mine):
        practise(bench, mine)
        mine.queue[0]["payload"]["instruments"] = {}

        assert send(mine)[0]["words"] == "Pick the instrument that you will use."


def practise(bench, phone: Phone) -> str:
    number = str(phone.new_id())
    payload = {
        "ticket": None,
        "rig": str(bench.rig.pk),
        "version": str(bench.tasks[SWITCH_TEST].pk),
        "instruments": {kind: str(each.pk) for kind, each in bench.instruments.items()},
        "cautions_read": True,
    }
    return phone.add("start", number, payload, at=WHEN, id=number)


class TestConflicts:
    @pytest.fixture
    def both(self, mine, other, begun, step) -> tuple[str, str]:
        """The same step, read otherwise on two devices."""
        first, second = leads(mine, begun, step, "0.2"), leads(other, begun, step, "0.4")
        send(mine)
        return first, second

    def test_nobodys_reading_is_overwritten(self, other, both):
        (answer,) = send(other)

        assert answer["result"] == "conflict"
        assert answer["standing"] == {"id": both[0], "says": "0.2 Ω", "at": WHEN.isoformat()}
        assert Reading.objects.get().text == "0.2"

    @pytest.mark.parametrize(("stands", "texts"), [("this", ["0.2", "0.4"]), ("that", ["0.2", "0.4", "0.2"])])
    def test_both_are_kept_and_the_one_that_a_person_chose_stands(self, other, both, stands, texts):
        send(other)
        other.settle(both[1], stands=stands, why="Leads were not pressed together")
        entries = list(other.queue)

        assert results(other) == ["stored"]
        assert [each["result"] for each in resend(other, entries)] == ["already"]
        assert [each.text for each in Reading.objects.in_order()] == texts
        standing = Reading.objects.current().get()
        assert (standing.text, standing.reason) == (texts[-1], "Leads were not pressed together")

    def test_it_says_why(self, other, both):
        send(other)
        other.settle(both[1], stands="this", why=" ")

        assert send(other)[0]["words"] == "Say why that one stands."

    def test_what_was_corrected_again_meanwhile_is_shown_again(self, mine, other, both, begun, step):
        send(other)
        mine.correct(begun, step("leads-together"), both[0], at=WHEN, text="0.3", unit="Ω", reason="Misread")
        send(mine)
        other.settle(both[1], stands="this", why="Looked again")

        assert send(other)[0]["standing"]["says"] == "0.3 Ω"

    def test_the_same_on_both_is_no_conflict_and_both_are_kept(self, mine, other, begun, step):
        leads(mine, begun, step, "0.2")
        leads(other, begun, step, "0.2")

        assert results(mine) + results(other) == ["stored", "stored"]
        assert Reading.objects.count() == 2
        assert Reading.objects.current().get().reason == "Another device logged the same"

    def test_photos_and_answers_too(self, mine, other, begun, step):
        for phone, photo, answer in ((mine, "one", 0), (other, "other", 1)):
            choice = step("prove-dead").choices[answer]["value"]
            phone.photograph(begun, step("photo-before"), picture(photo).content, at=WHEN)
            phone.log(begun, step("prove-dead"), at=WHEN, answer=choice)
        send(mine)

        assert [each["standing"]["says"] for each in send(other)] == ["A photo", "No indication on any pair"]
        for number in list(other.put_aside):
            other.settle(number, stands="that", why="The first one is right")
        assert results(other) == ["stored", "stored"]
        assert Photo.objects.current().get().received_sha256 == Photo.objects.in_order()[0].received_sha256
        assert StepRecord.objects.current().get().answer == step("prove-dead").choices[0]["value"]


def test_what_was_asked_for_once_more_needs_no_reason(bench, mine, begun, step):
    first = leads(mine, begun, step, "0.2")
    conclude(mine, begun, step)
    mine.hand_in(begun, at=WHEN)
    send(mine)
    attempt = Attempt.objects.get()
    returns.give_back(
        attempt=attempt,
        outcome=outcomes.latest(attempt),
        steps=[step("leads-together")],
        words="Press them together",
        assessor=bench.assessor,
        at=WHEN + timedelta(minutes=1),
    )
    mine.correct(begun, step("leads-together"), first, at=WHEN, text="0.3", unit="Ω")

    assert results(mine) == ["stored"]
    assert Reading.objects.current().get().reason == returns.WHY


class TestTakingBack:
    def test_an_action_is_struck_out_with_its_reason(self, mine, begun, step):
        number = mine.log(begun, step("prove-before"), at=WHEN)
        mine.take_back(begun, step("prove-before"), number, why="Wrong step", at=WHEN)

        assert results(mine) == ["stored", "stored"]
        assert not StepRecord.objects.current().get().done

    def test_it_waits_for_what_it_strikes_out_and_says_why(self, mine, begun, step):
        number = mine.log(begun, step("prove-before"), at=WHEN)
        mine.take_back(begun, step("prove-before"), number, why=" ", at=WHEN)

        assert [each["result"] for each in resend(mine, mine.queue[1:])] == ["later"]
        assert [each["words"] for each in send(mine)] == ["", "Say why it is taken back."]

    def test_what_was_struck_out_elsewhere_isnt_struck_out_twice(self, mine, other, begun, step):
        number = mine.log(begun, step("prove-before"), at=WHEN)
        mine.take_back(begun, step("prove-before"), number, why="Wrong step", at=WHEN)
        send(mine)
        other.take_back(begun, step("prove-before"), number, why="Wrong step", at=WHEN)

        assert send(other)[0]["words"] == evidence.STRUCK_OUT

    def test_a_reading_has_no_taking_back(self, mine, begun, step):
        number = leads(mine, begun, step, "0.2")
        mine.take_back(begun, step("leads-together"), number, why="Wrong step", at=WHEN)

        assert [each["result"] for each in send(mine)] == ["stored", "refused"]


class TestReadingsOfOnesOwnChoice:
    @pytest.fixture
    def bench(self):
        return fault_finding.bench()

    @pytest.fixture
    def begun(self, bench, mine) -> str:
        ticket = ticket_for(bench, bench.candidate, task=fault_finding.FAULT_FINDING)
        return mine.start(ticket, at=WHEN)

    @pytest.fixture
    def step(self, bench):
        return lambda slug: bench.tasks[fault_finding.FAULT_FINDING].steps.get(slug=slug)

    def taken(self, phone, attempt, step, text, **more):
        where = {"test_point": "taps", "condition": "fan-running", "unit_pressure": "mbar", "why": ""}
        return phone.log(attempt, step("measure"), at=WHEN, text=text, **where, **more)

    def test_any_number_is_kept_corrected_and_taken_back(self, mine, begun, step):
        first, second = (self.taken(mine, begun, step, text) for text in ("1.58", "1.60"))
        self.taken(mine, begun, step, "1.59", reason="Misread")
        mine.queue[-1]["payload"]["corrects"] = first
        mine.take_back(begun, step("measure"), second, why="Fan was off", at=WHEN)

        assert set(results(mine)) == {"stored"}
        assert [each.text for each in Reading.objects.standing()] == ["1.59"]

    def test_one_that_two_devices_corrected_is_decided_by_a_person(self, mine, other, begun, step):
        first = self.taken(mine, begun, step, "1.58")
        send(mine)
        for phone, text in ((mine, "1.59"), (other, "1.61")):
            self.taken(phone, begun, step, text, reason="Misread")
            phone.queue[-1]["payload"]["corrects"] = first
        send(mine)

        (answer,) = send(other)
        assert answer["standing"]["says"] == "1.59 mbar"
        other.settle(answer["id"], stands="that", why="The first correction is right")
        assert results(other) == ["stored"]
        assert [each.text for each in Reading.objects.in_order()] == ["1.58", "1.59", "1.61", "1.59"]
        assert Reading.objects.standing().get().text == "1.59"


def test_a_whole_attempt_is_handed_in_and_marked(bench, mine, begun, step):
    attempt = Attempt.objects.select_related("sheet").get()
    steps = bench.tasks[SWITCH_TEST].steps.select_related("measurand__test_point").order_by("position")
    for each in steps:
        if each.kind == "photo":
            mine.photograph(begun, each, picture(each.title).content, at=WHEN)
            continue
        mine.log(begun, each, at=WHEN, **right(attempt, each))
    mine.hand_in(begun, at=WHEN)

    assert set(results(mine)) == {"stored"}
    attempt.refresh_from_db()
    assert attempt.status == AttemptStatus.SUBMITTED
    assert attempt.outcomes.get().proposal == "competent"


def right(attempt: Attempt, step) -> dict[str, str]:
    if step.judged_by == "tone":
        return {"qualifier": "tone"}
    if step.kind == "reading":
        unit = "mbar" if step.quantity == "pressure" else "Ω"
        return {"text": made.right_reading(attempt, step), "unit": unit}
    note = {"note": "From my readings."} if step.kind == "conclusion" else {}
    return {"answer": step.expected[0]} | note if step.choices else {}
