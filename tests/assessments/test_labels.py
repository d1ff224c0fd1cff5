"""Labels, what a scan of one leads to, and the notice on what is on hold."""

import io
from uuid import uuid4

import pytest
from django.urls import reverse
from pypdf import PdfReader

from academy.models import Role
from assessments import labels
from assessments.labels import NoticeSize
from rigs import holds, register
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory, person_with
from tests.factories.assessments import another_candidate, handed_in, started

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("session_begins")]

POINTS_A_MM = 72 / 25.4
ADDRESS = "https://bench.example/scan/3f1c5c0e-6c1a-4d6e-9f57-000000000001/"


@pytest.fixture
def signed_in(client, bench):
    def as_role(kind):
        people = {
            Role.Kind.CANDIDATE: bench.candidate,
            Role.Kind.ASSESSOR: bench.assessor,
            Role.Kind.TECHNICIAN: bench.technician,
            Role.Kind.MANAGER: bench.manager,
        }
        client.force_login(people.get(kind) or person_with(kind, by=bench.manager))
        return client

    return as_role


def scan(client, thing):
    return client.get(reverse("scan", args=[thing.pk]))


def manometer_of(bench):
    return bench.instruments["manometer"]


class TestScanningARig:
    @pytest.mark.parametrize(
        ("kind", "page"),
        [
            (Role.Kind.CANDIDATE, "bench-rig"),
            (Role.Kind.ASSESSOR, "rig-attempts"),
            (Role.Kind.TECHNICIAN, "rig-detail"),
            (Role.Kind.MANAGER, "rig-detail"),
            (Role.Kind.VERIFIER, "rig-detail"),
        ],
    )
    def test_it_leads_each_role_to_what_it_does_there(self, signed_in, bench, kind, page):
        response = scan(signed_in(kind), bench.rig)
        assert response["Location"] == reverse(page, args=[bench.rig.pk])

    def test_a_stranger_signs_in_first_and_is_led_on(self, client, bench):
        address = reverse("scan", args=[bench.rig.pk])
        assert client.get(address)["Location"] == f"{reverse('sign-in')}?next={address}"

    def test_an_assessor_finds_who_is_at_work_and_what_waits(self, signed_in, bench):
        started(bench, candidate=another_candidate(bench))
        waiting = handed_in(bench)
        page = signed_in(Role.Kind.ASSESSOR).get(scan(signed_in(Role.Kind.ASSESSOR), bench.rig)["Location"])
        assert [each.status for each in page.context["at_work"]] == ["open"]
        assert reverse("review-detail", args=[waiting.pk]) in page.text
        assert reverse("check-record", args=[bench.rig.pk]) in page.text

    def test_a_retired_rig_leads_a_candidate_back_to_the_bench(self, signed_in, bench):
        register.retire(thing=bench.rig, why="Worn out", by=bench.technician, at=AT)
        response = signed_in(Role.Kind.CANDIDATE).get(reverse("scan", args=[bench.rig.pk]), follow=True)
        assert response.redirect_chain == [(reverse("bench-home"), 302)]
        assert f"{bench.rig.tag} is retired" in response.text

    def test_what_nobody_here_knows_is_not_there(self, signed_in):
        client = signed_in(Role.Kind.MANAGER)
        elsewhere = make.rig(by=ManagerFactory())
        assert scan(client, elsewhere).status_code == 404
        assert client.get(reverse("scan", args=[uuid4()])).status_code == 404


class TestScanningAnInstrument:
    def test_staff_come_to_its_page(self, signed_in, bench):
        response = scan(signed_in(Role.Kind.ASSESSOR), manometer_of(bench))
        assert response["Location"] == reverse("instrument-detail", args=[manometer_of(bench).pk])

    def test_a_candidate_is_told_that_it_is_in_date(self, signed_in, bench):
        client = signed_in(Role.Kind.CANDIDATE)
        page = client.get(scan(client, manometer_of(bench))["Location"])
        assert "In date" in page.text
        assert "Not to be used" not in page.text

    def test_a_candidate_is_told_that_it_is_not_to_be_used_and_nothing_more(self, signed_in, bench):
        holds.place(on=manometer_of(bench), reason="Reads 0.07 high", by=bench.technician, at=AT)
        client = signed_in(Role.Kind.CANDIDATE)
        page = client.get(scan(client, manometer_of(bench))["Location"])
        assert "Not to be used" in page.text
        assert "0.07" not in page.text

    def test_a_reference_is_not_for_candidates(self, signed_in, bench):
        reference = make.instrument(by=bench.technician, tag="MN-90", is_reference=True)
        client = signed_in(Role.Kind.CANDIDATE)
        assert "Not to be used" in client.get(scan(client, reference)["Location"]).text


@pytest.mark.usefixtures("pango")
class TestPrinting:
    def read(self, response):
        assert response["Content-Type"] == "application/pdf"
        return PdfReader(io.BytesIO(response.content))

    def size_in_mm(self, page):
        return round(float(page.mediabox.width) / POINTS_A_MM), round(
            float(page.mediabox.height) / POINTS_A_MM
        )

    def test_a_label_is_one_page_of_its_own_size(self, signed_in, bench):
        document = self.read(
            signed_in(Role.Kind.TECHNICIAN).get(reverse("label-print", kwargs={"rig": bench.rig.pk}))
        )
        assert [self.size_in_mm(page) for page in document.pages] == [(70, 37)]
        assert bench.rig.tag in document.pages[0].extract_text()

    @pytest.mark.parametrize(("many", "first", "pages"), [(24, 1, 1), (25, 1, 2), (24, 2, 2)])
    def test_a_sheet_holds_twenty_four(self, bench, many, first, pages):
        things = {make.rig(by=bench.technician, tag=f"VB-{n:02d}X"): ADDRESS for n in range(many)}
        made = labels.sheet(things=things, centre=bench.centre, first=first, at=AT)
        document = PdfReader(io.BytesIO(labels_pdf(made)))
        assert [self.size_in_mm(page) for page in document.pages] == [(210, 297)] * pages
        text = "".join(page.extract_text() for page in document.pages)
        assert all(thing.tag in text for thing in things)

    def test_the_form_makes_a_sheet_of_what_is_ticked(self, signed_in, bench):
        fields = {"rigs": [bench.rig.pk], "instruments": [manometer_of(bench).pk], "first": "3"}
        document = self.read(signed_in(Role.Kind.TECHNICIAN).post(reverse("label-sheet"), fields))
        text = document.pages[0].extract_text()
        assert bench.rig.tag in text and manometer_of(bench).tag in text

    @pytest.mark.parametrize(("query", "size"), [({}, (105, 148)), ({"size": "a5"}, (148, 210))])
    def test_a_notice_says_what_why_who_and_when(self, signed_in, bench, query, size):
        hold = holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=AT)
        address = reverse("hold-notice", args=[hold.pk])
        document = self.read(signed_in(Role.Kind.TECHNICIAN).get(address, query))
        assert [self.size_in_mm(page) for page in document.pages] == [size]
        text = document.pages[0].extract_text()
        for said in ("DO NOT USE", bench.rig.tag, "Guard loose", bench.technician.name, "2025"):
            assert said in text

    @pytest.mark.parametrize("size", NoticeSize)
    def test_the_longest_reason_and_tag_still_fit_one_page(self, bench, size):
        thing = make.rig(by=bench.technician, tag="W" * 20)
        hold = holds.place(on=thing, reason="wide WORDS of some length " * 20, by=bench.technician, at=AT)
        made = labels.hold_notice(hold=hold, address=ADDRESS, size=size, at=AT)
        assert len(PdfReader(io.BytesIO(labels_pdf(made))).pages) == 1


def labels_pdf(document):
    from assessments.pdf.document import pdf_of  # noqa: PLC0415 - needs Pango

    return pdf_of(document)


def test_the_code_on_a_label_is_of_the_sites_own_address(signed_in, bench, settings, monkeypatch):
    settings.SITE_ADDRESS = "https://bench.example/"
    coded = []
    monkeypatch.setattr(labels, "square_code", lambda address: coded.append(address) or b"")
    monkeypatch.setattr("assessments.views.log_sheets.pdf_of", lambda document: document.html.encode())
    signed_in(Role.Kind.TECHNICIAN).get(reverse("label-print", kwargs={"rig": bench.rig.pk}))
    assert coded == [f"https://bench.example/scan/{bench.rig.pk}/"]


def test_nothing_ticked_is_said_and_makes_no_sheet(signed_in):
    response = signed_in(Role.Kind.TECHNICIAN).post(reverse("label-sheet"), {"first": "1"})
    assert response.context["form"].non_field_errors() == ["Tick what needs a label."]


def test_another_centres_rig_is_not_among_the_choices(signed_in):
    elsewhere = make.rig(by=ManagerFactory())
    fields = {"rigs": [elsewhere.pk], "first": "1"}
    response = signed_in(Role.Kind.TECHNICIAN).post(reverse("label-sheet"), fields)
    assert list(response.context["form"].errors) == ["rigs"]


def test_a_hold_that_is_released_has_no_notice(signed_in, bench):
    hold = holds.place(on=bench.rig, reason="Guard loose", by=bench.technician, at=AT)
    holds.release(hold=hold, evidence="Tightened and tried", by=bench.technician, at=AT)
    address = reverse("hold-notice", args=[hold.pk])
    assert signed_in(Role.Kind.TECHNICIAN).get(address).status_code == 404
