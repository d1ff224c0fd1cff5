"""Coverage: what shows a criterion, and what is still missing."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from assessments.coverage import Coverage, CoveredCriterion, Evidence
from assessments.models import Criterion
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories.portfolios import FAILED, contents

pytestmark = pytest.mark.django_db


def coverage_of(bench) -> Coverage:
    return contents(bench).coverage


def shown_by(bench, code: str) -> list[int | None]:
    (criterion,) = (each for each in coverage_of(bench).criteria if each.code == code)
    return [each.number for each in criterion.evidence]


def test_a_competent_assessment_shows_its_tasks_criteria(bench):
    assert {each.code for each in coverage_of(bench).missing} == {"S2", "M2", "M3", "D1"}

    made.signed_off(bench)

    assert shown_by(bench, "M2") == [1]
    assert {each.code for each in coverage_of(bench).missing} == {"S2"}


def test_one_attempt_more_on_the_same_day_leaves_out_what_asks_for_another(bench):
    made.signed_off(bench)

    (criterion,) = coverage_of(bench).missing

    assert (criterion.code, criterion.has) == ("S2", "two attempts on two rigs and one day")
    assert criterion.lacks == "one more attempt, on another day"


def test_what_was_achieved_before_counts_under_its_own_name(bench):
    assert shown_by(bench, "S2") == [None]
    (criterion,) = (each for each in coverage_of(bench).criteria if each.code == "S2")
    assert criterion.evidence[0].label == "Achieved before: Safe isolation"


def test_not_yet_competent_shows_nothing(bench):
    made.signed_off(bench, FAILED, decision=Decision.NOT_YET_COMPETENT)

    assert shown_by(bench, "M2") == []


def test_practice_shows_nothing(bench):
    made.signed_off(bench, purpose=Purpose.PRACTICE)

    assert shown_by(bench, "M2") == []


def test_what_is_missing_names_the_tasks_that_can_show_it(bench):
    (criterion,) = (each for each in coverage_of(bench).missing if each.code == "M2")

    assert criterion.shown_by == ("Two-terminal air pressure switch test",)


def test_units_keep_the_order_of_the_criteria(bench):
    assert [unit.unit for unit in coverage_of(bench).units] == ["Working safely", "Measuring", "Diagnosing"]


def evidence(rig: str, day: int, number: int | None = 1) -> Evidence:
    on = date(2026, 3, day)
    return Evidence(number=number, label="", on=on, day=on, rig=rig)


def criterion(*found: Evidence, attempts: int = 2, rigs: int = 2, days: int = 2) -> CoveredCriterion:
    return CoveredCriterion(
        code="S2",
        text="Isolates",
        evidence=found,
        shown_by=(),
        least_attempts=attempts,
        least_rigs=rigs,
        least_days=days,
    )


@pytest.mark.parametrize(
    ("found", "lacks"),
    [
        ((), "two attempts on two rigs and two days at the least"),
        ((evidence("SI-01", 2),), "one more attempt, on another rig and on another day"),
        ((evidence("SI-01", 2), evidence("SI-01", 3)), "one more attempt, on another rig"),
        ((evidence("SI-01", 2), evidence("SI-02", 2)), "one more attempt, on another day"),
        ((evidence("SI-01", 2), evidence("SI-02", 3)), ""),
        ((evidence("", 2, None), evidence("SI-02", 3)), ""),
        ((evidence("", 2, None), evidence("", 3, None)), ""),
    ],
)
def test_a_criterion_is_covered_once_it_has_the_attempts_rigs_and_days_that_it_asks_for(found, lacks):
    assert criterion(*found).lacks == lacks
    assert criterion(*found).is_covered == (not lacks)


def test_a_criterion_that_asks_for_nothing_more_is_covered_by_one_attempt():
    assert criterion(evidence("SI-01", 2), attempts=1, rigs=1, days=1).is_covered
    assert criterion(attempts=1, rigs=1, days=1).lacks == "one attempt"
    assert criterion(attempts=1, rigs=1, days=1).asks == ""


def test_what_there_is_is_counted_by_attempts_rigs_and_days():
    found = criterion(evidence("SI-01", 2), evidence("SI-01", 3), evidence("", 3, None))

    assert found.has == "three attempts on two rigs and two days"


@pytest.mark.parametrize("least", [{"least_attempts": 0}, {"least_rigs": 2}, {"least_days": 3}])
def test_a_criterion_that_asks_for_the_impossible_is_refused_by_the_database(bench, least):
    with pytest.raises(IntegrityError), transaction.atomic():
        Criterion.objects.filter(code="M2").update(**least)
