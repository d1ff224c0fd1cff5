"""The files of certificates: what is kept, what is refused, who gets them."""

import hashlib
import io
from datetime import date

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from academy.models import LedgerEntry, Role
from academy.refusals import Refused
from rigs import certificate_files
from rigs.certificate_files import attach, content_of, form_of
from rigs.models import Calibration, CertificateFile
from rigs.models.certificate_files import CertificateForm
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]


def picture(*, form="PNG", size=(40, 30)):
    out = io.BytesIO()
    Image.new("RGB", size, "white").save(out, form)
    return out.getvalue()


@pytest.fixture
def gauge(manager):
    return make.instrument(by=manager, tag="MN-02", certified=False)


@pytest.fixture
def calibration(gauge, manager):
    return make.certificate(of=gauge, by=manager, number="Q-1")


class TestWhatAFileIs:
    @pytest.mark.parametrize(
        ("content", "form"),
        [
            (make.PDF, CertificateForm.PDF),
            (picture(form="PNG"), CertificateForm.PNG),
            (picture(form="JPEG"), CertificateForm.JPEG),
        ],
    )
    def test_its_content_tells(self, content, form):
        assert form_of(content) is form

    @pytest.mark.parametrize(
        ("content", "said"),
        [
            (b"", "empty"),
            (make.PDF[:-7], "cut off"),
            (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "can’t be read as a certificate"),
            (b"<html><script>alert(1)</script></html>", "can’t be read as a certificate"),
            (picture()[:-12], "cut off|can’t be read"),
            (picture(form="JPEG")[:-2], "cut off|can’t be read"),
            (picture(form="GIF"), "can’t be read as a certificate"),
            (b"PK\x03\x04 a spreadsheet", "Use a PDF, or a scan as JPEG or PNG"),
        ],
    )
    def test_anything_else_is_refused_beside_the_field(self, content, said):
        with pytest.raises(Refused, match=said) as refusal:
            form_of(content)
        assert refusal.value.field == "file"

    def test_it_has_a_largest_size(self, monkeypatch):
        monkeypatch.setattr(certificate_files, "LARGEST_BYTES", 10)
        with pytest.raises(Refused, match="larger than"):
            form_of(make.PDF)

    def test_a_scan_has_a_largest_size_in_pixels(self, monkeypatch):
        monkeypatch.setattr(certificate_files, "LARGEST_PIXELS", 40 * 30 - 1)
        with pytest.raises(Refused, match="million pixels"):
            form_of(picture())


class TestKeepingOne:
    def test_it_is_kept_as_it_came_with_its_digest(self, calibration, manager):
        kept = attach(calibration=calibration, content=make.PDF, by=manager, at=AT)
        digest = hashlib.sha256(make.PDF).hexdigest()
        assert (kept.sha256, kept.size, content_of(kept)) == (digest, len(make.PDF), make.PDF)
        assert digest in LedgerEntry.objects.get(verb="certificate.attach").body

    def test_twice_the_same_is_kept_once(self, calibration, manager):
        first, again = (attach(calibration=calibration, content=make.PDF, by=manager, at=AT) for _ in "ab")
        assert first == again
        assert CertificateFile.objects.count() == 1

    def test_one_that_was_changed_in_the_store_is_not_given_out(self, calibration, manager, client):
        kept = attach(calibration=calibration, content=make.PDF, by=manager, at=AT)
        default_storage.delete(kept.file.name)
        default_storage.save(kept.file.name, io.BytesIO(make.PDF + b"more"))
        with pytest.raises(Refused, match="no longer in the store"):
            content_of(kept)
        client.force_login(manager)
        page = client.get(reverse("certificate-file", args=[kept.pk]), follow=True)
        assert "no longer in the store" in page.text


class TestItsPages:
    @pytest.fixture
    def kept(self, calibration, manager):
        return attach(calibration=calibration, content=make.PDF, by=manager, at=AT)

    def test_who_reads_instruments_gets_it_and_nobody_else(self, client, kept, manager):
        address = reverse("certificate-file", args=[kept.pk])
        answers = {}
        for kind in (Role.Kind.ASSESSOR, Role.Kind.CANDIDATE):
            client.force_login(person_with(kind, by=manager))
            answers[kind] = client.get(address)
        client.force_login(ManagerFactory())
        assert client.get(address).status_code == 404
        assert answers[Role.Kind.CANDIDATE].status_code == 403
        served = answers[Role.Kind.ASSESSOR]
        assert (served["Content-Type"], served.content) == ("application/pdf", make.PDF)
        assert served["Content-Disposition"].startswith("attachment;")
        assert served["X-Content-Type-Options"] == "nosniff"

    def test_it_is_added_to_a_certificate_on_record(self, client, calibration, manager):
        client.force_login(manager)
        sent = SimpleUploadedFile("anything.exe", picture(), content_type="application/x-msdownload")
        page = client.post(reverse("certificate-attach", args=[calibration.pk]), {"file": sent}, follow=True)
        assert "The file of Q-1 is kept." in page.text
        assert reverse("certificate-file", args=[CertificateFile.objects.get().pk]) in page.text

    def test_what_is_no_certificate_is_said_beside_the_field(self, client, calibration, manager):
        client.force_login(manager)
        sent = SimpleUploadedFile("certificate.pdf", b"a letter")
        page = client.post(reverse("certificate-attach", args=[calibration.pk]), {"file": sent})
        assert list(page.context["form"].errors) == ["file"]

    def fields(self, **given):
        return {
            "certificate": "Q-2",
            "laboratory": "Quarry Lane",
            "calibrated_on": "2024-12-01",
            "due_on": "2025-12-01",
            "as_found_in_tolerance": "yes",
            "unit_1": "mbar",
            "nominal_1": "1",
            "as_left_error_1": "0",
            "expanded_u_1": "0.01",
            "k_1": "2",
        } | given

    def test_it_comes_with_the_certificate(self, client, gauge, manager):
        client.force_login(manager)
        sent = SimpleUploadedFile("q2.pdf", make.PDF)
        client.post(reverse("calibration-record", args=[gauge.pk]), self.fields(file=sent))
        assert Calibration.objects.get().files.get().size == len(make.PDF)

    def test_with_a_file_that_is_none_nothing_is_recorded(self, client, gauge, manager):
        client.force_login(manager)
        sent = SimpleUploadedFile("q2.pdf", b"no certificate")
        page = client.post(reverse("calibration-record", args=[gauge.pk]), self.fields(file=sent))
        assert list(page.context["form"].errors) == ["file"]
        assert not Calibration.objects.exists()

    def test_a_point_in_a_unit_of_something_else_is_said_beside_the_unit(self, client, gauge, manager):
        client.force_login(manager)
        page = client.post(reverse("calibration-record", args=[gauge.pk]), self.fields(unit_1="Ω"))
        assert page.context["form"].errors == {
            "unit_1": ["Ω is no unit of a pressure. Pick one from the list."]
        }

    def test_an_earlier_one_is_taken_with_a_note_alone(self, client, gauge, manager):
        make.certificate(of=gauge, by=manager, number="Q-3", on=date(2024, 12, 20))
        client.force_login(manager)
        address = reverse("calibration-record", args=[gauge.pk])
        refused = client.post(address, self.fields())
        assert "has a later certificate already: Q-3" in refused.context["form"].errors["late_note"][0]
        page = client.post(address, self.fields(late_note="Found in the van"), follow=True)
        assert "Entered late: Found in the van" in page.text
