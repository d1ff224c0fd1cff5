"""What attempts are marked from, read in a constant number of queries."""

import json
from dataclasses import replace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from academy.models import Centre
from assessments.gathering import gather
from assessments.marking.inputs import steps_as_issued
from assessments.models import Reading, StepRecord, TaskContent
from assessments.models.attempts import Purpose
from assessments.shared_inputs import Shared
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST, Work

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return made.ready_bench()


def queries(attempts, **given) -> int:
    with CaptureQueriesContext(connection) as captured:
        gather([attempt.pk for attempt in attempts], **given)
    return len(captured)


def test_many_attempts_take_as_many_queries_as_one(bench):
    attempts = [
        made.handed_in(bench, candidate=made.another_candidate(bench), purpose=Purpose.PRACTICE)
        for _ in range(3)
    ]

    assert queries(attempts) == queries(attempts[:1])


def test_what_is_shared_is_not_read_again(bench):
    attempt, shared = made.handed_in(bench), Shared()
    first = queries([attempt], shared=shared)

    assert queries([attempt], shared=shared) < first


def test_attempts_come_in_the_order_in_which_they_were_asked_for(bench):
    one, other = made.handed_in(bench), made.handed_in(bench, candidate=made.another_candidate(bench))

    for attempts in ([one, other], [other, one]):
        found = gather([attempt.pk for attempt in attempts])
        assert [each.attempt for each in found] == [str(attempt.pk) for attempt in attempts]


def test_everything_that_stands_is_there_with_when_it_was_first_logged(bench):
    attempt = made.handed_in(bench, Work(struck={"taps-running": "15.8"}, skipped=frozenset({"tee-in"})))
    (found,) = gather([attempt.pk])

    standing = Reading.objects.filter(attempt=attempt).current().get(step__slug="taps-running")
    reading = found.reading_at("taps-running")
    assert (reading.id, reading.text, reading.unit) == (str(standing.pk), standing.text, "mbar")
    assert (reading.quantity, reading.instrument, reading.qualifier) == ("pressure", "manometer", "value")
    assert reading.si_value == standing.si_value
    assert reading.sequence == standing.supersedes.sequence < standing.sequence
    logged = {each.step for each in (*found.readings, *found.records)}
    assert logged == {step.slug for step in found.steps} - {"tee-in"}
    assert {each.kind: each.tag for each in found.instruments} == {
        "manometer": "MN-02",
        "multimeter": "DM-02",
        "voltage-indicator": "VI-01",
    }
    assert found.rig == "VB-01"
    assert found.baseline == 1


def test_a_step_that_was_taken_back_is_not_there(bench):
    attempt = made.handed_in(bench)
    StepRecord.objects.filter(attempt=attempt, step__slug="tee-in").update(done=False)

    (found,) = gather([attempt.pk])

    assert "tee-in" not in {record.step for record in found.records}


def test_values_are_those_of_the_sheet_that_was_pinned_at_the_start(bench):
    attempt = made.handed_in(bench)
    pinned = {
        f"{each.measurand.test_point.slug}/{each.measurand.condition.slug}": each.value
        for each in attempt.sheet.values.select_related("measurand__test_point", "measurand__condition")
    }

    (found,) = gather([attempt.pk])

    assert {each.key: each.value for each in found.measurands} == pinned


def test_without_a_sheet_the_steps_measurands_have_no_values(bench):
    attempt = made.handed_in(bench)
    attempt.sheet = None
    attempt.save(update_fields=["sheet"])

    (found,) = gather([attempt.pk])

    assert found.baseline is None
    assert "taps/fan-running" in {each.key for each in found.measurands}
    assert {each.value for each in found.measurands} == {None}


def test_a_fault_that_was_set_is_there(bench):
    fault = bench.rig.design.faults.get(slug="h-tube-off")
    attempt = made.handed_in(bench)
    setting = bench.rig.fault_settings.create(fault=fault, set_by=bench.assessor, set_at=bench.at)
    attempt.fault = setting
    attempt.save(update_fields=["fault"])

    (found,) = gather([attempt.pk])

    assert (found.fault.slug, found.fault.conclusion) == ("h-tube-off", "elsewhere")


def test_the_centres_floor_is_the_one_of_now(bench):
    attempt = made.handed_in(bench)
    (before,) = gather([attempt.pk])
    Centre.objects.update(floor_percent=2)

    (after,) = gather([attempt.pk])

    assert after == replace(before, floor_percent=2.0)


def test_the_steps_are_those_that_were_issued(bench):
    (found,) = gather([made.handed_in(bench).pk])

    issued = json.loads(TaskContent.objects.get(version=bench.tasks[SWITCH_TEST]).text)
    assert steps_as_issued(issued["steps"]) == found.steps
