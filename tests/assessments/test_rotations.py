from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import disclosure, rotation_inputs, rotation_table, rotations
from assessments.models import SessionPlan
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.models.sessions import ChangeKind
from assessments.rotation_table import When
from rigs.models import Rig
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import ManagerFactory

pytestmark = pytest.mark.django_db

WRONG = made.Work(readings={"taps-running": "0.30"})


@pytest.fixture
def room(bench) -> list[Rig]:
    """The bench's rig and two more of its design."""
    return [bench.rig, *(rigs.rig(by=bench.technician, tag=tag) for tag in ("VB-02", "VB-03"))]


@pytest.fixture
def pairs(bench):
    people = [bench.candidate, *(made.another_candidate(bench) for _ in range(5))]
    return [people[0:2], people[2:4], people[4:6]]


def wanted(bench, room, pairs, **other):
    return rotations.Wanted(
        **{
            "starts_at": bench.at,
            "minutes": 180,
            "slots": 3,
            "change_over": 4,
            "per_assessor": 6,
            "purpose": Purpose.ASSESSMENT,
            "rigs": room,
            "teams": pairs,
            "tasks": [bench.tasks[made.SWITCH_TEST].task],
            "alone": [],
            "assessors": [bench.assessor],
        }
        | other
    )


def planned(bench, room, pairs, **other) -> SessionPlan:
    return rotations.plan(
        centre=bench.centre, wanted=wanted(bench, room, pairs, **other), by=bench.assessor, at=bench.at
    )


def where(plan, slot=1):
    """Who is at which rig in a slot: tags by the candidates' names."""
    rows = plan.planned.standing().filter(slot=slot).select_related("rig", "candidate")
    return {str(each.candidate): each.rig.tag for each in rows}


def test_three_pairs_are_at_three_rigs_at_once(bench, room, pairs):
    plan = planned(bench, room, pairs)

    here = where(plan)
    assert sorted(here.values()) == ["VB-01", "VB-01", "VB-02", "VB-02", "VB-03", "VB-03"]
    assert all(here[str(first)] == here[str(second)] for first, second in pairs)


def test_a_plan_is_in_the_ledger_without_its_free_text(bench, room, pairs):
    plan = planned(bench, room, pairs)
    replanned(plan, bench, rigs=room[:2], reason="Somebody fell ill")

    entries = LedgerEntry.objects.filter(verb="rotation.plan", subject=str(plan.pk))
    assert len(entries) == 2
    assert not any("fell ill" in entry.body for entry in entries)


def test_a_half_day_has_one_plan(bench, room, pairs):
    planned(bench, room, pairs)
    with pytest.raises(Refused, match="There is a plan for that morning already") as refused:
        planned(bench, room, pairs)
    assert refused.value.field == "starts_at"


@pytest.mark.parametrize(
    ("other", "field"),
    [
        ({"teams": []}, "candidates"),
        ({"rigs": []}, "rigs"),
        ({"tasks": []}, "tasks"),
        ({"assessors": []}, "assessors"),
        ({"slots": 0}, "slots"),
        ({"slots": 17}, "slots"),
        ({"slots": 6, "minutes": 24}, "slots"),
    ],
)
def test_a_plan_of_nothing_is_refused_beside_its_field(bench, room, pairs, other, field):
    with pytest.raises(Refused) as refused:
        planned(bench, room, pairs, **other)
    assert refused.value.field == field


def test_nobody_is_in_two_teams_nor_assessor_and_assessed(bench, room, pairs):
    with pytest.raises(Refused, match="two teams"):
        planned(bench, room, [*pairs, [bench.candidate]])
    with pytest.raises(Refused, match="in which they are assessed"):
        planned(bench, room, [[bench.assessor]])


def test_another_centres_rigs_and_people_are_refused(bench, room, pairs):
    elsewhere = ManagerFactory()
    with pytest.raises(Refused, match="another centre"):
        rotations.plan(centre=bench.centre, wanted=wanted(bench, room, pairs), by=elsewhere, at=bench.at)
    with pytest.raises(Refused, match="another centre"):
        planned(bench, [rigs.rig(by=elsewhere, tag="X-1")], pairs)


def test_somebody_who_has_seen_a_rigs_ranges_is_planned_elsewhere(bench, room, pairs):
    disclosure.note_seen(person=bench.candidate, rig=bench.rig, at=bench.at)

    plan = planned(bench, room, pairs)

    assert where(plan)[str(bench.candidate)] != "VB-01"


def test_a_resit_is_planned_on_another_rig_than_last_time(bench, room):
    made.signed_off(bench, WRONG, decision=Decision.NOT_YET_COMPETENT)

    plan = planned(bench, room[:2], [[bench.candidate]])

    assert where(plan) == {str(bench.candidate): "VB-02"}


def test_what_somebody_has_behind_them_is_not_planned(bench, room):
    made.signed_off(bench)

    plan = planned(bench, room, [[bench.candidate]])

    assert where(plan) == {}
    assert rotation_table.table(plan, at=bench.at).rows[0].idle == (
        (str(bench.candidate), "nothing is left to do"),
    )


def test_practice_asks_for_nothing_before_it(bench, room):
    made.signed_off(bench)
    disclosure.note_seen(person=bench.candidate, rig=bench.rig, at=bench.at)

    plan = planned(bench, room[:1], [[bench.candidate]], purpose=Purpose.PRACTICE)

    assert where(plan) == {str(bench.candidate): "VB-01"}


def replanned(plan, bench, *, rigs, present=None, from_slot=2, reason="VB-03: the fan stopped"):
    everybody = [each.candidate for each in plan.members.select_related("candidate")]
    return rotations.replan(
        plan=plan,
        from_slot=from_slot,
        rigs=rigs,
        present=everybody if present is None else present,
        reason=reason,
        by=bench.assessor,
        at=bench.at + timedelta(minutes=50),
    )


@pytest.fixture
def long_plan(bench, room, pairs) -> SessionPlan:
    """Two pairs, one rig: the second pair comes when the first has done its 35 minutes."""
    return planned(bench, room[:1], pairs[:2], slots=6, minutes=180)


def test_a_long_task_takes_two_slots_in_a_row(bench, long_plan, pairs):
    first, second = (str(pair[0]) for pair in pairs[:2])
    assert [sorted(where(long_plan, slot)) for slot in (1, 2)] == [sorted(map(str, pairs[0]))] * 2
    assert first in where(long_plan, 2) and second in where(long_plan, 3)


def test_what_was_done_stays_when_a_rig_is_out(bench, room, pairs):
    plan = planned(bench, room, pairs, slots=3)
    before = where(plan, 1)

    replanned(plan, bench, rigs=room[:2], from_slot=2)

    assert where(plan, 1) == before
    assert "VB-03" not in where(plan, 2).values()
    assert plan.changes.last().kind == ChangeKind.REPLANNED


def test_what_a_rig_interrupted_is_planned_again_on_another(bench, room, pairs):
    plan = planned(bench, room[:2], pairs[:1], slots=6)
    (tag,) = set(where(plan, 1).values())
    left = [rig for rig in room[:2] if rig.tag != tag]

    replanned(plan, bench, rigs=left, from_slot=2)

    assert set(where(plan, 1).values()) == {tag}  # that much was done
    assert set(where(plan, 2).values()) == set(where(plan, 3).values()) == {left[0].tag}


def test_a_rig_that_is_back_is_planned_with_again(bench, room, pairs):
    plan = planned(bench, room, pairs, slots=6)
    replanned(plan, bench, rigs=room[:1], from_slot=1)
    assert set(where(plan, 1).values()) == {"VB-01"}

    replanned(plan, bench, rigs=room, from_slot=1, reason="Mended")

    assert set(where(plan, 1).values()) == {"VB-01", "VB-02", "VB-03"}


def test_somebody_who_is_not_here_has_no_place(bench, room, pairs):
    plan = planned(bench, room, pairs)
    absent = pairs[0][0]
    here = [each for pair in pairs for each in pair if each != absent]

    replanned(plan, bench, rigs=room, present=here, from_slot=1, reason="Didn’t come")

    assert str(absent) not in where(plan)
    assert str(pairs[0][1]) in where(plan)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"reason": " "}, "reason"),
        ({"rigs": []}, "rigs"),
        ({"present": []}, "present"),
        ({"from_slot": 7}, "from_slot"),
    ],
)
def test_planning_again_says_why_and_leaves_something(bench, room, pairs, given, field):
    plan = planned(bench, room, pairs)
    with pytest.raises(Refused) as refused:
        replanned(plan, bench, **({"rigs": room} | given))
    assert refused.value.field == field


def swapped(plan, bench, first, second, *, slot=1, reason=""):
    return rotations.swap(
        plan=plan, slot=slot, first=first, second=second, reason=reason, by=bench.assessor, at=bench.at
    )


def test_two_teams_change_places(bench, room, pairs):
    plan = planned(bench, room, pairs)
    before = where(plan)

    swapped(plan, bench, 1, 2)

    after = where(plan)
    assert after[str(pairs[0][0])] == before[str(pairs[1][0])]
    assert after[str(pairs[1][1])] == before[str(pairs[0][1])]
    assert after[str(pairs[2][0])] == before[str(pairs[2][0])]
    assert rotation_inputs.places_of(plan)


def test_a_team_without_a_place_takes_anothers(bench, long_plan, pairs):
    swapped(long_plan, bench, 1, 2, reason="They came late")

    assert set(where(long_plan, 1)) == {str(each) for each in pairs[1]}


def test_changing_places_never_breaks_a_rule(bench, room, pairs):
    plan = planned(bench, room, pairs)
    here = where(plan)
    theirs = next(rig for rig in room if rig.tag == here[str(pairs[1][0])])
    disclosure.note_seen(person=pairs[0][0], rig=theirs, at=bench.at)

    with pytest.raises(Refused, match="can’t be assessed on"):
        swapped(plan, bench, 1, 2, reason="All the same")
    assert where(plan) == here


def test_what_is_merely_unwise_needs_a_reason(bench, room):
    other = made.another_candidate(bench)
    made.signed_off(bench, WRONG, decision=Decision.NOT_YET_COMPETENT)
    plan = planned(bench, room[:2], [[bench.candidate], [other]])
    assert where(plan)[str(bench.candidate)] == "VB-02"

    with pytest.raises(Refused, match="on this rig the last time") as refused:
        swapped(plan, bench, 1, 2)
    assert refused.value.field == "reason"
    swapped(plan, bench, 1, 2, reason="VB-02 is too far for the wheelchair")
    assert where(plan)[str(bench.candidate)] == "VB-01"


@pytest.mark.parametrize("who", [{"first": 1, "second": 1}, {"first": 1, "second": 9}, {"slot": 6}])
def test_there_must_be_two_to_change(bench, room, pairs, who):
    plan = planned(bench, room, pairs, slots=6, minutes=240)
    with pytest.raises(Refused):
        swapped(plan, bench, **({"first": 1, "second": 2} | who))


def test_the_table_says_what_is_past_and_what_is_now(bench, room, pairs):
    plan = planned(bench, room, pairs)
    table = rotation_table.table(plan, at=bench.at + timedelta(minutes=70))

    assert [row.when for row in table.rows] == [When.PAST, When.NOW, When.AHEAD]
    assert [each.tag for each in table.rigs] == ["VB-01", "VB-02", "VB-03"]
    assert {str(way.candidate) for way in table.ways} == {str(each) for pair in pairs for each in pair}


def test_the_table_says_why_a_task_has_no_place(bench, room, pairs):
    plan = planned(bench, room, pairs[:1], slots=1, minutes=30)

    (left,) = rotation_table.table(plan, at=bench.at).left

    assert left[2] == "a 35-minute task needs two slots of 26"


def test_a_candidate_finds_what_is_still_to_come(bench, room, pairs):
    plan = planned(bench, room, pairs)

    ((at, place),) = rotation_table.places_of(candidate=bench.candidate, at=bench.at)

    assert (at, place.rig.tag) == (plan.starts_at, where(plan)[str(bench.candidate)])
    assert rotation_table.places_of(candidate=bench.candidate, at=bench.at + timedelta(minutes=70)) == []


def test_a_larger_plan_asks_no_more_of_the_database(bench, room):
    asked = []
    for number, count in enumerate((2, 6)):
        people = [[made.another_candidate(bench)] for _ in range(count)]
        plan = planned(bench, room, people, starts_at=bench.at + timedelta(days=number))
        with CaptureQueriesContext(connection) as queries:
            rotation_table.table(plan, at=bench.at)
        asked.append(len(queries))
    assert asked[0] == asked[1]
