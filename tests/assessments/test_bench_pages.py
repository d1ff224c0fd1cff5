"""The candidate's pages: a whole attempt by forms, as a phone without JavaScript would send them."""

import io
import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from assessments import catalogue
from assessments.models import Attempt, Photo, Reading, StepRecord
from assessments.models.attempts import AttemptStatus
from rigs import holds
from rigs.metrology.quantities import Quantity
from tests.factories import assessments as made

pytestmark = pytest.mark.django_db

NOW = made.AT + timedelta(minutes=5)


@pytest.fixture(autouse=True)
def now(monkeypatch):
    """The site's clock stands at the beginning of the session."""
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    return NOW


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def phone(bench):
    client = Client()
    client.force_login(bench.candidate)
    return client


def start_address(bench, task=made.SWITCH_TEST):
    return reverse("attempt-start", args=[bench.rig.pk, bench.tasks[task].pk])


def start(bench, phone, **changes):
    data = {
        "id": str(uuid4()),
        "purpose": "assessment",
        "cautions_read": "on",
        **{kind: str(each.pk) for kind, each in bench.instruments.items()},
    }
    return phone.post(start_address(bench), data | changes)


def position(bench, slug):
    return bench.tasks[made.SWITCH_TEST].steps.get(slug=slug).position


def step_address(bench, attempt, slug):
    return reverse("attempt-step", args=[attempt.pk, position(bench, slug)])


def log(bench, phone, attempt, slug, **data):
    return phone.post(step_address(bench, attempt, slug), {"id": str(uuid4())} | data)


def picture(kind="PNG", size=(64, 48)):
    out = io.BytesIO()
    Image.new("RGB", size, "#446655").save(out, kind)
    out.seek(0)
    out.name = f"picture.{kind.lower()}"
    return out


@pytest.fixture
def attempt(bench, phone):
    start(bench, phone)
    return Attempt.objects.get()


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


class TestLogging:
    def test_a_reading_is_kept_as_typed_with_its_unit_and_instrument(self, bench, phone, attempt):
        log(bench, phone, attempt, "manometer-zero", text="0,00", unit="mbar")

        kept = Reading.objects.get()
        assert (kept.text, kept.unit, kept.instrument.instrument.tag) == ("0,00", "mbar", "MN-02")
        assert kept.si_value == 0

    def test_logging_leads_on_to_the_next_step_without_an_entry(self, bench, phone, attempt):
        response = log(bench, phone, attempt, "leads-together", text="0.2", unit="Ω")

        assert response.url == step_address(bench, attempt, "leads-tone")

    def test_over_limit_is_a_button_and_a_result(self, bench, phone, attempt):
        log(bench, phone, attempt, "contacts-at-rest", qualifier="over-limit", unit="Ω")

        kept = Reading.objects.get()
        assert (kept.qualifier, kept.text, kept.value) == ("over-limit", "OL", None)

    def test_the_unit_is_remembered_for_the_next_reading(self, bench, phone, attempt):
        log(bench, phone, attempt, "manometer-zero", text="0", unit="Pa")

        page = phone.get(step_address(bench, attempt, "ports-off")).content.decode()

        assert re.search(r'<option value="Pa" selected>', page)

    @pytest.mark.parametrize(
        ("text", "unit"),
        [
            ("about one", "mbar"),
            ("9" * 40, "mbar"),
            ("NaN", "mbar"),
            ("inf", "mbar"),
            ("", "mbar"),
            ("1.5 Ω", "mbar"),
            ("1.2.3", "mbar"),
            ("1.5", "V"),
        ],
    )
    def test_what_is_no_reading_is_refused_beside_the_field_and_kept_in_it(
        self, bench, phone, attempt, text, unit
    ):
        response = log(bench, phone, attempt, "ports-off", text=text, unit=unit)

        page = response.content.decode()
        assert response.status_code == 200
        assert "aria-invalid" in page
        assert f'value="{text}"' in page or not text
        assert not Reading.objects.exists()

    def test_the_same_form_sent_twice_is_stored_once(self, bench, phone, attempt):
        number = str(uuid4())

        for _ in range(2):
            response = log(bench, phone, attempt, "leads-together", id=number, text="0.2", unit="Ω")
            assert response.status_code == 302

        assert Reading.objects.count() == 1

    def test_another_number_under_the_same_id_is_never_taken_for_the_first(self, bench, phone, attempt):
        number = str(uuid4())
        log(bench, phone, attempt, "leads-together", id=number, text="0.2", unit="Ω")

        response = log(bench, phone, attempt, "leads-together", id=number, text="0.3", unit="Ω")

        page = response.content.decode()
        assert response.status_code == 200
        assert "Say why it is corrected." in page
        assert 'value="0.3"' in page
        assert number not in page

    def test_a_correction_strikes_the_old_one_out_and_keeps_it(self, bench, phone, attempt):
        log(bench, phone, attempt, "leads-together", text="2.0", unit="Ω")
        log(bench, phone, attempt, "leads-together", text="0.2", unit="Ω", reason="Read the wrong digit")

        old, new = Reading.objects.in_order()
        assert (old.text, new.text, new.supersedes, new.reason) == ("2.0", "0.2", old, "Read the wrong digit")
        page = phone.get(reverse("attempt-overview", args=[attempt.pk])).content.decode()
        assert re.search(r"<del>.*2\.0", page)

    def test_a_correction_without_a_reason_is_refused_and_loses_nothing(self, bench, phone, attempt):
        log(bench, phone, attempt, "leads-together", text="2.0", unit="Ω")

        response = log(bench, phone, attempt, "leads-together", text="0.2", unit="Ω")

        assert "Say why it is corrected." in response.content.decode()
        assert 'value="0.2"' in response.content.decode()
        assert Reading.objects.count() == 1

    def test_a_step_logged_by_mistake_is_taken_back_with_a_reason(self, bench, phone, attempt):
        log(bench, phone, attempt, "isolate")
        where = reverse("step-take-back", args=[attempt.pk, position(bench, "isolate")])

        phone.post(where, {"id": str(uuid4()), "reason": ""})
        assert StepRecord.objects.count() == 1
        phone.post(where, {"id": str(uuid4()), "reason": "Tapped too early"})

        assert [record.done for record in StepRecord.objects.in_order()] == [True, False]

    def test_an_observation_needs_one_of_its_answers(self, bench, phone, attempt):
        response = log(bench, phone, attempt, "prove-dead")

        assert "Choose one of the answers." in response.content.decode()
        assert log(bench, phone, attempt, "prove-dead", answer="no-indication").status_code == 302

    def test_a_conclusion_needs_its_reason(self, bench, phone, attempt):
        response = log(bench, phone, attempt, "conclusion", answer="serviceable", note=" ")

        assert "Give the reason" in response.content.decode()
        assert not StepRecord.objects.exists()

    def test_a_step_that_does_not_exist_is_not_found(self, phone, attempt):
        assert phone.get(reverse("attempt-step", args=[attempt.pk, 99])).status_code == 404


class TestPhotos:
    def test_a_photo_is_kept_without_its_location(self, bench, phone, attempt):
        image = Image.new("RGB", (64, 48))
        exif = Image.Exif()
        exif.get_ifd(0x8825)[1] = "N"  # GPS latitude reference (Exif 2.32, 4.6.6)
        out = io.BytesIO()
        image.save(out, "JPEG", exif=exif)
        out.seek(0)
        out.name = "photo.jpg"

        log(bench, phone, attempt, "photo-before", photo=out)

        kept = Photo.objects.get()
        assert len(kept.sha256) == 64
        with Image.open(kept.file) as stored:
            assert not stored.getexif()

    @pytest.mark.parametrize(
        ("upload", "message"),
        [
            (lambda: named(b"%PDF-1.7 not a picture", "photo.jpg"), "isn&#x27;t a photo"),
            (lambda: picture(size=(10_000, 6_000)), "million pixels"),
            (lambda: named(b"\xff" * (12 * 1024 * 1024 + 1), "photo.jpg"), "larger than 12 MB"),
            (lambda: named(b"", "photo.jpg"), "empty"),
        ],
        ids=["a PDF with another name", "60 megapixels", "too many bytes", "nothing"],
    )
    def test_what_is_no_usable_photo_is_refused_in_plain_words(self, bench, phone, attempt, upload, message):
        response = log(bench, phone, attempt, "photo-before", photo=upload())

        assert message in response.content.decode()
        assert not Photo.objects.exists()

    def test_only_its_candidate_and_those_who_read_attempts_see_a_photo(self, bench, phone, attempt):
        log(bench, phone, attempt, "photo-before", photo=picture())
        address = reverse("photo-file", args=[Photo.objects.get().pk])
        other, assessor = Client(), Client()
        other.force_login(made.another_candidate(bench))
        assessor.force_login(bench.assessor)

        assert phone.get(address)["Content-Type"] == "image/jpeg"
        assert assessor.get(address).status_code == 200
        assert other.get(address).status_code == 404
        assert Client().get(address).status_code == 302


def named(content, name):
    file = io.BytesIO(content)
    file.name = name
    return file


class TestHandingIn:
    def test_it_needs_a_conclusion(self, phone, attempt):
        response = phone.post(reverse("attempt-hand-in", args=[attempt.pk]), follow=True)

        assert "Log your conclusion first" in response.content.decode()
        assert Attempt.objects.get().status == AttemptStatus.OPEN

    def test_handing_in_twice_marks_once(self, phone, bench, attempt):
        made.work_through(attempt)

        for _ in range(2):
            assert phone.post(reverse("attempt-hand-in", args=[attempt.pk])).status_code == 302

        assert Attempt.objects.get().outcomes.count() == 1

    def test_nothing_can_be_added_afterwards(self, phone, bench, attempt):
        made.work_through(attempt)
        phone.post(reverse("attempt-hand-in", args=[attempt.pk]))
        before = Reading.objects.count()

        response = log(bench, phone, attempt, "leads-together", text="0.3", unit="Ω", reason="Late thought")

        assert response.url == reverse("attempt-overview", args=[attempt.pk])
        assert Reading.objects.count() == before

    def test_a_version_withdrawn_meanwhile_can_still_be_finished(self, phone, bench, attempt):
        catalogue.withdraw(version=attempt.version, by=bench.manager, at=NOW)
        made.work_through(attempt)

        phone.post(reverse("attempt-hand-in", args=[attempt.pk]))

        assert Attempt.objects.get().status == AttemptStatus.SUBMITTED


class TestOthersAttempts:
    @pytest.mark.parametrize("name", ["attempt-overview", "attempt-result"])
    def test_another_candidates_attempt_is_not_there(self, bench, phone, name):
        theirs = made.started(bench, candidate=made.another_candidate(bench))

        assert phone.get(reverse(name, args=[theirs.pk])).status_code == 404

    def test_nor_are_its_steps(self, bench, phone):
        theirs = made.started(bench, candidate=made.another_candidate(bench))
        address = reverse("attempt-step", args=[theirs.pk, 1])

        assert phone.get(address).status_code == 404
        assert phone.post(address, {"id": str(uuid4()), "text": "1", "unit": "Ω"}).status_code == 404
        assert phone.post(reverse("attempt-hand-in", args=[theirs.pk])).status_code == 404
