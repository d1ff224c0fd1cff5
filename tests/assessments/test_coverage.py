"""Coverage: what shows a criterion, and what is still missing."""

import pytest

from assessments.coverage import Coverage
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
    assert {each.code for each in coverage_of(bench).missing} == {"M2", "M3", "D1"}

    made.signed_off(bench)

    assert shown_by(bench, "M2") == [1]
    assert coverage_of(bench).missing == ()


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
