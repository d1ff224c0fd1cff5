"""Kinds of check from a task's data to the page: issued, worked through, marked, shown."""

import re
from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from assessments import catalogue, outcomes
from assessments.models import Step, TaskVersion
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST
from tests.factories.rigs import TWO_TERMINAL

PRESSURE = {
    "kind": "reading",
    "instrument_kind": "manometer",
    "quantity": "pressure",
    "instruction": "Log it.",
}
PLATE = {
    **PRESSURE,
    "slug": "plate",
    "title": "Against the plate",
    "judged_by": "conforms",
    "parameters": {"lower": 1.0, "upper": 2.0, "unit": "mbar", "source": "maker’s plate", "dated": "2019-05"},
}
AGAIN = {
    **PRESSURE,
    "slug": "again",
    "title": "Taps once more",
    "judged_by": "repeats",
    "measurand": ["taps", "fan-running"],
    "parameters": {"of": ["taps-running", "taps-freed"]},
}
DROP = {
    **PRESSURE,
    "slug": "drop",
    "title": "Percentage drop",
    "quantity": "dimensionless",
    "judged_by": "computed",
    "parameters": {
        "calculator": "percentage-drop",
        "inputs": {"before": "taps-running", "after": "taps-blocked"},
    },
}


def data_with(*steps):
    data = made.data_for(SWITCH_TEST, design=TWO_TERMINAL)
    *before, conclusion = data["steps"]
    return {**data, "steps": [*before, *steps, conclusion]}


@pytest.fixture
def bench(db):
    return made.ready_bench()


def with_task(bench, *steps):
    version = catalogue.issue(centre=bench.centre, data=data_with(*steps), by=bench.manager, at=bench.at)
    return replace(bench, tasks={**bench.tasks, SWITCH_TEST: version})


def handed_in(bench, **readings):
    written = {"taps-running": "1.58", "taps-freed": "1.58", "taps-blocked": "0.02", **readings}
    return made.handed_in(with_task(bench, PLATE, AGAIN, DROP), made.Work(readings=written))


def marks_of(attempt):
    return {mark.step: mark for mark in outcomes.marking_of(outcomes.latest(attempt)).marks}


def test_each_kind_is_marked_and_comes_back_from_its_outcome(bench):
    attempt = handed_in(bench, plate="1.58", again="1.59", drop="98.7 %")

    found = marks_of(attempt)

    assert {found[slug].verdict for slug in ("plate", "again", "drop")} == {"in-range"}
    assert found["plate"].numbers.source == "maker’s plate"
    assert found["drop"].numbers.computed == pytest.approx(100 * (1.58 - 0.02) / 1.58)
    assert not any(outcomes.compare(attempt=attempt).result)


def test_the_assessors_page_shows_limits_formula_and_the_slip_by_name(bench):
    attempt = handed_in(bench, plate="2.30", again="1.59", drop="0.987 %")
    client = Client()
    client.force_login(bench.assessor)

    page = client.get(reverse("review-detail", args=[attempt.pk])).content.decode()

    assert "Outside the limits: 2.30 against 1.00 to 2.00" in page
    assert "Probability of conformity" in page
    assert "drop = 100 × (earlier − later) ÷ earlier" in page
    assert "100 times too small" in page
    assert "critical range, ISO 5725-6" in page


def test_the_working_names_the_baseline_with_its_day(bench):
    attempt = handed_in(bench, plate="1.58", again="1.59", drop="98.7 %")
    rig = marks_of(attempt)["taps-running"].numbers.rig

    baseline = attempt.sheet.baseline
    assert rig.baseline == baseline.number
    assert rig.baseline_on == f"{bench.centre.date_at(baseline.started_at):%Y-%m-%d}"


@pytest.mark.parametrize(
    ("step", "changes", "why"),
    [
        (PLATE, {"source": ""}, "“source” is missing"),
        (PLATE, {"unit": "V"}, "V is a voltage; this reading is a pressure"),
        (AGAIN, {"of": ["taps-later"]}, "“taps-later” is no reading on a step before it"),
        (DROP, {"calculator": "guess"}, "there is no calculator “guess”"),
    ],
)
def test_a_task_whose_readings_could_not_be_judged_is_not_issued(bench, step, changes, why):
    unsound = {**step, "parameters": {**step["parameters"], **changes}}
    before = TaskVersion.objects.count(), Step.objects.count()

    with pytest.raises(ValueError, match=re.escape(f"Step “{step['slug']}”")) as caught:
        with_task(bench, unsound)

    assert why in str(caught.value)
    assert (TaskVersion.objects.count(), Step.objects.count()) == before
    assert TaskVersion.objects.in_force().filter(task__slug=SWITCH_TEST).exists()
