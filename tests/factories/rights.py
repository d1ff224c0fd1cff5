"""What stands beside decisions: returned, void, provisional, appealed against; scopes, conflicts, rules."""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from academy.models import Person
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
    signoff,
)
from assessments.models import (
    Adjustment,
    Appeal,
    AssessorScope,
    Attempt,
    AttemptReturn,
    ConflictOfInterest,
    Countersignature,
    Prompt,
    ResitLeave,
    ResitRule,
    SignOff,
    Step,
    Task,
)
from assessments.models.decisions import Decision
from assessments.models.prompts import PromptLevel
from assessments.models.rights import ConflictKind
from tests.factories import assessments as made
from tests.factories.academy import DAY, AssessorFactory
from tests.factories.assessments import SWITCH_TEST, Bench

MINUTE = timedelta(minutes=1)


def assessor_in_training(bench: Bench, *, tasks: Collection[Task] | None = None) -> Person:
    """One more assessor, whose decisions are provisional, on every task unless some are named."""
    person: Person = AssessorFactory(by=bench.manager)
    scope(bench, person, tasks=tasks, in_training=True)
    return person


def scope(
    bench: Bench, assessor: Person, *, tasks: Collection[Task] | None = None, in_training: bool = False
) -> AssessorScope:
    return scopes.record(
        assessor=assessor,
        tasks=tasks,
        in_training=in_training,
        starts_on=DAY,
        ends_on=None,
        by=bench.manager,
        at=bench.at,
    )


def conflict(bench: Bench, person: Person, candidate: Person) -> ConflictOfInterest:
    return conflicts.declare(
        person=person,
        candidate=candidate,
        kind=ConflictKind.RELATIVE,
        words="Cousins",
        starts_on=DAY,
        ends_on=None,
        by=bench.manager,
        at=bench.at,
    )


def adjustment(bench: Bench, candidate: Person, *, extra_percent: int = 25) -> Adjustment:
    return adjustments.agree(
        candidate=candidate,
        what="Instructions read out",
        extra_percent=extra_percent,
        starts_on=DAY,
        ends_on=None,
        by=bench.manager,
        at=bench.at,
    )


def rule(bench: Bench, task: Task | None = None, **values: Any) -> ResitRule:
    asked = {"wait_days": 0, "not_same_day": False, "other_rig": False, "most_attempts": None, **values}
    return resits.set_rule(task=task or bench.tasks[SWITCH_TEST].task, **asked, by=bench.manager, at=bench.at)


def leave(bench: Bench, candidate: Person, *, at: datetime | None = None) -> ResitLeave:
    return resits.give_leave(
        candidate=candidate,
        task=bench.tasks[SWITCH_TEST].task,
        reason="Was ill during the last one.",
        by=bench.manager,
        at=at or bench.at,
    )


def decided(
    attempt: Attempt,
    *,
    by: Person,
    decision: Decision = Decision.COMPETENT,
    reason: str = "",
    at: datetime | None = None,
) -> SignOff:
    """A decision of that assessor, a minute after handing in, with a reason where one is needed."""
    outcome = outcomes.latest(attempt)
    marking = outcomes.marking_of(outcome)
    assert attempt.submitted_at is not None
    needed = signoff.reason_needed(marking, decision)
    when = at or attempt.submitted_at + MINUTE
    return signoff.sign_off(
        attempt=attempt,
        outcome=outcome,
        assessor=by,
        decision=decision,
        feedback="Careful work.",
        reason=reason or ("Watched throughout." if needed else ""),
        judged=made.judged_as(decision, marking=marking),
        confirmed_at=when,
        at=when,
    )


def reading_step(attempt: Attempt) -> Step:
    """A step that compares a reading with the rig."""
    step = attempt.version.steps.filter(kind="reading", judged_by="agrees").first()
    assert step is not None
    return step


def given_back(
    bench: Bench,
    attempt: Attempt,
    *,
    steps: Collection[Step] | None = None,
    words: str = "Let it settle before you read it.",
    at: datetime | None = None,
) -> AttemptReturn:
    assert attempt.submitted_at is not None
    return returns.give_back(
        attempt=attempt,
        outcome=outcomes.latest(attempt),
        steps=[reading_step(attempt)] if steps is None else steps,
        words=words,
        assessor=bench.assessor,
        at=at or attempt.submitted_at + MINUTE,
    )


def prompted(
    bench: Bench, attempt: Attempt, level: int = PromptLevel.HINTED, *, at: datetime | None = None
) -> Prompt:
    return prompts.give(
        attempt=attempt,
        step=reading_step(attempt),
        level=level,
        words="Look at the zero again.",
        by=bench.assessor,
        at=at or attempt.started_at + MINUTE,
    )


def appealed(signed: SignOff, *, by: Person | None = None, at: datetime | None = None) -> Appeal:
    return appeals.open_appeal(
        signed=signed,
        grounds="I did show the zero before the reading.",
        by=by or signed.attempt.candidate,
        at=at or signed.at + MINUTE,
    )


def beside_decisions(
    bench: Bench, *, decided_on: Attempt, to_return: Attempt, at: datetime
) -> dict[str, Any]:
    """One of each, of a centre where work goes on."""
    other = made.another_candidate(bench)
    attempt = made.handed_in(bench, candidate=other, at=at - timedelta(minutes=40))
    prompted(bench, attempt)
    trainee = assessor_in_training(bench)
    provisional = decided(attempt, by=trainee, reason="Put right by themselves at once.")
    signed = decided_on.sign_offs.get()
    return {
        "returned": given_back(bench, to_return, at=at).attempt,
        "provisional": provisional,
        "appeal": appealed(signed, at=at),
        "scope": trainee.scopes.get(),
        "conflict": conflict(bench, trainee, bench.candidate),
        "adjustment": adjustment(bench, bench.candidate),
        "task": rule(bench, other_rig=True).task,
        "leave": leave(bench, other, at=at),
    }


def countersigned(signed: SignOff, *, by: Person) -> Countersignature:
    at = signed.at + MINUTE
    return countersigning.agree(signed=signed, by=by, note="", confirmed_at=at, at=at)
