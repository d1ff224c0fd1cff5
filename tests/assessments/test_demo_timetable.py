"""The demo's story holds together on whatever day it is loaded."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings

from academy import json_files
from assessments.demo import scenario
from assessments.demo.scenario import AttemptPlan
from assessments.demo.timetable import Timetable

FIXTURES = settings.ROOT / "fixtures"
PLAN = scenario.read(FIXTURES / "demo.json")
MONDAY = datetime(2026, 3, 23, 10, 30, tzinfo=UTC)
DECIDED_WITHIN = timedelta(hours=4)
REQUIRES = {
    data["slug"]: data["requires"]
    for data in (json_files.read(path).data for path in sorted((FIXTURES / "tasks").glob("*.json")))
}

pytestmark = pytest.mark.parametrize(
    "timetable",
    [Timetable(now=MONDAY + timedelta(days=day), zone=ZoneInfo(PLAN.time_zone)) for day in range(7)],
    ids=lambda timetable: f"{timetable.now:%A}",
)


def proven_at(candidate: str, task: str, timetable: Timetable) -> list[datetime]:
    """When a candidate has had a task decided, or recorded as achieved before."""
    prior = [each for each in PLAN.prior if candidate in each.candidates and each.task == task]
    shown = [each for each in PLAN.attempts if (each.candidate, each.task) == (candidate, task)]
    return [
        *(timetable.at(each.when) for each in prior),
        *(timetable.at(each.when) + DECIDED_WITHIN for each in shown if each.assessor),
    ]


def test_what_a_task_requires_was_shown_before_it(timetable) -> None:
    assessed = [each for each in PLAN.attempts if each.purpose == "assessment"]
    assert len(assessed) > 50
    for each in assessed:
        for required in REQUIRES[each.task]:
            found = proven_at(each.candidate, required, timetable)
            assert min(found, default=timetable.now) < timetable.at(each.when), f"{each.label}: {required}"


def test_nobody_is_at_two_rigs_and_no_rig_has_two_candidates_at_once(timetable) -> None:
    def begun(key: str) -> list[tuple[str, datetime]]:
        return [(getattr(each, key), timetable.at(each.when)) for each in PLAN.attempts]

    for key in ("candidate", "rig"):
        moments = sorted(begun(key))
        for (one, at), (other, later) in pairwise(moments):
            assert one != other or later - at >= timedelta(minutes=40), f"{one}: {at}"


def test_a_rig_that_blocks_is_left_alone_well_before_it_is_taken_out_of_use(timetable) -> None:
    for rig in (each for each in PLAN.rigs if each.blocking is not None):
        since = timetable.monday(week=rig.blocking.week)
        for each in uses_of(rig.tag):
            weeks = (timetable.at(each.when).date() - since).days / 7
            assert weeks * rig.blocking.percent_a_week < 8


def uses_of(tag: str) -> list[AttemptPlan]:
    return [each for each in PLAN.attempts if each.rig == tag]
