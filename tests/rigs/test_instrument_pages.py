"""Rigs, instruments and certificates, put on record through their pages."""

import pytest
from django.urls import reverse

from rigs.models import Calibration, Instrument, InstrumentModel, Rig
from tests.factories import rigs as make
from tests.factories.academy import ManagerFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]


@pytest.fixture(autouse=True)
def signed_in(client, manager):
    client.force_login(manager)


def text_of(response):
    assert response.status_code == 200
    return response.content.decode()


class TestAddingARig:
    @pytest.fixture
    def design(self, manager):
        return make.load_designs(by=manager)[make.TWO_TERMINAL]

    def test_it_is_on_the_bench_and_its_page_says_what_is_next(self, client, design):
        fields = {"design": design.pk, "tag": "vb-09", "place": "", "electrical_inspection_due": "2025-09-01"}
        response = client.post(reverse("rig-create"), fields, follow=True)
        rig = Rig.objects.get()
        assert response.redirect_chain == [(reverse("rig-detail", args=[rig.pk]), 302)]
        assert "VB-09 is on the bench. It needs a baseline next." in text_of(response)

    def test_a_tag_that_is_taken_is_said_beside_the_field(self, client, manager, design):
        make.rig(by=manager, tag="VB-09")
        response = client.post(reverse("rig-create"), {"design": design.pk, "tag": "vb-09"})
        assert response.context["form"].errors == {"tag": ["There is a rig VB-09 already."]}

    def test_another_centres_design_is_not_among_the_choices(self, client):
        other = make.load_designs(by=ManagerFactory())[make.TWO_TERMINAL]
        response = client.post(reverse("rig-create"), {"design": other.pk, "tag": "VB-09"})
        assert list(response.context["form"].errors) == ["design"]
        assert not Rig.objects.exists()


class TestAddingAModel:
    address = "/instrument-models/new/"
    fields = {
        "name": "Blue gauge",
        "kind": "manometer",
        "unit_1": "mbar",
        "full_scale_1": "20",
        "resolution_1": "0,01",
        "percent_reading_1": "0.5",
        "counts_1": "1",
    }

    def test_its_ranges_are_kept_and_the_instrument_is_next(self, client):
        fields = self.fields | {"unit_3": "Pa", "full_scale_3": "2000", "resolution_3": "1"}
        response = client.post(self.address, fields)
        model = InstrumentModel.objects.get()
        rows = model.ranges.values_list(
            "quantity", "unit", "full_scale", "resolution", "percent_reading", "counts"
        )
        assert list(rows) == [
            ("pressure", "mbar", 20, 0.01, 0.5, 1),
            ("pressure", "Pa", 2000, 1, 0, 0),
        ]
        page = client.get(response.url)
        assert page.context["form"].initial["model"] == str(model.pk)
        assert "Blue gauge is added. Add the instrument itself next." in text_of(page)

    @pytest.mark.parametrize(
        ("wrong", "errors"),
        [
            ({"resolution_1": ""}, {"resolution_1": "Missing from range 1."}),
            ({"resolution_1": "fine"}, {"resolution_1": "Type a plain number, such as 0.05."}),
            (
                {"unit_2": "mbar", "counts_2": "2"},
                {"full_scale_2": "Missing from range 2.", "resolution_2": "Missing from range 2."},
            ),
            (
                {"percent_reading_1": "-1"},
                {"percent_reading_1": "Ensure this value is greater than or equal to 0."},
            ),
            ({"resolution_1": "30"}, {"__all__": "Range 1: The resolution is wider than the full scale."}),
            (
                {"unit_1": "furlong"},
                {
                    "unit_1": "furlong is no unit of a pressure or a resistance or a voltage or a "
                    "temperature or a time or a volume. Pick one from the list."
                },
            ),
            ({"kind": ""}, {"kind": "This field is required."}),
        ],
    )
    def test_what_is_wrong_is_said_beside_its_field(self, client, wrong, errors):
        response = client.post(self.address, self.fields | wrong)
        found = response.context["form"].errors
        assert {name: messages[0] for name, messages in found.items()} == errors
        assert not InstrumentModel.objects.exists()

    def test_a_line_that_is_wrong_is_not_folded_away(self, client):
        page = text_of(client.post(self.address, self.fields | {"counts_2": "2"}))
        assert '<details class="more" open><summary>Range 2' in page
        assert '<details class="more"><summary>Range 3' in page

    def test_a_manometer_needs_a_range(self, client):
        response = client.post(self.address, {"name": "Blue gauge", "kind": "manometer", "unit_1": "mbar"})
        assert "at least one range" in text_of(response)


class TestAddingAnInstrument:
    def test_it_is_on_the_shelf(self, client, manager):
        model = make.instrument_model(by=manager)
        fields = {"model": model.pk, "tag": "mn-07", "serial": "12", "is_reference": "on"}
        response = client.post(reverse("instrument-create"), fields, follow=True)
        made = Instrument.objects.get()
        assert (made.tag, made.is_reference) == ("MN-07", True)
        assert "No certificate on record" in text_of(response)

    def test_a_tag_that_is_taken_is_said_beside_the_field(self, client, manager):
        make.instrument(by=manager, tag="MN-07")
        fields = {"model": InstrumentModel.objects.get().pk, "tag": "MN-07"}
        response = client.post(reverse("instrument-create"), fields)
        assert response.context["form"].errors == {"tag": ["There is an instrument MN-07 already."]}


class TestRecordingACertificate:
    fields = {
        "certificate": "Q-17",
        "laboratory": "Quarry Lane Calibration",
        "calibrated_on": "2024-12-02",
        "due_on": "2025-12-02",
        "as_found_in_tolerance": "yes",
        "nominal_1": "1",
        "unit_1": "mbar",
        "as_found_error_1": "−0,02",
        "as_left_error_1": "0",
        "expanded_u_1": "0.02",
        "k_1": "2",
    }

    @pytest.fixture
    def gauge(self, manager):
        return make.instrument(by=manager, tag="MN-02", certified=False)

    @pytest.fixture
    def address(self, gauge):
        return reverse("calibration-record", args=[gauge.pk])

    def test_its_points_are_on_the_instruments_page(self, client, address):
        second = {
            "nominal_2": "1,5",
            "unit_2": "mbar",
            "as_left_error_2": "-0.01",
            "expanded_u_2": "0.02",
            "k_2": "2.1",
        }
        page = text_of(client.post(address, self.fields | second, follow=True))
        assert "Certificate Q-17 is on record." in page
        rows = Calibration.objects.get().points.values_list("nominal", "as_found_error", "as_left_error")
        assert list(rows) == [(1, -0.02, 0), (1.5, None, -0.01)]
        for words in ("Q-17", "In tolerance", "−0.02", "None given"):
            assert words in page

    def test_out_of_tolerance_as_found_is_pointed_out(self, client, address):
        page = text_of(client.post(address, self.fields | {"as_found_in_tolerance": "no"}, follow=True))
        assert "MN-02 was out of tolerance as found" in page

    @pytest.mark.parametrize(
        ("wrong", "errors"),
        [
            ({"nominal_1": ""}, {"nominal_1": "Missing from point 1."}),
            ({"as_left_error_1": "1,234"}, {"as_left_error_1": "Type a plain number, such as 0.05."}),
            ({"calibrated_on": "2025-02-01"}, {"calibrated_on": "The calibration date lies in the future."}),
            (
                {"due_on": "2024-12-02"},
                {"due_on": "The next calibration must be due after this one was made."},
            ),
            ({"due_on": "soon"}, {"due_on": "Enter a valid date."}),
            ({"as_found_in_tolerance": ""}, {"as_found_in_tolerance": "This field is required."}),
            (
                {"nominal_2": "1", "unit_2": "mbar", "as_left_error_2": "0", "expanded_u_2": "1", "k_2": "2"},
                {"__all__": "Two points have the same nominal value, 1 mbar. Leave one out."},
            ),
        ],
    )
    def test_what_is_wrong_is_said_beside_its_field_and_what_was_typed_stays(
        self, client, address, wrong, errors
    ):
        response = client.post(address, self.fields | wrong)
        found = response.context["form"].errors
        assert {name: messages[0] for name, messages in found.items()} == errors
        assert 'value="Q-17"' in text_of(response)
        assert not Calibration.objects.exists()

    def test_a_pass_without_a_figure_is_not_enough(self, client, address):
        bare = {name: text for name, text in self.fields.items() if not name.endswith("_1")}
        errors = client.post(address, bare | {"unit_1": "mbar", "k_1": "2"}).context["form"].errors
        assert set(errors) == {"nominal_1", "as_left_error_1", "expanded_u_1"}

    def test_the_same_certificate_is_refused_beside_its_field(self, client, manager, gauge, address):
        make.certificate(of=gauge, by=manager, number="Q-17")
        errors = client.post(address, self.fields).context["form"].errors
        assert errors == {"certificate": ["Certificate Q-17 is recorded for MN-02 already."]}

    def test_a_voltage_indicator_has_no_certificates(self, client, manager):
        indicator = make.instrument(by=manager, kind=make.InstrumentKind.VOLTAGE_INDICATOR)
        assert client.get(reverse("calibration-record", args=[indicator.pk])).status_code == 404
        page = text_of(client.get(reverse("instrument-detail", args=[indicator.pk])))
        assert "Proved at each use" in page
        assert "Record a certificate" not in page


def test_a_page_of_figures_shows_the_digits_that_were_given(client, manager):
    meter = make.instrument(by=manager, kind=make.InstrumentKind.MULTIMETER)
    page = text_of(client.get(reverse("instrument-detail", args=[meter.pk])))
    assert "±(0.9 % of reading + 3 digits)" in page
    assert 'class="reading">600<' in page
    assert "600.0" not in page
