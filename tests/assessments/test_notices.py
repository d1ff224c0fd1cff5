"""What waits of people's attempts, and whom it is told."""

from datetime import timedelta

import pytest

from academy.models import Role
from academy.notices import notices_for
from tests.factories import assessments as made
from tests.factories.academy import person_with

pytestmark = pytest.mark.django_db


def told(person, *, at):
    return [notice.text for notice in notices_for(person=person, at=at)]


def test_a_candidate_is_told_to_carry_on_with_what_is_begun_until_it_is_handed_in(bench):
    attempt = made.started(bench)
    later = bench.at + timedelta(hours=1)
    assert told(bench.candidate, at=later) == ["Carry on with Two-terminal air pressure switch test on VB-01"]
    assert not any("Carry on" in text for text in told(bench.assessor, at=later))
    last = made.work_through(attempt)
    made.attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=last)
    assert told(bench.candidate, at=last) == []


def test_an_assessor_is_told_how_many_wait_and_since_when(bench):
    first = made.handed_in(bench)
    assert "1 attempt waits for a decision" in told(bench.assessor, at=bench.at + timedelta(days=3))
    made.handed_in(bench, candidate=made.another_candidate(bench), at=bench.at + timedelta(hours=1))
    found = notices_for(person=bench.assessor, at=bench.at + timedelta(days=3))
    (notice,) = [each for each in found if "decision" in each.text]
    assert notice.text == "2 attempts wait for a decision"
    assert notice.on == first.submitted_at.date()


@pytest.mark.parametrize("kind", [Role.Kind.CANDIDATE, Role.Kind.TECHNICIAN, Role.Kind.VERIFIER])
def test_nobody_else_is_told_of_decisions(bench, kind):
    made.handed_in(bench)
    other = person_with(kind, by=bench.manager)
    assert not any("decision" in text for text in told(other, at=bench.at + timedelta(days=1)))
