"""Practice on a virtual rig is nobody's evidence, and the bench's rigs are nothing to it."""

import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Role
from assessments import progress, virtual
from tests.factories import assessments as made
from tests.factories import virtual as practices
from tests.factories.academy import AT, CandidateFactory, CohortFactory, person_with

TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="[^"]+"')
OF_THE_BENCH = re.compile(
    r'"rigs_(rig|baseline\w*|check\w*|valuesheet|sheetvalue|faultsetting|instrument\w*)"'
)
pytestmark = pytest.mark.django_db


@pytest.fixture
def classroom(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT)
    return practices.classroom()


@pytest.fixture
def version(classroom):
    return classroom.tasks[made.SWITCH_TEST]


def test_no_page_of_a_practice_asks_anything_of_the_bench(classroom, version):
    client = Client()
    client.force_login(classroom.candidate)
    practice = practices.started(candidate=classroom.candidate, version=version)
    step = reverse("virtual-step", args=[practice.pk, version.steps.get(slug="ports-running").position])

    with CaptureQueriesContext(connection) as asked:
        client.get(step)
        client.post(step, {"id": uuid4(), "text": "1.5", "unit": "mbar"}, follow=True)
        client.get(reverse("virtual-overview", args=[practice.pk]))
        client.post(reverse("virtual-finish", args=[practice.pk]), follow=True)

    assert len(asked) > 20
    assert [each["sql"] for each in asked if OF_THE_BENCH.search(each["sql"])] == []


class TestNobodyElseSeesAnything:
    PAGES = (("portfolio-own", "candidate"), ("review-list", "assessor"), ("cohort-matrix", "manager"))

    @pytest.fixture
    def people(self, classroom):
        manager, task = classroom.manager, classroom.tasks[made.SWITCH_TEST].task
        cohort = CohortFactory(by=manager)
        progress.plan(cohort=cohort, task=task, by=manager, at=AT)
        return {
            "candidate": CandidateFactory(by=manager, cohort=cohort),
            "assessor": person_with(Role.Kind.ASSESSOR, by=classroom.manager),
            "manager": classroom.manager,
        }

    @pytest.mark.parametrize(("name", "who"), PAGES)
    def test_a_finished_practice_changes_no_page_of_evidence(self, version, people, name, who):
        client, candidate = Client(), people["candidate"]
        client.force_login(people[who])
        before = client.get(reverse(name)).text
        practice = practices.work_through(practices.started(candidate=candidate, version=version))
        virtual.finish(practice=practice, candidate=candidate, at=AT)

        after = client.get(reverse(name)).text
        assert before.count("href=") > 3
        assert TOKEN.sub("", after) == TOKEN.sub("", before)
