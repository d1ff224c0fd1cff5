from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from rigs import faults
from rigs.models import Fault, FaultSetting
from tests.factories import assessments as work
from tests.factories import fault_finding
from tests.factories import rigs as make
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def morning(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT)


@pytest.fixture
def bench(client, db):
    made = make.open_bench()
    client.force_login(made.assessor)
    return made


@pytest.fixture
def address(bench):
    return reverse("fault-set", args=[bench.rig.pk])


def welded(bench):
    return Fault.objects.get(design=bench.rig.design, slug="contact-welded")


def text_of(response):
    assert response.status_code == 200
    return response.content.decode()


def test_how_each_fault_is_set_stands_beside_the_caution(client, bench, address):
    page = text_of(client.get(address))
    assert "prove it dead" in page
    for fault in bench.rig.design.faults.all():
        assert fault.label in page
        assert fault.how_to_set in page


def test_a_fault_is_recorded_as_set_and_as_removed(client, bench, address):
    page = text_of(client.post(address, {"fault": welded(bench).pk}, follow=True))
    assert "Recorded on VB-01: contact stuck closed." in page
    setting = FaultSetting.objects.get()
    assert (setting.set_by, setting.set_at) == (bench.assessor, AT)
    remove = reverse("fault-remove", args=[setting.pk])
    assert remove in page
    page = text_of(client.post(remove, {"removed": "on"}, follow=True))
    assert "The fault is off VB-01. Check the rig before it is used." in page
    assert faults.set_on(rig=bench.rig) is None


def test_it_is_not_removed_by_a_press_alone(client, bench, address):
    setting = faults.set_fault(rig=bench.rig, fault=welded(bench), by=bench.assessor, at=AT)
    page = text_of(client.post(reverse("fault-remove", args=[setting.pk]), {}))
    assert "Confirm that you took it off." in page
    assert faults.set_on(rig=bench.rig) == setting


def test_it_is_removed_once(client, bench):
    setting = faults.set_fault(rig=bench.rig, fault=welded(bench), by=bench.assessor, at=AT)
    remove = reverse("fault-remove", args=[setting.pk])
    client.post(remove, {"removed": "on"})
    assert "removed already" in text_of(client.post(remove, {"removed": "on"}))


def test_nothing_chosen_and_a_second_fault_are_said_beside_the_field(client, bench, address):
    assert client.post(address, {}).context["form"].errors == {"fault": ["Choose the fault that you set."]}
    client.post(address, {"fault": welded(bench).pk})
    errors = client.post(address, {"fault": welded(bench).pk}).context["form"].errors
    assert "A fault is set on VB-01 already" in errors["fault"][0]
    assert FaultSetting.objects.count() == 1


def test_another_designs_fault_is_not_among_the_choices(client, bench):
    board = make.rig(by=bench.manager, tag="SI-01", design=bench.designs[make.ISOLATION_BOARD])
    address = reverse("fault-set", args=[board.pk])
    assert "This design has no faults to set." in text_of(client.get(address))
    assert "fault" in client.post(address, {"fault": welded(bench).pk}).context["form"].errors
    assert not FaultSetting.objects.exists()


def test_nothing_is_set_or_removed_under_somebodys_hands(client):
    bench = work.ready_bench()
    client.force_login(bench.assessor)
    setting = faults.set_fault(rig=bench.rig, fault=welded(bench), by=bench.assessor, at=AT)
    work.started(bench)
    words = "Somebody is working on VB-01: wait until they have handed in."
    page = text_of(client.post(reverse("fault-remove", args=[setting.pk]), {"removed": "on"}))
    assert words in page
    page = text_of(client.post(reverse("fault-set", args=[bench.rig.pk]), {"fault": welded(bench).pk}))
    assert words in page
    assert faults.set_on(rig=bench.rig) == setting


class TestWithATaskOfFindingFaults:
    @pytest.fixture
    def searched(self, client, db):
        made = fault_finding.bench()
        client.force_login(made.assessor)
        return made

    @pytest.fixture
    def address(self, searched):
        return reverse("fault-set", args=[searched.rig.pk])

    def pk_of(self, searched, slug):
        return Fault.objects.get(design=searched.rig.design, slug=slug).pk

    def test_one_that_cannot_be_told_apart_names_the_group_beside_the_field(self, client, searched, address):
        page = text_of(client.post(address, {"fault": self.pk_of(searched, "contact-open")}))
        assert "can’t tell “Contact does not make” from “Switch mechanism stuck at rest”" in page
        assert not FaultSetting.objects.exists()

    def test_for_practice_it_is_set_and_its_page_says_what_it_looks_like(self, client, searched, address):
        data = {"fault": self.pk_of(searched, "contact-open"), "practice_only": "on"}
        page = text_of(client.post(address, data, follow=True))
        assert "Practice only: nobody is assessed on this rig" in page
        assert "Switch mechanism stuck at rest" in page

    def test_its_page_shows_what_each_test_point_should_read(self, client, searched, address):
        data = {"fault": self.pk_of(searched, "tubes-crossed")}
        page = text_of(client.post(address, data, follow=True))
        assert "What it should read" in page
        assert "\N{MINUS SIGN}1.5" in page

    def test_the_list_keeps_those_that_were_taken_off_and_counts_attempts(self, client, searched):
        first = fault_finding.set_fault(searched, "tubes-crossed", at=AT)
        fault_finding.handed_in(searched)
        faults.remove(setting=first, by=searched.assessor, at=AT + timedelta(hours=2))
        fault_finding.set_fault(searched, "fan-slow", at=AT + timedelta(hours=2))
        page = text_of(client.get(reverse("fault-list", args=[searched.rig.pk])))
        assert page.index("Fan slow") < page.index("Tubes crossed")
        assert "Set now" in page
        detail = text_of(client.get(reverse("fault-detail", args=[first.pk])))
        assert searched.candidate.name in detail

    def test_a_candidate_gets_to_none_of_it(self, client, searched):
        setting = fault_finding.set_fault(searched, "tubes-crossed", at=AT)
        client.force_login(searched.candidate)
        for name, key in (("fault-detail", setting.pk), ("fault-list", searched.rig.pk)):
            assert client.get(reverse(name, args=[key])).status_code == 403
