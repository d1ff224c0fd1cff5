"""A session at work: a rotation that was changed, somebody watched and asked, a call, a stop that is over."""

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

from assessments import help_calls, observing, questions, rotations, stops
from assessments.models import Attempt, OralAnswer, QuestionSet, SessionPlan
from assessments.models.attempts import Purpose
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST, Bench

ASKED = (
    {
        "key": "why-prove",
        "question": "Why is the indicator proved once more?",
        "points": ["It may have failed during the test."],
        "safety": True,
    },
    {"key": "tone", "question": "Is a tone enough?", "points": ["No: it sounds far too long."]},
)


def rotation(bench: Bench, *, at: datetime, slots: int = 3) -> SessionPlan:
    """Two candidates one by one on the bench's rig, for practice."""
    people = [bench.candidate, made.another_candidate(bench)]
    wanted = rotations.Wanted(
        starts_at=at,
        minutes=30 * slots,
        slots=slots,
        change_over=4,
        per_assessor=6,
        purpose=Purpose.PRACTICE,
        rigs=[bench.rig],
        teams=[[each] for each in people],
        tasks=[bench.tasks[SWITCH_TEST].task],
        alone=[],
        assessors=[bench.assessor],
    )
    return rotations.plan(centre=bench.centre, wanted=wanted, by=bench.manager, at=at)


def with_questions(bench: Bench) -> QuestionSet:
    return questions.issue(task=bench.tasks[SWITCH_TEST].task, content=ASKED, by=bench.manager, at=bench.at)


def watched(bench: Bench, attempt: Attempt, *, at: datetime) -> OralAnswer:
    """One step seen as met, one as not met with help, and a question asked."""
    with_questions(bench)
    for slug, seen, note, level in (
        ("isolate", "met", "", 0),
        ("prove-before", "not-met", "Not proved at first", 2),
    ):
        observing.observe(
            id=uuid4(),
            attempt=attempt,
            step=attempt.version.steps.get(slug=slug),
            seen=seen,
            note=note,
            level=level,
            words="What comes first?" if level else "",
            by=bench.assessor,
            at=at,
        )
    return observing.record_answer(
        id=uuid4(),
        attempt=attempt,
        key="why-prove",
        answer="Because it may have died.",
        met=True,
        by=bench.assessor,
        at=at,
    )


def running(bench: Bench, *, attempt: Attempt, at: datetime) -> dict[str, Any]:
    """What a busy centre has of a session, by what the addresses are about."""
    watched(bench, attempt, at=at)
    stopped = stops.stop(centre=bench.centre, reason="Smell of gas", by=bench.technician, at=at)
    stops.resume(stop=stopped, words="A joint was tightened, tested sound.", by=bench.assessor, at=at)
    plan = rotation(bench, at=at - timedelta(minutes=10))
    rotations.replan(
        plan=plan,
        from_slot=2,
        rigs=[bench.rig],
        present=[bench.candidate],
        reason="One has gone home",
        by=bench.assessor,
        at=at,
    )
    call = help_calls.ask(attempt=attempt, step=None, candidate=attempt.candidate, at=at)
    return {
        "call": call,
        "stop": stopped,
        "rotation": plan,
        "question": SimpleNamespace(pk="why-prove"),
        "question-unasked": SimpleNamespace(pk="tone"),
    }
