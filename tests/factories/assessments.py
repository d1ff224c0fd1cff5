"""A bench ready for assessment, and attempts worked through step by step, by the verbs that the site uses."""

import io
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

from PIL import Image, ImageDraw

from academy import json_files
from academy.models import Centre, Cohort, Person
from assessments import attempts, catalogue, evidence, judgements, limits, outcomes, progress, signoff
from assessments.expansion import DesignData, expand
from assessments.judgements import Judged
from assessments.marking.results import Marking
from assessments.models import Attempt, SignOff, Step, TaskVersion
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.models.tasks import StepKind
from assessments.photos import CleanPhoto, clean
from rigs.metrology.quantities import UNITS, Quantity, from_si
from rigs.metrology.readings import TypedReading, parse, parse_observation
from rigs.models import Instrument, Rig
from tests.factories import rigs
from tests.factories.academy import AT, CandidateFactory, CohortFactory

FIXTURES = Path(__file__).parents[2] / "fixtures"
SWITCH_TEST = "two-terminal-switch-test"
FIRST_TASKS = ("instrument-checks", "safe-isolation", SWITCH_TEST)
FIRST_DESIGNS = (rigs.TWO_TERMINAL, rigs.ISOLATION_BOARD)
STEP_TAKES = timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A session at which candidates can be assessed on one rig. ``at`` is when work can start."""

    manager: Person
    technician: Person
    assessor: Person
    candidate: Person
    cohort: Cohort
    rig: Rig
    instruments: Mapping[str, Instrument]
    tasks: Mapping[str, TaskVersion]
    at: datetime

    @property
    def centre(self) -> Centre:
        return self.rig.centre


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What a candidate does otherwise than right, by the steps' slugs.

    ``readings`` and ``answers`` are logged instead of the right ones; ``struck`` are typed first and then
    corrected; ``skipped`` steps are never logged, ``late`` ones just before the conclusion. The conclusion's
    reason is ``reason``.
    """

    readings: Mapping[str, str] = field(default_factory=dict)
    struck: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    skipped: frozenset[str] = frozenset()
    late: frozenset[str] = frozenset()
    reason: str = "Contacts open at rest, closed with the fan running, open again with the outlet blocked."


ALL_WELL = Work()


def ready_bench(*, at: datetime = AT, tag: str = "VB-01", running: float = rigs.RUNNING) -> Bench:
    """A centre with its tasks issued, a rig checked this session, a candidate ready for the switch test."""
    made = rigs.open_bench(at=at, tag=tag, running=running)
    tasks = issue_tasks(by=made.manager, at=at)
    cohort = CohortFactory(by=made.manager)
    made.check(running=running)
    bench = Bench(
        manager=made.manager,
        technician=made.technician,
        assessor=made.assessor,
        candidate=CandidateFactory(by=made.manager, cohort=cohort),
        cohort=cohort,
        rig=made.rig,
        instruments=made.in_hand,
        tasks=tasks,
        at=at + timedelta(minutes=15),
    )
    _record_prerequisites(bench, bench.candidate)
    return bench


def another_candidate(bench: Bench) -> Person:
    """One more in the same cohort, ready for the switch test."""
    candidate: Person = CandidateFactory(by=bench.manager, cohort=bench.cohort)
    _record_prerequisites(bench, candidate)
    return candidate


def _record_prerequisites(bench: Bench, candidate: Person) -> None:
    for task in bench.tasks[SWITCH_TEST].requires.all():
        progress.record_prior(
            candidate=candidate,
            task=task,
            achieved_on=bench.at.date(),
            evidence="Seen at the bench; paper record 14.",
            by=bench.assessor,
            at=bench.at,
        )


def issue_tasks(
    *, by: Person, at: datetime, slugs: Sequence[str] = FIRST_TASKS, designs: Sequence[str] = FIRST_DESIGNS
) -> dict[str, TaskVersion]:
    """Tasks of the fixtures, with their criteria, issued to the centre of ``by`` for those of their designs.

    Prerequisites must be among them, or issued before. Without more said: the switch test's.
    """
    load_criteria({code for slug in slugs for code in task_data(slug)["criteria"]}, by=by)
    return {slug: _issued(slug, designs, by=by, at=at) for slug in slugs}


def load_criteria(codes: Collection[str], *, by: Person) -> None:
    """Those criteria of the fixtures, at the centre of ``by``."""
    criteria = json_files.read(FIXTURES / "criteria.json").data
    catalogue.load_criteria(centre=by.centre, data=[each for each in criteria if each["code"] in codes])


def _issued(slug: str, designs: Sequence[str], *, by: Person, at: datetime) -> TaskVersion:
    data = task_data(slug)
    (version,) = catalogue.issue_for_all(
        centre=by.centre,
        data={**data, "designs": [each for each in data["designs"] if each in designs]},
        by=by,
        at=at,
    )
    return version


@cache
def task_data(slug: str) -> dict[str, Any]:
    """A task as it is written in the fixtures, for all its designs."""
    return json_files.read(FIXTURES / "tasks" / f"{slug}.json").data


def data_for(slug: str, *, design: str) -> dict[str, Any]:
    """A task of the fixtures as it is issued for one of its designs."""
    return expand(task_data(slug), design=DesignData.of(rigs.design_data(design)))


def started(
    bench: Bench,
    *,
    candidate: Person | None = None,
    task: str = SWITCH_TEST,
    purpose: Purpose = Purpose.ASSESSMENT,
    at: datetime | None = None,
) -> Attempt:
    version = bench.tasks[task]
    confirm_limits(version, by=bench.manager, at=bench.at)
    return attempts.start(
        id=uuid4(),
        candidate=candidate or bench.candidate,
        version=version,
        rig=bench.rig,
        purpose=purpose,
        chosen={kind: bench.instruments[kind] for kind in attempts.kinds_needed(version)},
        cautions_read=True,
        at=at or bench.at,
    )


def confirm_limits(version: TaskVersion, *, by: Person, at: datetime) -> None:
    """Confirm every limit that a task states."""
    for limit in {limits.of_step(step).digest for step in version.steps.filter(judged_by="conforms")}:
        limits.confirm(centre=version.task.centre, digest=limit, compared=True, by=by, at=at)


def work_through(attempt: Attempt, work: Work = ALL_WELL) -> datetime:
    """Log every step, a minute apart. Returns when the last one was logged."""
    at = attempt.started_at
    for step in _in_order(
        attempt.version.steps.select_related("measurand__test_point", "measurand__condition"), work
    ):
        at += STEP_TAKES
        if step.slug in work.struck:
            _log(attempt, step, typed=work.struck[step.slug], work=work, at=at)
            at += STEP_TAKES
            _log(attempt, step, work=work, at=at, reason="Read the display wrong")
        else:
            _log(attempt, step, work=work, at=at)
    return at


def handed_in(
    bench: Bench,
    work: Work = ALL_WELL,
    *,
    candidate: Person | None = None,
    purpose: Purpose = Purpose.ASSESSMENT,
    at: datetime | None = None,
) -> Attempt:
    attempt = started(bench, candidate=candidate, purpose=purpose, at=at)
    last = work_through(attempt, work)
    return attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=last + STEP_TAKES)


def signed_off(
    bench: Bench,
    work: Work = ALL_WELL,
    *,
    candidate: Person | None = None,
    purpose: Purpose = Purpose.ASSESSMENT,
    decision: Decision = Decision.COMPETENT,
    feedback: str = "Careful work, and every reading noted as shown.",
    at: datetime | None = None,
) -> SignOff:
    """An attempt through to its decision, with a reason where the marking proposes another."""
    attempt = handed_in(bench, work, candidate=candidate, purpose=purpose, at=at)
    outcome = outcomes.latest(attempt)
    marking = outcomes.marking_of(outcome)
    needed = signoff.reason_needed(marking, decision)
    assert attempt.submitted_at is not None
    return signoff.sign_off(
        attempt=attempt,
        outcome=outcome,
        assessor=bench.assessor,
        decision=decision,
        feedback=feedback,
        reason="Watched throughout; asked about it afterwards." if needed else "",
        judged=judged_as(decision, marking=marking),
        confirmed_at=attempt.submitted_at,
        at=attempt.submitted_at + STEP_TAKES,
    )


def judged_as(decision: Decision, *, marking: Marking) -> dict[str, Judged]:
    """Every point that the marking leaves to the assessor, judged so that it comes to that decision."""
    said = Judged(met=decision == Decision.COMPETENT, reason="Asked about it at the bench.")
    return {point.key: said for point in judgements.needed(marking, decision)}


def _in_order(steps: Iterable[Step], work: Work) -> list[Step]:
    """The steps in the order in which they are logged: late ones just before the conclusion."""
    logged = [step for step in steps if step.slug not in work.skipped]
    return sorted(
        logged, key=lambda step: (step.kind == StepKind.CONCLUSION, step.slug in work.late, step.position)
    )


def _log(
    attempt: Attempt, step: Step, *, work: Work, at: datetime, typed: str | None = None, reason: str = ""
) -> None:
    common = {
        "attempt": attempt,
        "step": step,
        "sent": evidence.Sent(id=uuid4(), device_at=at, reason=reason),
        "candidate": attempt.candidate,
        "at": at,
    }
    match step.kind:
        case StepKind.READING:
            text = typed or work.readings.get(step.slug) or right_reading(attempt, step)
            evidence.log_reading(typed=as_typed(text, step=step), **common)
        case StepKind.PHOTO:
            evidence.log_photo(photo=picture(step.title), **common)
        case _:
            answer = work.answers.get(step.slug) or next(iter(step.expected), "")
            note = work.reason if step.kind == StepKind.CONCLUSION else ""
            evidence.log_step(answer=answer, note=note, **common)


def as_typed(text: str, *, step: Step) -> TypedReading:
    """A reading in the quantity's usual unit, unless one is typed after it; or a tone."""
    quantity = Quantity(step.quantity)
    if step.judged_by == "tone":
        return TypedReading(text=text, quantity=quantity, qualifier=parse_observation(text))
    return parse(text, quantity=quantity, unit=UNITS[quantity][0])


def right_reading(attempt: Attempt, step: Step) -> str:
    """What the display shows on a healthy rig: the pinned present value to the instrument's last digit."""
    match step.judged_by:
        case "agrees":
            assert attempt.sheet is not None and step.measurand is not None
            value = attempt.sheet.values.get(measurand=step.measurand).value
            return f"{from_si(value, unit=step.measurand.test_point.unit):.2f}"
        case "contact":
            assert step.measurand is not None
            return "OL" if step.measurand.expected_state == "open" else "0.4"
        case "leads":
            return "OL" if "open" in step.expected else "0.2"
        case "tone":
            return "tone"
        case "falls":
            return "0.02"
    return "0.00"


@cache
def picture(words: str) -> CleanPhoto:
    image = Image.new("RGB", (320, 240), "#dfe5e1")
    ImageDraw.Draw(image).text((20, 110), words, fill="#16222c")
    out = io.BytesIO()
    image.save(out, "PNG")
    return clean(out.getvalue())
