"""Two standardisation exercises: one that was compared and ruled on, and one that waits for its assessors."""

from datetime import datetime, time, timedelta

from django.db.models import QuerySet

from assessments import exercises
from assessments.demo.playing import Story
from assessments.demo.stories import World
from assessments.demo.timetable import When
from assessments.models import ConflictOfInterest, Exercise, ExerciseItem, SignOff
from assessments.models.decisions import Decision, Proposal

OPENS, DECIDES = When(week=-2, day="Wed", clock=time(16, 10)), When(week=-2, day="Thu", clock=time(16, 20))
CLOSES, AGAIN = When(week=-2, day="Fri", clock=time(15, 30)), When(week=-1, day="Fri", clock=time(16, 00))
BY, ASSESSORS = "Q-1", ("A-1", "A-2")
ATTEMPTS, FEWER = 10, 6
A_WEEK, A_MONTH = timedelta(days=7), timedelta(days=28)
REASONS = {
    Decision.COMPETENT: "In order, and every reading as the rig stands; the borderline one was repeated.",
    Decision.NOT_YET_COMPETENT: "What is out of order or near its limit isn’t made up for by the rest.",
}
RULING = (
    "A reading on the edge that was repeated and settled is competent; one that wasn’t repeated is sent back "
    "for one more reading first."
)


def exercises_of_the_centre(world: World) -> Story:
    """The first assessor is lenient where the marking leaves it to them, the second is strict."""
    verifier, timetable = world.stock.people[BY], world.timetable
    at = timetable.at(OPENS)
    yield at
    first = _open(world, "Borderline readings", attempts=ATTEMPTS, weeks=A_WEEK, when=OPENS)
    at = timetable.at(DECIDES)
    for name, leaves_to_them in zip(ASSESSORS, Decision, strict=True):
        for item in first.items.select_related("outcome"):
            at += timedelta(minutes=4)
            yield at
            _decide(world, item, name=name, leaves_to_them=leaves_to_them, at=at)
    at = timetable.at(CLOSES)
    yield at
    exercises.close(exercise=first, by=verifier, at=at)
    left = first.items.filter(outcome__proposal=Proposal.ASSESSOR).first()
    if left is not None:
        criterion = left.attempt.version.criteria.first()
        exercises.rule(item=left, text=RULING, criterion=criterion, by=verifier, at=at)
    yield timetable.at(AGAIN)
    _open(world, "Safety-critical steps", attempts=FEWER, weeks=A_MONTH, when=AGAIN)


def _open(world: World, title: str, *, attempts: int, weeks: timedelta, when: When) -> Exercise:
    at, centre = world.timetable.at(when), world.stock.centre
    people = {name: world.stock.people[name] for name in (BY, *ASSESSORS)}
    apart = ConflictOfInterest.objects.in_force(on=centre.date_at(at)).filter(person__in=people.values())
    decided = exercises.eligible(centre=centre).exclude(attempt__candidate__in=apart.values("candidate"))
    return exercises.open_exercise(
        centre=centre,
        title=title,
        sign_offs=_some(decided, attempts),
        assessors=[people[name] for name in ASSESSORS],
        due_on=centre.date_at(at + weeks),
        by=people[BY],
        at=at,
    )


def _some(decided: QuerySet[SignOff], count: int) -> list[SignOff]:
    """The newest, half of them not yet competent where there are so many."""
    refused = list(decided.filter(decision=Decision.NOT_YET_COMPETENT)[: count // 2])
    others = decided.exclude(pk__in=[each.pk for each in refused])
    return [*refused, *others[: count - len(refused)]]


def _decide(world: World, item: ExerciseItem, *, name: str, leaves_to_them: Decision, at: datetime) -> None:
    left = item.outcome.proposal == Proposal.ASSESSOR
    decision = leaves_to_them if left else Decision(item.outcome.proposal)
    exercises.decide(
        item=item,
        assessor=world.stock.people[name],
        decision=decision,
        reason=REASONS[decision],
        at=at,
    )
