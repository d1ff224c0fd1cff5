"""A list costs as many queries at thirty rows as at three."""

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Person
from assessments import attempts, progress
from assessments.models.attempts import Purpose
from assessments.models.virtual import Draw
from assessments.views.virtual import VirtualList
from rigs import holds
from rigs.models import Instrument
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories import virtual as virtual_practices
from tests.factories.academy import AT, CandidateFactory, CohortFactory, PersonFactory
from tests.factories.assessments import SWITCH_TEST, Bench, Work
from tests.factories.centres import NOON

FEW, MANY = 3, 30


@pytest.fixture
def bench(db, monkeypatch) -> Bench:
    monkeypatch.setattr(timezone, "now", lambda: NOON)
    return made.ready_bench()


@pytest.fixture
def least(bench) -> Work:
    """Nothing but a conclusion: an attempt that can be handed in."""
    steps = bench.tasks[SWITCH_TEST].steps.exclude(kind="conclusion")
    return Work(skipped=frozenset(steps.values_list("slug", flat=True)))


@pytest.fixture
def grows_without_a_query(client):
    """Add three rows to a page, then up to thirty: each must show, and cost nothing."""

    def check(person: Person, address: str, add: Callable[[int], object]) -> None:
        client.force_login(person)
        for number in range(FEW):
            add(number)
        few_queries, few_links = cost(client, address)
        for number in range(FEW, MANY):
            add(number)
        queries, links = cost(client, address)
        assert links - few_links >= MANY - FEW
        assert queries == few_queries

    return check


def cost(client: Client, address: str) -> tuple[int, int]:
    """How many queries a page takes, and how many links it has."""
    client.get(address)  # by now the session is known
    with CaptureQueriesContext(connection) as captured:
        page = client.get(address).text
    return len(captured), page.count("href=")


def test_rigs_to_pick_and_attempts_to_carry_on(bench, least, grows_without_a_query):
    def add(number: int) -> None:
        rig = rigs.rig(by=bench.technician, tag=f"VB-{100 + number}", at=AT)
        if number % 3 == 0:
            holds.place(on=rig, reason="Guard loose", by=bench.technician, at=AT)
        else:
            start_on(bench, rig=rig)
        made.signed_off(bench, least, at=AT + timedelta(minutes=20 + number))
        made.handed_in(bench, least, at=AT + timedelta(minutes=20 + number))

    grows_without_a_query(bench.candidate, reverse("bench-home"), add)


def start_on(bench: Bench, *, rig) -> None:
    attempts.start(
        id=uuid4(),
        candidate=bench.candidate,
        version=bench.tasks[SWITCH_TEST],
        rig=rig,
        purpose=Purpose.PRACTICE,
        chosen=bench.instruments,
        cautions_read=True,
        at=AT,
    )


def test_attempts_that_wait_for_a_decision(bench, least, grows_without_a_query):
    def add(number: int) -> None:
        made.handed_in(bench, least, candidate=CandidateFactory(by=bench.manager), purpose=Purpose.PRACTICE)

    grows_without_a_query(bench.assessor, reverse("review-list"), add)


def test_attempts_that_were_decided(bench, least, grows_without_a_query):
    def add(number: int) -> None:
        made.signed_off(bench, least, candidate=CandidateFactory(by=bench.manager), purpose=Purpose.PRACTICE)

    grows_without_a_query(bench.assessor, reverse("review-list", query={"show": "decided"}), add)


def test_rigs_on_the_board(bench, grows_without_a_query):
    references = {
        each.model.kind: each
        for each in Instrument.objects.references().filter(centre=bench.centre).select_related("model")
    }

    def add(number: int) -> None:
        rig = rigs.rig(by=bench.technician, tag=f"VB-{100 + number}", at=AT)
        rigs.open_baseline(of=rig, instruments=references, by=bench.technician, runs=1, days=1, at=AT)
        if number % 3 == 0:
            holds.place(on=rig, reason="Guard loose", by=bench.technician, at=AT)

    grows_without_a_query(bench.technician, reverse("rig-list"), add)


def test_instruments_on_the_shelf(bench, grows_without_a_query):
    def add(number: int) -> None:
        instrument = rigs.instrument(by=bench.technician, certified=number % 3 > 0)
        if number % 3 == 1:
            holds.place(on=instrument, reason="Case cracked", by=bench.technician, at=AT)

    grows_without_a_query(bench.technician, reverse("instrument-list"), add)


def test_candidates_and_tasks_of_a_cohort(bench, least, grows_without_a_query):
    for version in bench.tasks.values():
        progress.plan(cohort=bench.cohort, task=version.task, by=bench.manager, at=AT)

    def add(number: int) -> None:
        candidate = made.another_candidate(bench)
        if number % 2:
            made.signed_off(bench, least, candidate=candidate)
        else:
            made.handed_in(bench, least, candidate=candidate)

    grows_without_a_query(bench.manager, reverse("cohort-matrix"), add)


def test_people(bench, grows_without_a_query):
    def add(number: int) -> None:
        cohort = CohortFactory(by=bench.manager)
        PersonFactory(by=bench.manager, kinds=("assessor", "technician"), cohort=cohort)

    grows_without_a_query(bench.manager, reverse("person-list"), add)


def test_evidence(bench, least, grows_without_a_query):
    def add(number: int) -> None:
        made.signed_off(bench, least, at=AT + timedelta(minutes=20 + number))

    grows_without_a_query(bench.candidate, reverse("portfolio-own"), add)


def test_evidence_of_a_candidate(bench, least, grows_without_a_query):
    def add(number: int) -> None:
        made.signed_off(bench, least, at=AT + timedelta(minutes=20 + number))

    grows_without_a_query(bench.manager, reverse("portfolio-detail", args=[bench.candidate.pk]), add)


def test_ones_own_practices_on_virtual_rigs(bench, grows_without_a_query, monkeypatch):
    monkeypatch.setattr(VirtualList, "paginate_by", MANY)

    def add(number: int) -> None:
        version = bench.tasks[SWITCH_TEST]
        virtual_practices.started(candidate=bench.candidate, version=version, seed=100 * number)

    grows_without_a_query(bench.candidate, reverse("virtual-list"), add)


def test_readings_on_a_virtual_rig(bench, client):
    """Three measurements or thirty: the page and its hint cost as much to look up."""
    version = virtual_practices.fault_finding(by=bench.manager)
    practice = virtual_practices.started(candidate=bench.candidate, version=version, draw=Draw.ANY)
    address = reverse("virtual-measure", args=[practice.pk])
    client.force_login(bench.candidate)
    costs = []
    for upto in (FEW, MANY):
        while practice.entries.count() < upto:
            virtual_practices.measure(practice, "taps", "fan-running")
        costs.append(cost(client, address)[0])

    assert costs[0] == costs[1]
