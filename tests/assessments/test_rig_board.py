"""The board's load, and what looking at a rig's charts means."""

from datetime import timedelta

import pytest
from django.urls import reverse

from academy.models import Role
from assessments import disclosure, rig_load
from rigs import sessions
from rigs.models import Session
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import AT, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("session_begins")]


@pytest.fixture
def verifier(bench, client):
    person = person_with(Role.Kind.VERIFIER, by=bench.manager)
    client.force_login(person)
    return person


def session_of(bench) -> Session | None:
    return sessions.current(centre=bench.centre, at=bench.at)


def test_what_is_open_and_what_was_begun_this_session_are_counted(bench):
    made.handed_in(bench, made.Work())
    made.started(bench, candidate=made.another_candidate(bench))
    load = rig_load.load(rigs=[bench.rig], session=session_of(bench))
    assert load == {bench.rig.pk: rig_load.Load(open=1, started=2)}


def test_without_a_session_only_open_ones_count_and_an_idle_rig_has_none(bench):
    made.handed_in(bench)
    assert rig_load.load(rigs=[bench.rig], session=None) == {}
    made.started(bench, candidate=made.another_candidate(bench))
    assert rig_load.load(rigs=[bench.rig], session=None)[bench.rig.pk] == rig_load.Load(open=1, started=0)


def test_the_board_says_how_busy_a_rig_is(bench, verifier, client):
    made.started(bench)
    assert "1 begun, 1 open" in client.get(reverse("rig-list")).text


def test_a_look_at_the_charts_is_remembered(bench, verifier, client):
    page = client.get(reverse("rig-charts", args=[bench.rig.pk])).text
    assert "you can’t be assessed on it" in page
    assert disclosure.has_seen(person=verifier, rig=bench.rig)


def test_a_look_at_a_rig_with_nothing_to_draw_is_not(bench, verifier, client):
    bare = rigs.rig(by=bench.technician, tag="VB-09", at=AT - timedelta(days=1))
    assert "There is nothing to draw yet." in client.get(reverse("rig-charts", args=[bare.pk])).text
    assert not disclosure.has_seen(person=verifier, rig=bare)
