"""A bench for finding faults: the task of the fixtures without its dead tests, and attempts at it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from academy.models import Person
from assessments import attempts, catalogue, evidence, faults, outcomes, signoff
from assessments.models import Attempt, Reading, SignOff, Step
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from rigs.metrology.quantities import UNITS, Quantity
from rigs.metrology.readings import TypedReading, parse
from rigs.models import Fault, FaultSetting
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.assessments import STEP_TAKES, Bench, judged_as

FAULT_FINDING = "fault-finding-two-terminal"
KEPT = ("look", "isolate", "measure", "diagnosis", "conclusion")
MINUTE = timedelta(minutes=1)
TUBES_CROSSED = (
    ("leads-together/fan-off", "0.2"),
    ("contacts/fan-off", "OL"),
    ("taps/fan-running", "1.58"),
    ("ports/fan-running", "-1.57"),
    ("contacts/fan-running", "OL"),
)
HEALTHY = (
    ("leads-together/fan-off", "0.2"),
    ("contacts/fan-off", "OL"),
    ("taps/fan-running", "1.58"),
    ("ports/fan-running", "1.57"),
    ("contacts/fan-running", "0.4"),
)


def task_data(**changes: Any) -> dict[str, Any]:
    """The task as it is issued for the two-terminal rig, with few steps and without prerequisites."""
    data = made.data_for(FAULT_FINDING, design=rigs.TWO_TERMINAL)
    steps = [step for step in data["steps"] if step["slug"] in KEPT]
    return data | {"steps": steps, "requires": [], "cautions": data["cautions"][:1]} | changes


def bench(*, fault: str = "", practice_only: bool = False, **given: Any) -> Bench:
    """As `ready_bench`, with the task of finding faults issued too, and perhaps a fault set."""
    found = with_task(made.ready_bench(**given))
    if fault:
        set_fault(found, fault, practice_only=practice_only)
    return found


def with_task(ready: Bench) -> Bench:
    data = task_data()
    made.load_criteria(data["criteria"], by=ready.manager)
    version = catalogue.issue(centre=ready.centre, data=data, by=ready.manager, at=ready.at)
    return replace(ready, tasks={**ready.tasks, FAULT_FINDING: version})


def set_fault(
    on: Bench, slug: str, *, practice_only: bool = False, at: datetime | None = None
) -> FaultSetting:
    return faults.set_fault(
        rig=on.rig,
        fault=Fault.objects.get(design=on.rig.design, slug=slug),
        by=on.assessor,
        practice_only=practice_only,
        at=at or on.at,
    )


def started(
    on: Bench,
    *,
    candidate: Person | None = None,
    purpose: Purpose = Purpose.ASSESSMENT,
    at: datetime | None = None,
) -> Attempt:
    return made.started(on, candidate=candidate, task=FAULT_FINDING, purpose=purpose, at=at or on.at + MINUTE)


def step(attempt: Attempt, slug: str) -> Step:
    return attempt.version.steps.select_related("version").get(slug=slug)


def typed(text: str, *, quantity: Quantity) -> TypedReading:
    return parse(text, quantity=quantity, unit=UNITS[quantity][0])


def measure(
    attempt: Attempt,
    key: str,
    text: str,
    *,
    at: datetime | None = None,
    corrects: Reading | None = None,
    reason: str = "",
    why: str = "",
    **given: Any,
) -> Reading:
    """Log a reading at “test point/condition”, in the usual unit."""
    slug, condition = key.split("/")
    design = attempt.version.design
    point = design.test_points.get(slug=slug)
    return evidence.log_measurement(
        **{
            "attempt": attempt,
            "step": step(attempt, "measure"),
            "test_point": point,
            "condition": design.conditions.get(slug=condition),
            "typed": typed(text, quantity=Quantity(point.quantity)),
            "why": why,
            "corrects": corrects,
            "sent": evidence.Sent(id=uuid4(), reason=reason),
            "candidate": attempt.candidate,
            "at": at or attempt.started_at + MINUTE,
        }
        | given
    )


def take_back(attempt: Attempt, reading: Reading, *, reason: str = "Wrong rig") -> Reading:
    return evidence.take_back_reading(
        attempt=attempt,
        reading=reading,
        sent=evidence.Sent(id=uuid4(), reason=reason),
        candidate=attempt.candidate,
        at=attempt.started_at + MINUTE,
    )


def answer(
    attempt: Attempt, slug: str, value: str = "", *, note: str = "", at: datetime | None = None
) -> None:
    evidence.log_step(
        attempt=attempt,
        step=step(attempt, slug),
        answer=value,
        note=note or ("From my own readings." if value else ""),
        sent=evidence.Sent(id=uuid4()),
        candidate=attempt.candidate,
        at=at or attempt.started_at + MINUTE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a candidate measures, states and concludes."""

    readings: Sequence[tuple[str, str]] = TUBES_CROSSED
    stated: str = "tubes-crossed"
    concluded: str = "elsewhere"


ALL_WELL = Found()


def handed_in(
    on: Bench,
    found: Found = ALL_WELL,
    *,
    candidate: Person | None = None,
    purpose: Purpose = Purpose.ASSESSMENT,
    at: datetime | None = None,
) -> Attempt:
    attempt = started(on, candidate=candidate, purpose=purpose, at=at)
    now = attempt.started_at
    for slug in ("look", "isolate"):
        now += MINUTE
        answer(attempt, slug, at=now)
    for key, text in found.readings:
        now += MINUTE
        measure(attempt, key, text, at=now)
    for slug, value in (("diagnosis", found.stated), ("conclusion", found.concluded)):
        now += MINUTE
        answer(attempt, slug, value, at=now)
    return attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=now + MINUTE)


def signed_off(
    on: Bench,
    found: Found = ALL_WELL,
    *,
    decision: Decision = Decision.COMPETENT,
    purpose: Purpose = Purpose.ASSESSMENT,
) -> SignOff:
    attempt = handed_in(on, found, purpose=purpose)
    outcome = outcomes.latest(attempt)
    marking = outcomes.marking_of(outcome)
    needed = signoff.reason_needed(marking, decision)
    assert attempt.submitted_at is not None
    return signoff.sign_off(
        attempt=attempt,
        outcome=outcome,
        assessor=on.assessor,
        decision=decision,
        feedback="Every test had its reason.",
        reason="Asked about it afterwards." if needed else "",
        judged=judged_as(decision, marking=marking),
        confirmed_at=attempt.submitted_at,
        at=attempt.submitted_at + STEP_TAKES,
    )
