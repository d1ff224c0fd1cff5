"""What happens at the demo's centre, each story by the verbs that the site uses."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from uuid import NAMESPACE_URL, UUID, uuid5

import numpy as np

from academy.models import Person
from assessments import attempts, evidence, faults, judgements, outcomes, progress, signoff
from assessments.demo import pictures
from assessments.demo.boards import Boards
from assessments.demo.hands import Hands, typed
from assessments.demo.playing import Story
from assessments.demo.scenario import AttemptPlan, HoldPlan, Judgement, PriorPlan, RigPlan, Scenario
from assessments.demo.stock import Stock
from assessments.demo.timetable import Timetable
from assessments.judgements import Judged
from assessments.models import Attempt, Outcome, Photo, Reading, Step
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision, Proposal
from assessments.models.tasks import StepKind
from assessments.photos import CleanPhoto
from rigs import baselines, checks, holds, sessions
from rigs import faults as rig_faults
from rigs.behaviour.simulation import simulate
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading, parse
from rigs.models import Check, Instrument, Measurand
from rigs.models.baselines import Outlier
from rigs.models.checks import CheckVerdict
from rigs.models.designs import ContactState, MeasurandKind

RUNS_A_DAY = (4, 3, 3)
CHECK_RUNS = 3
A_CHECK = timedelta(minutes=5)
TO_DECIDE = timedelta(minutes=2)
FAULT_FIRST = timedelta(minutes=20)


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    scenario: Scenario
    timetable: Timetable
    boards: Boards
    stock: Stock

    @property
    def technician(self) -> Person:
        return self.stock.people[self.scenario.technician]

    @property
    def references(self) -> dict[str, Instrument]:
        return self.stock.in_hand(tuple(plan.tag for plan in self.scenario.instruments if plan.reference))

    def half(self, at: datetime) -> str:
        return str(sessions.half_day(centre=self.stock.centre, at=at)[1])


def baseline(world: World, plan: RigPlan, days: list[datetime]) -> Story:
    """Ten runs over three days by the technician, then approval by a second person."""
    rig, by = world.stock.rigs[plan.tag], world.technician
    measurands = baselines.measurands_of(rig)
    yield days[0]
    made = baselines.start(rig=rig, by=by, at=days[0])
    at = days[0]
    for day, runs in zip(days, RUNS_A_DAY, strict=True):
        for run in range(runs):
            at = day + timedelta(minutes=6 * (run + 1))
            yield at
            baselines.add_run(
                baseline=made,
                readings=reference_run(world, plan, measurands, at=at),
                instruments=world.references,
                by=by,
                at=at,
                room=world.boards.room(at=at, half=world.half(at)),
            )
    at += timedelta(minutes=9)
    yield at
    baselines.hand_over(baseline=made, by=by, at=at)
    at += timedelta(hours=3)
    yield at
    second = world.stock.people[world.scenario.second_person]
    for reading in baselines.flagged_readings(baseline=made):
        baselines.decide_on(
            reading=reading,
            outlier=Outlier.KEPT,
            reason="The connection was looked at again: nothing found.",
            by=second,
            at=at,
        )
    baselines.approve(baseline=made, by=second, at=at)


def session(world: World, tags: list[str], *, at: datetime, a_check: timedelta = A_CHECK) -> Story:
    """Open a session with its room conditions, and check those rigs one after the other.

    Those on hold are left alone. One whose check proposes a hold is taken out of use by who checked it.
    """
    room = world.boards.room(at=at, half=world.half(at))
    yield at
    sessions.ensure_open(centre=world.stock.centre, by=world.technician, at=at, room=room)
    for tag in tags:
        at += a_check
        yield at
        rig = world.stock.rigs[tag]
        if rig.holds.open().exists():
            continue
        made = check(world, world.scenario.rig(tag), at=at)
        if made.verdict == CheckVerdict.HOLD:
            at += TO_DECIDE
            yield at
            holds.place(on=rig, reason=" ".join(made.words), by=world.technician, at=at)


def check(world: World, plan: RigPlan, *, at: datetime) -> Check:
    rig = world.stock.rigs[plan.tag]
    measurands = checks.measurands_of(rig)
    return checks.record(
        rig=rig,
        runs=[reference_run(world, plan, measurands, at=at, number=number) for number in range(CHECK_RUNS)],
        instruments=world.references,
        by=world.technician,
        at=at,
    )


def reference_run(
    world: World, plan: RigPlan, measurands: Iterable[Measurand], *, at: datetime, number: int = 0
) -> Mapping[Measurand, TypedReading]:
    """One reading of each measurand with the reference instruments, leads nulled."""
    half, boards = world.half(at), world.boards
    chance = boards.chance("run", plan.tag, boards.day(at), half, at.minute, number)
    if plan.model is None:
        return {each: steady_reading(plan, each, rng=chance) for each in measurands}
    rig = boards.rig(plan, at=at, half=half)
    references = {each.model.kind: each for each in world.scenario.instruments if each.reference}
    readings: dict[Measurand, TypedReading] = {}
    for measurand in measurands:
        quantity = Quantity(measurand.test_point.quantity)
        manometer = boards.manometer(references["manometer"], at=at)
        using = manometer if quantity is Quantity.PRESSURE else boards.nulled(references["multimeter"])
        condition, point = Condition(measurand.condition.slug), TestPoint(measurand.test_point.slug)
        readings[measurand] = typed(
            simulate(rig, condition=condition, at=point, using=using, rng=chance), quantity
        )
    return readings


def steady_reading(plan: RigPlan, measurand: Measurand, *, rng: np.random.Generator) -> TypedReading:
    """A reading at a rig without a venturi: about its level, or the contact as it should be."""
    point = measurand.test_point
    if measurand.kind == MeasurandKind.STATE:
        is_open = measurand.expected_state == ContactState.OPEN
        text = "OL" if is_open else f"{abs(rng.normal(0.2, 0.03)):.2f}"
    else:
        text = f"{rng.normal(*plan.levels[f'{point.slug}/{measurand.condition.slug}']):.2f}"
    return parse(text, quantity=Quantity(point.quantity), unit=point.unit)


def hold(world: World, plan: HoldPlan) -> Story:
    at = world.timetable.at(plan.when)
    yield at
    thing = world.stock.rigs.get(plan.on) or world.stock.instruments[plan.on]
    holds.place(on=thing, reason=plan.reason, by=world.stock.people[plan.by], at=at)


def prior(world: World, plan: PriorPlan) -> Story:
    at = world.timetable.at(plan.when)
    for name in plan.candidates:
        yield at
        progress.record_prior(
            candidate=world.stock.people[name],
            task=world.stock.task(plan.task),
            achieved_on=world.stock.centre.date_at(at),
            evidence=plan.evidence,
            by=world.stock.people[plan.by],
            at=at,
        )
        at += timedelta(minutes=2)


def attempt(world: World, plan: AttemptPlan, *, at: datetime, step_seconds: tuple[float, float]) -> Story:
    """From the start, through every step, to the decision; with the fault set before and removed after."""
    if plan.fault is not None:
        yield at - FAULT_FIRST
        set_fault(world, plan, at=at - FAULT_FIRST)
    candidate, chance = world.stock.people[plan.candidate], world.boards.chance(plan.label)
    yield at
    made = start(world, plan, candidate, at=at)
    hands = hands_at(world, plan, at=at)
    for sequence, step in enumerate(hands.steps(steps_of(made)), start=1):
        for entry in entries(hands, step):
            at += timedelta(seconds=chance.uniform(*(plan.seconds_a_step or step_seconds)))
            yield at
            log(made, step, entry, hands=hands, sent=sent(plan, sequence, entry, at), at=at)
    if plan.stops_after:
        return
    at += timedelta(minutes=1)
    yield at
    attempts.hand_in(attempt=made, candidate=candidate, at=at)
    yield from _afterwards(world, plan, made, at=at)


def _afterwards(world: World, plan: AttemptPlan, made: Attempt, *, at: datetime) -> Iterator[datetime]:
    if plan.fault is not None:
        at += timedelta(minutes=6)
        yield at
        setting = rig_faults.set_on(rig=world.stock.rigs[plan.rig])
        assert setting is not None
        faults.remove(setting=setting, by=world.stock.people[plan.assessor], at=at)
    if plan.assessor:
        at += timedelta(minutes=world.boards.chance(plan.label, "decision").integers(12, 95).item())
        yield at
        decide(world, plan, made, at=at)


def set_fault(world: World, plan: AttemptPlan, *, at: datetime) -> None:
    rig = world.stock.rigs[plan.rig]
    fault = rig.design.faults.get(slug=plan.fault)
    practice_only = Purpose(plan.purpose) == Purpose.PRACTICE
    by = world.stock.people[plan.assessor]
    faults.set_fault(rig=rig, fault=fault, by=by, at=at, practice_only=practice_only)


def start(world: World, plan: AttemptPlan, candidate: Person, *, at: datetime) -> Attempt:
    return attempts.start(
        id=id_for(plan.label),
        candidate=candidate,
        version=world.stock.version(plan.task, rig=plan.rig),
        rig=world.stock.rigs[plan.rig],
        purpose=Purpose(plan.purpose),
        chosen=world.stock.in_hand(plan.instruments),
        cautions_read=True,
        at=at,
    )


def hands_at(world: World, plan: AttemptPlan, *, at: datetime) -> Hands:
    """The candidate's hands on the rig as it is that session, with the instruments that were taken."""
    taken = {each.model.kind: each for each in map(world.scenario.instrument, plan.instruments)}
    rig, manometer, multimeter = world.scenario.rig(plan.rig), taken.get("manometer"), taken.get("multimeter")
    return Hands(
        plan=plan,
        rig=None if rig.model is None else world.boards.rig(rig, at=at, half=world.half(at)),
        manometer=None if manometer is None else world.boards.manometer(manometer, at=at),
        multimeter=None if multimeter is None else world.boards.multimeter(multimeter),
        rng=world.boards.chance(plan.label, "readings"),
    )


def steps_of(made: Attempt) -> list[Step]:
    return list(
        made.version.steps.select_related("condition", "measurand__test_point", "measurand__condition")
    )


def entries(hands: Hands, step: Step) -> list[tuple[str, str]]:
    """What is logged on a step, as (text, reason for a correction): twice where the first was struck out."""
    struck = hands.plan.strikes.get(step.slug)
    return [("", "")] if struck is None else [(struck.text, ""), ("", struck.reason)]


def sent(plan: AttemptPlan, sequence: int, entry: tuple[str, str], at: datetime) -> evidence.Sent:
    text, reason = entry
    # A correction comes after whatever was logged before it, and leaves the numbers of the others alone.
    return evidence.Sent(
        id=id_for(plan.label, sequence, text, reason),
        sequence=2 * sequence + bool(reason),
        device_at=at - timedelta(seconds=1),
        reason=reason,
    )


def log(
    made: Attempt, step: Step, entry: tuple[str, str], *, hands: Hands, sent: evidence.Sent, at: datetime
) -> None:
    first_typed, _reason = entry
    candidate = made.candidate
    match step.kind:
        case StepKind.READING:
            text = first_typed or copied(made, step, whose=hands.plan.copies)
            reading = typed(text, Quantity(step.quantity)) if text else hands.read(step)
            evidence.log_reading(
                attempt=made, step=step, typed=reading, sent=sent, candidate=candidate, at=at
            )
        case StepKind.PHOTO:
            photo = picture_for(made, step, plan=hands.plan, at=at)
            evidence.log_photo(attempt=made, step=step, photo=photo, sent=sent, candidate=candidate, at=at)
        case _:
            evidence.log_step(
                attempt=made,
                step=step,
                sent=sent,
                candidate=candidate,
                at=at,
                answer=hands.answer(step),
                note=hands.reason(step),
            )


def copied(made: Attempt, step: Step, *, whose: str) -> str:
    """What somebody else wrote down on that step on this rig; nothing where nobody is copied from."""
    theirs = Reading.objects.filter(
        attempt__candidate__name=whose, attempt__rig=made.rig, step=step, si_value__isnull=False
    )
    found = theirs.in_order().last() if whose else None
    return found.text if found else ""


def picture_for(made: Attempt, step: Step, *, plan: AttemptPlan, at: datetime) -> CleanPhoto:
    """The board as it stands, a moment before the photo is sent; or one that somebody else sent before."""
    if plan.borrows_photos_of:
        theirs = Photo.objects.get(attempt__candidate__name=plan.borrows_photos_of, step=step)
        return CleanPhoto(
            content=theirs.file.read(),
            **{
                each.name: getattr(theirs, each.name) for each in fields(CleanPhoto) if each.name != "content"
            },
        )
    draw = (
        pictures.isolation_board if made.rig.design.slug.startswith("isolation") else pictures.venturi_board
    )
    taken_at = (at - timedelta(days=plan.photo_days_old, seconds=8)).astimezone(made.rig.centre.zone)
    caption = f"{step.title}, {made.candidate.name}, {taken_at:%d %b %H:%M}"
    return draw(tag=made.rig.tag, caption=caption, taken_at=taken_at)


def decide(world: World, plan: AttemptPlan, made: Attempt, *, at: datetime) -> None:
    """Decide as the marking proposes; where it leaves it to the assessor, as the scenario's assessor does."""
    outcome = outcomes.latest(made)
    judgement = judged(world, plan, outcome)
    said = Judged(met=judgement.decision == Decision.COMPETENT, reason=judgement.reason)
    points = judgements.needed(outcomes.marking_of(outcome), judgement.decision)
    texts = world.scenario.feedback[judgement.decision]
    chosen = world.boards.chance(plan.label, "feedback").integers(len(texts)).item()
    signoff.sign_off(
        attempt=made,
        outcome=outcome,
        assessor=world.stock.people[plan.assessor],
        decision=Decision(judgement.decision),
        feedback=plan.feedback or texts[chosen],
        reason="" if points else judgement.reason,
        judged={point.key: said for point in points},
        confirmed_at=at,
        at=at,
    )


def judged(world: World, plan: AttemptPlan, outcome: Outcome) -> Judgement:
    if outcome.proposal != Proposal.ASSESSOR:
        return Judgement(decision=outcome.proposal, reason="")
    return plan.judgement or world.scenario.judgement


def id_for(*labels: object) -> UUID:
    """The same id for the same thing each time the demo is loaded."""
    return uuid5(NAMESPACE_URL, " ".join(map(str, labels)))
