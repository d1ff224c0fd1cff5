"""Level figures of a design and the correction of a reference, on their pages."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from academy.models import Role
from rigs import levels
from rigs.models import LevelFigures
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]


@pytest.fixture
def address(bench):
    return reverse("design-levels", args=[bench.rig.design.pk])


@pytest.fixture
def taps(bench):
    found = bench.rig.design.measurands.select_related("test_point", "condition", "design__centre")
    return next(each for each in found if make.key_of(each) == "taps:fan-running")


def text_of(response):
    assert response.status_code == 200
    return " ".join(response.text.split())


def check_for_weeks(bench, *, weeks=20):
    chance = make.noise("weeks")
    for week in range(weeks):
        at = AT - timedelta(hours=10) + timedelta(days=7 * week)
        bench.check(at=at, running=make.RUNNING * (1 + chance.normal(0, 0.03)))


def test_before_there_are_enough_checks_it_says_so(client, bench, address):
    client.force_login(bench.technician)
    page = text_of(client.get(address))
    assert "In force: as the design came." in page
    assert "Too few checks: 0 so far, 20 are needed." in page
    assert "Adopt the estimate" not in page


def test_an_estimate_is_adopted_with_a_button(client, bench, taps, address):
    check_for_weeks(bench)
    client.force_login(bench.technician)
    page = text_of(client.get(address))
    assert "From 20 checks on 1 rig." in page
    adopt = reverse("levels-adopt", args=[taps.pk])
    assert adopt in page
    page = text_of(client.post(adopt, {"checks": "20"}, follow=True))
    assert "the estimate is in force from now on." in page
    assert f"estimated from checks, by {bench.technician.name}" in page
    assert "from 20 checks on 1 rig." in page
    assert LevelFigures.objects.get().measurand == taps


def test_without_having_looked_it_is_not(client, bench, taps):
    client.force_login(bench.technician)
    adopt = reverse("levels-adopt", args=[taps.pk])
    assert "Look at the estimate before" in text_of(client.post(adopt, {}, follow=True))
    assert "Too few checks" in text_of(client.post(adopt, {"checks": "0"}, follow=True))
    assert not LevelFigures.objects.exists()


def test_figures_are_set_by_hand_with_a_reason(client, bench, taps, address):
    client.force_login(bench.technician)
    set_page = reverse("levels-set", args=[taps.pk])
    assert client.get(set_page).context["form"].initial == {"drift_percent": "0.6", "session_percent": "1.2"}
    response = client.post(set_page, {"drift_percent": "0,8", "session_percent": "1.5", "reason": " "})
    assert response.context["form"].errors.keys() == {"reason"}
    fields = {"drift_percent": "0,8", "session_percent": "1.5", "reason": "Old fans"}
    page = text_of(client.post(set_page, fields, follow=True))
    assert "set by hand, by" in page
    assert "“Old fans”" in page
    assert levels.in_force([taps])[taps.pk].drift_percent == 0.8


def test_an_assessor_looks_but_sets_nothing(client, bench, taps, address):
    client.force_login(bench.assessor)
    assert "Set by hand" not in text_of(client.get(address))
    assert client.get(reverse("levels-set", args=[taps.pk])).status_code == 403


def test_another_centres_design_is_not_found(client, address, taps):
    client.force_login(person_with(Role.Kind.TECHNICIAN, by=ManagerFactory()))
    assert client.get(address).status_code == 404
    assert client.get(reverse("levels-set", args=[taps.pk])).status_code == 404


def test_more_rigs_and_checks_cost_no_query(client, bench, address):
    client.force_login(bench.technician)
    bench.check()
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for number in range(3):
        rig = make.rig(by=bench.technician, tag=f"VB-1{number}")
        given = {"of": rig, "instruments": bench.references, "by": bench.technician}
        make.approved_baseline(**given, second=bench.assessor, runs=5)
        for minutes in range(3):
            make.check(**given, at=AT + timedelta(minutes=minutes))
    with CaptureQueriesContext(connection) as many:
        client.get(address)
    assert len(many) == len(few)


def test_a_reference_shows_what_it_is_corrected_by(client, bench):
    client.force_login(bench.technician)
    page = text_of(client.get(reverse("instrument-detail", args=[bench.references["manometer"].pk])))
    certificate = bench.references["manometer"].calibrations.get()
    assert f"Baselines and checks are corrected by {certificate.certificate}" in page
    page = text_of(client.get(reverse("instrument-detail", args=[bench.manometer.pk])))
    assert "Correction in force" not in page
