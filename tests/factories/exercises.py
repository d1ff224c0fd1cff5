"""Standardisation exercises at a bench: one that is open, and one that was compared."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from academy.models import Person, Role
from assessments import exercises
from assessments.models import Attempt, Exercise, SignOff
from assessments.models.decisions import Decision
from tests.factories.academy import person_with
from tests.factories.assessments import Bench


def both(bench: Bench, *, of: Sequence[Attempt], by: Person, at: datetime) -> dict[str, Any]:
    """The bench's assessor has decided on one of the open one's attempts, and was away from the other."""
    second, third = (person_with(Role.Kind.ASSESSOR, by=bench.manager) for _ in range(2))
    closed = _opened(bench, "Winter", of=of, assessors=[bench.assessor, second, third], by=by, at=at)
    for item in closed.items.all():
        for person, decision in ((second, Decision.COMPETENT), (third, Decision.NOT_YET_COMPETENT)):
            _decide(item, person, decision, at=at)
    exercises.close(exercise=closed, by=by, at=at)
    first = closed.items.all()[0]
    criterion = first.attempt.version.criteria.all()[0]
    exercises.rule(item=first, text="As a rule, not yet.", criterion=criterion, by=by, at=at)
    begun = _opened(bench, "Spring", of=of, assessors=[bench.assessor, second], by=by, at=at)
    done, left = begun.items.all()
    _decide(done, bench.assessor, Decision.COMPETENT, at=at)
    return {
        "exercise": begun,
        "exercise-item": left,
        "exercise-item-done": done,
        "exercise-closed": closed,
        "exercise-closed-item": first,
    }


def _opened(
    bench: Bench, title: str, *, of: Sequence[Attempt], assessors: list[Person], by: Person, at: datetime
) -> Exercise:
    return exercises.open_exercise(
        centre=bench.centre,
        title=title,
        sign_offs=SignOff.objects.filter(attempt__in=of),
        assessors=assessors,
        due_on=at.date() + timedelta(days=7),
        by=by,
        at=at,
    )


def _decide(item: Any, assessor: Person, decision: Decision, *, at: datetime) -> None:
    exercises.decide(item=item, assessor=assessor, decision=decision, reason="As it is logged.", at=at)
