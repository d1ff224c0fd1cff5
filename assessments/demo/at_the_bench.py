"""A session as it runs: an attempt that an assessor watched, today's rotation, and somebody who asks."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from academy.models import Membership, Person
from assessments import help_calls, observing, questions, rotations
from assessments.demo.playing import Story
from assessments.demo.stories import World, id_for
from assessments.demo.timetable import When
from assessments.models import Attempt
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.observations import Seen
from rigs.models import Hold, Rig

ASSESSOR, WATCHED, ASKS = "A-1", "C-21", "C-12"
SEEN_AT = When(working_days_ago=1, clock=time(11, 5))
NOT_DONE = "isolate-restrictor"
ANSWERS = (
    "It shows that air moves. Bridged, the burner would run without.",
    "It is stuck or wired wrongly, and says air when there is none.",
    "It beeps far above an ohm.",
)
TOGETHER, RIGS, SLOTS, MINUTES, CHANGE_OVER, PER_ASSESSOR = 2, 3, 6, 180, 4, 6


def watched(world: World) -> Story:
    """Beside an attempt that waits for its decision: every step that must be safe, and the questions."""
    at, by = world.timetable.at(SEEN_AT), world.stock.people[ASSESSOR]
    yield at
    attempt = Attempt.objects.filter(
        candidate__name=WATCHED, version__task__slug="two-terminal-switch-test"
    ).latest("started_at")
    for step in attempt.version.steps.filter(safety_critical=True).order_by("position"):
        missed = step.slug == NOT_DONE
        observing.observe(
            id=id_for(WATCHED, "seen", step.slug),
            attempt=attempt,
            step=step,
            seen=Seen.NOT_MET if missed else Seen.MET,
            note="Reached for the restrictor with the fan supplied; stopped in time." if missed else "",
            by=by,
            at=at,
        )
    yield from _asked(attempt, by=by, at=at + timedelta(minutes=4))


def _asked(attempt: Attempt, *, by: Person, at: datetime) -> Iterator[datetime]:
    found = questions.of_attempt(attempt)
    for question, answer in zip(found.content if found else (), ANSWERS, strict=False):
        yield at
        observing.record_answer(
            id=id_for(WATCHED, "asked", question["key"]),
            attempt=attempt,
            key=question["key"],
            answer=answer,
            met=True,
            by=by,
            at=at,
        )
        at += timedelta(minutes=1)


def running(world: World, *, begun: datetime, asked: datetime) -> Iterator[Story]:
    """Today's session: its rotation from when it began, and a call shortly before now."""
    yield _rotation(world, at=begun)
    yield _call(world, at=asked)


def _rotation(world: World, *, at: datetime) -> Story:
    """Pairs of the cohort of whoever is at work today, on the first rigs that can be used."""
    yield at
    stock = world.stock
    mine = stock.people[ASKS].memberships.values("cohort")
    members = Membership.objects.filter(cohort__in=mine).select_related("person").order_by("person__name")
    people = list(dict.fromkeys(each.person for each in members))[: TOGETHER * RIGS]
    usable = Rig.objects.filter(centre=stock.centre, design__slug="two-terminal-switch-rig").in_use()
    rotations.plan(
        centre=stock.centre,
        wanted=rotations.Wanted(
            starts_at=at,
            minutes=MINUTES,
            slots=SLOTS,
            change_over=CHANGE_OVER,
            per_assessor=PER_ASSESSOR,
            purpose=Purpose.PRACTICE,
            rigs=list(
                usable.exclude(
                    pk__in=Hold.objects.open().filter(rig__centre=stock.centre).values("rig")
                ).order_by("tag")[:RIGS]
            ),
            teams=[people[first : first + TOGETHER] for first in range(0, len(people), TOGETHER)],
            tasks=[stock.task(slug) for slug in ("two-terminal-switch-test", "tube-polarity")],
            alone=[],
            assessors=[stock.people[ASSESSOR], stock.people["A-2"]],
        ),
        by=stock.people[ASSESSOR],
        at=at,
    )


def _call(world: World, *, at: datetime) -> Story:
    """Whoever is at work asks for the assessor, at the step after the last one logged."""
    yield at
    attempt = Attempt.objects.of(world.stock.people[ASKS]).filter(status=AttemptStatus.OPEN).first()
    if attempt is not None:
        help_calls.ask(attempt=attempt, step=None, candidate=attempt.candidate, at=at)
