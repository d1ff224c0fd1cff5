"""Is one assessor, rig or task the odd one out? Asked of decisions that stand; shown without a ranking."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Person
from assessments import decision_rates
from assessments.models import Attempt
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.rate_drawings import dot_plot
from tests.factories import assessments as made
from tests.factories.academy import AssessorFactory
from tests.factories.assessments import Work

pytestmark = pytest.mark.django_db
NOT_YET = Decision.NOT_YET_COMPETENT


@pytest.fixture
def second(bench) -> Person:
    return AssessorFactory(by=bench.manager, name="A-0")


@pytest.fixture
def decided(bench, second):
    """Two by the bench's assessor, competent; two by a second one, not yet. One more is practice."""
    for assessor, decision in (
        (bench.assessor, Decision.COMPETENT),
        (bench.assessor, Decision.COMPETENT),
        (second, NOT_YET),
        (second, NOT_YET),
    ):
        sign_off = made.signed_off(bench, candidate=made.another_candidate(bench), decision=decision)
        type(sign_off).objects.filter(pk=sign_off.pk).update(assessor=assessor)
    made.signed_off(bench, purpose="practice")


def rows(bench):
    on = bench.at.date()
    return decision_rates.decided(centre=bench.centre, starts_on=on, ends_on=on)


def test_only_assessments_whose_decision_stands_are_compared(bench, decided):
    assert len(rows(bench)) == 4
    void = Attempt.objects.filter(purpose="assessment")[0]
    Attempt.objects.filter(pk=void.pk).update(status=AttemptStatus.VOID)
    assert len(rows(bench)) == 3


def test_other_days_are_left_out(bench, decided):
    later = bench.at.date() + timedelta(days=1)
    assert decision_rates.decided(centre=bench.centre, starts_on=later, ends_on=later) == []


def test_assessors_stand_in_the_order_of_their_names_whatever_their_share(bench, second, decided):
    assessors, rigs, tasks = decision_rates.questions(
        centre=bench.centre, starts_on=bench.at.date(), ends_on=bench.at.date()
    )
    names = [each.name for each in assessors.rates.groups]
    assert names == sorted(names)
    assert assessors.rates.groups[0].share.value == 0
    assert rigs.answer == tasks.answer.replace("task with", "rig with")  # one of each: nothing to compare
    assert "nothing to compare yet" in rigs.answer


def test_people_of_the_same_name_are_told_apart():
    one, other = AssessorFactory(name="Sam"), AssessorFactory(name="Sam")
    found = decision_rates.labels([(one.pk, one.name), (other.pk, other.name)])
    assert len(set(found.values())) == 2


def test_a_dot_lies_between_the_ends_of_its_interval(bench, decided):
    assessors, *_ = decision_rates.questions(
        centre=bench.centre, starts_on=bench.at.date(), ends_on=bench.at.date()
    )
    plot = dot_plot(assessors.rates)
    for line in plot.lines:
        assert 0 <= line.dot.lower <= line.dot.x <= line.dot.upper <= 100
    assert [tick.label for tick in plot.ticks if tick.at == plot.zero] == ["0"]


class TestThePage:
    @pytest.fixture(autouse=True)
    def afterwards(self, bench, monkeypatch, client):
        monkeypatch.setattr(timezone, "now", lambda: bench.at + timedelta(days=2))
        client.force_login(bench.manager)

    def test_it_answers_in_a_sentence_and_says_what_it_is_for(self, client, decided):
        page = client.get(reverse("decision-rates")).text
        assert "a prompt for a talk, not a ranking" in page
        assert "come out differently" in page

    def test_as_a_file(self, client, bench, second, decided):
        text = client.get(reverse("decision-rates"), {"as": "csv"}).content.decode("utf-8-sig")
        assert "assessor,A-0,2,0,0," in text
        assert client.get(reverse("decision-rates"), {"as": "xlsx"}).content.startswith(b"PK")

    def test_days_that_make_no_sense_are_said_beside_them(self, client, decided):
        page = client.get(reverse("decision-rates"), {"starts_on": "2031-01-01", "ends_on": "2030-01-01"})
        assert "The last day can’t be before the first." in page.text

    def test_more_decisions_cost_no_more_queries(self, client, bench, decided):
        def counted():
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse("decision-rates"))
            return len(queries)

        client.get(reverse("decision-rates"))
        before = counted()
        made.signed_off(bench, Work(), candidate=made.another_candidate(bench))
        assert counted() == before
