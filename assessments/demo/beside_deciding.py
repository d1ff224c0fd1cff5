"""What stands beside the decisions: somebody in training, a void and a returned attempt, an appeal, rules."""

from collections.abc import Iterator
from datetime import time

from assessments import (
    adjustments,
    appeals,
    conflicts,
    countersigning,
    outcomes,
    prompts,
    resits,
    returns,
    scopes,
    voids,
)
from assessments.demo.boards import FIRST_WEEK
from assessments.demo.playing import Story
from assessments.demo.stories import World
from assessments.demo.timetable import When
from assessments.models import Attempt, SignOff
from assessments.models.attempts import AttemptStatus
from assessments.models.decisions import Decision
from assessments.models.prompts import PromptLevel
from assessments.models.returns import VoidCause
from assessments.models.rights import ConflictKind

TRAINEE, QUALIFIED, MANAGER = "A-3", "A-1", "M-1"
RESITS = ("safe-isolation", "two-terminal-switch-test", "three-terminal-switch-test")


def beside_deciding(world: World) -> Iterator[Story]:
    """Each a story of its own."""
    yield _rights(world)
    yield _countersigned(world)
    yield _void(world)
    yield _returned(world)
    yield _appealed(world)


def _rights(world: World) -> Story:
    """Before the first decision: who is in training; later who is kept apart, and what was agreed."""
    people, manager = world.stock.people, world.stock.people[MANAGER]
    at = world.timetable.at(When(week=FIRST_WEEK + 1, day="Mon", clock=time(8, 5)))
    yield at
    today = world.stock.centre.date_at(at)
    scopes.record(
        assessor=people[TRAINEE],
        tasks=None,
        in_training=True,
        starts_on=today,
        ends_on=None,
        by=manager,
        at=at,
    )
    conflicts.declare(
        person=people["A-2"],
        candidate=people["C-29"],
        kind=ConflictKind.RELATIVE,
        words="",
        starts_on=today,
        ends_on=None,
        by=manager,
        at=at,
    )
    at = world.timetable.at(When(week=-4, day="Mon", clock=time(8, 20)))
    yield at
    adjustments.agree(
        candidate=people["C-28"],
        what="Instructions read out, and larger text",
        extra_percent=25,
        starts_on=world.stock.centre.date_at(at),
        ends_on=None,
        by=manager,
        at=at,
    )
    at = world.timetable.at(When(working_days_ago=1, clock=time(16, 20)))
    yield at
    for task in RESITS:
        resits.set_rule(
            task=world.stock.task(task),
            wait_days=0,
            not_same_day=True,
            other_rig=False,
            most_attempts=3,
            by=manager,
            at=at,
        )


def _countersigned(world: World) -> Story:
    """The oldest of the trainee's decisions, on the Monday after."""
    at = world.timetable.at(When(week=-1, day="Mon", clock=time(8, 40)))
    yield at
    made = SignOff.objects.newest().filter(assessor__name=TRAINEE, attempt__status=AttemptStatus.COUNTERSIGN)
    first = made.order_by("at").first()
    if first is not None:
        note = "Seen at the bench in part; the feedback says what to do next."
        by = world.stock.people[QUALIFIED]
        countersigning.agree(signed=first, by=by, note=note, confirmed_at=at, at=at)


def _void(world: World) -> Story:
    at = world.timetable.at(When(working_days_ago=3, clock=time(12, 30)))
    yield at
    voids.make_void(
        attempt=_waiting("C-25"),
        cause=VoidCause.INSTRUMENT,
        reason="The proving unit's lamp failed between the two proofs.",
        words="The proving unit failed, which isn't your doing. You can do the task again.",
        by=world.stock.people[QUALIFIED],
        at=at,
    )


def _returned(world: World) -> Story:
    at = world.timetable.at(When(working_days_ago=2, clock=time(15, 10)))
    yield at
    attempt, assessor = _waiting("C-26"), world.stock.people[QUALIFIED]
    prompts.give(
        attempt=attempt,
        step=None,
        level=PromptLevel.CLARIFIED,
        words="Asked which pairs; told that the sheet lists them.",
        by=assessor,
        at=at,
    )
    returns.give_back(
        attempt=attempt,
        outcome=outcomes.latest(attempt),
        steps=list(attempt.version.steps.filter(kind="photo")),
        words="The label on the lock can't be read in your photo. Take it once more, closer.",
        assessor=assessor,
        at=at,
    )


def _appealed(world: World) -> Story:
    """Against the newest not yet competent that can be appealed against. Nobody has answered it."""
    at = world.timetable.at(When(working_days_ago=1, clock=time(15, 40)))
    yield at
    refused = SignOff.objects.current().filter(
        attempt__purpose="assessment", decision=Decision.NOT_YET_COMPETENT, suspensions=None
    )
    signed = refused.select_related("attempt__rig__centre", "attempt__candidate", "outcome").first()
    if signed is not None and appeals.why_not(signed=signed, at=at) is None:
        appeals.open_appeal(
            signed=signed,
            grounds="I did do that step, before the bell rang. Please look at the times once more.",
            by=signed.attempt.candidate,
            at=at,
        )


def _waiting(candidate: str) -> Attempt:
    """The newest safe isolation of that candidate which nobody has decided on."""
    handed_in = Attempt.objects.filter(status=AttemptStatus.SUBMITTED, candidate__name=candidate)
    return handed_in.filter(version__task__slug="safe-isolation").latest("started_at")
