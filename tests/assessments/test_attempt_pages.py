"""The candidate's pages during an attempt: logging, photos, handing in."""

import io
import re
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from PIL import Image

from assessments import catalogue
from assessments.models import Attempt, Photo, Reading, StepRecord
from assessments.models.attempts import AttemptStatus
from tests.factories import assessments as made
from tests.factories.phone import NOW, log, named, picture, position, step_address

pytestmark = pytest.mark.django_db


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
