"""What the benchmark of pages measures: a centre that has grown, asked as people ask."""

from unittest.mock import patch

import pytest
from django.db.models import Count
from django.test import Client, override_settings
from django.utils import timezone

from academy.models import Cohort
from assessments import outcomes
from assessments.gathering import gather
from assessments.marking.mark import mark
from assessments.models import Attempt, Reading, SignOff
from tests.benchmarks import crowd, pages
from tests.benchmarks.crowd import Crowd
from tests.benchmarks.pages import Cost
from tests.factories.centres import NOON, busy_centre

pytestmark = pytest.mark.django_db


@pytest.fixture
def centre(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOON)
    return busy_centre()


def test_a_crowd_grows_to_the_size_that_is_asked_for(centre):
    before = Attempt.objects.count()
    grown = Crowd(centre)
    grown.grow(attempts=30)
    grown.grow(attempts=500)

    assert Attempt.objects.count() == before + 500
    added = Attempt.objects.filter(candidate__in=grown.candidates)
    assert added.count() == 500
    assert SignOff.objects.of_competence().filter(attempt__in=added).count() > 100
    assert added.values("rig").distinct().count() > 10
    sizes = Cohort.objects.filter(people__in=grown.candidates).annotate(size=Count("people"))
    assert {each.size for each in sizes} == {crowd.COHORT}


def test_what_is_in_it_is_as_good_as_what_was_worked_through(centre):
    grown = Crowd(centre)
    grown.grow(attempts=3)
    for attempt in Attempt.objects.filter(candidate__in=grown.candidates):
        marking = mark(gather([attempt.pk])[0])
        assert len(marking.marks.judgements) == attempt.readings.standing().count()
        assert outcomes.latest(attempt).proposal == attempt.sign_offs.get().outcome.proposal


def test_a_page_and_the_logging_of_a_reading_are_measured_by_people_signed_in(centre):
    known = Reading.objects.count()
    with override_settings(ROOT_URLCONF="tests.benchmarks.pages"), patch.object(pages, "ROUNDS", 2):
        stranger = Client().get("/no-op/")
        assert pages.cost_of(pages.signed_in(centre, "assessor"), "/today/") > 0
        assert pages.step_cost(centre) > 0
    assert stranger.status_code == 302
    assert Reading.objects.count() == known + 3


def test_a_page_that_has_grown_too_dear_is_said_to_be_over():
    assert str(Cost(label="rig-list", few=2.0, many=2.5)).endswith("× 1.25")
    assert str(Cost(label="rig-list", few=2.0, many=2.7)).endswith("× 1.35, over")
