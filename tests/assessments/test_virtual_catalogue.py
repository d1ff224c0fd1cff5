"""What the fixtures ask of a switch rig, a virtual one can show."""

import pytest

from academy import json_files
from assessments import catalogue, virtual_boards, virtual_marking
from assessments.models.virtual import Draw
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories import virtual as practices
from tests.factories.academy import AT, CandidateFactory, ManagerFactory

TWO, THREE = rigs.TWO_TERMINAL, "three-terminal-switch-rig"
TASKS = (
    ("instrument-checks", TWO),
    (made.SWITCH_TEST, TWO),
    ("three-terminal-switch-test", THREE),
    ("venturi-free-passage", TWO),
    ("tube-polarity", TWO),
    ("make-and-break", TWO),
    ("fault-finding-two-terminal", TWO),
    ("fault-finding-three-terminal", THREE),
)


@pytest.fixture
def manager(db):
    manager = ManagerFactory()
    rigs.load_designs(by=manager, slugs=(TWO, THREE))
    catalogue.load_criteria_file(centre=manager.centre, file=json_files.read(made.FIXTURES / "criteria.json"))
    return manager


def issued(manager, slug, design):
    data = made.data_for(slug, design=design) | {"requires": []}
    return catalogue.issue(centre=manager.centre, data=data, by=manager, at=AT)


@pytest.mark.parametrize(("slug", "design"), TASKS)
def test_can_be_practised_as_it_is_shown(manager, slug, design):
    version = issued(manager, slug, design)
    assert version in virtual_boards.practisable(centre=manager.centre)

    practice = practices.started(candidate=CandidateFactory(by=manager), version=version)
    for step in version.steps.filter(kind="reading").exclude(judged_by="computed"):
        practices.log(practice, step.slug)

    found = {mark.step: str(mark.verdict) for mark in marks_of(practice)}
    if practice.draw == Draw.NOTHING:
        assert set(found.values()) <= {"in-range", "borderline"}, found
        assert list(found.values()).count("borderline") <= 1, found


def test_single_taps_and_their_difference_are_read_where_they_are(manager):
    version = issued(manager, "venturi-free-passage", TWO)
    practice = practices.started(candidate=CandidateFactory(by=manager), version=version)
    slugs = ("high-tap", "low-tap", "closure", "taps-blocked", "low-tap-blocked")
    high, low, difference, blocked, dead_head = (float(practices.log(practice, slug).shown) for slug in slugs)

    assert low < 0 < high
    assert difference == pytest.approx(high - low, abs=0.1)
    assert blocked == pytest.approx(0, abs=0.05)
    assert dead_head > difference


def marks_of(practice):
    entries = practice.entries.in_order().select_related("step", "test_point", "condition")
    return virtual_marking.marks_of(practice, list(entries))
