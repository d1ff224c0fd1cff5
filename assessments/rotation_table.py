"""A rotation as people read it: slots by rigs, each candidate's own way round, and what has no place."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import groupby
from uuid import UUID

from academy.models import Centre, Person
from assessments import rotation_inputs
from assessments.models import PlannedSlot, SessionPlan, TaskVersion
from assessments.models.sessions import PlannedSlotQuerySet
from assessments.rotation import reasons
from rigs import sessions
from rigs.models import Rig


class When(StrEnum):
    PAST = "past"
    NOW = "now"
    AHEAD = "ahead"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Who is at a rig in a slot. ``goes_on`` from the slot before; ``out`` where the rig is out of use."""

    rig: Rig
    names: tuple[str, ...] = ()
    version: TaskVersion | None = None
    goes_on: bool = False
    out: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    number: int
    starts: datetime
    ends: datetime
    when: When
    cells: tuple[Cell, ...]
    idle: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A candidate's places in their order, each slot once."""

    candidate: Person
    places: tuple[tuple[datetime, PlannedSlot], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    plan: SessionPlan
    rigs: tuple[Rig, ...]
    rows: tuple[Row, ...]
    ways: tuple[Way, ...]
    left: tuple[tuple[str, str, str], ...]
    """Who, which task, and why it has no place."""


def of_half_day(*, centre: Centre, at: datetime) -> SessionPlan | None:
    """The rotation of the half-day that a moment falls in."""
    on, half = sessions.half_day(centre=centre, at=at)
    return SessionPlan.objects.filter(centre=centre, on=on, half=half).first()


def table(plan: SessionPlan, *, at: datetime) -> Table:
    """Everything about a plan, as it stands now. A constant number of queries."""
    planned = _standing(plan)
    out = {each.rig_id: each.out_from for each in plan.rigs.all()}
    rigs = tuple(each.rig for each in plan.rigs.select_related("rig"))
    problem, places = rotation_inputs.problem_of(plan), rotation_inputs.places_of(plan)
    names = {team.key: team.name for team in problem.teams}
    present = {team.key for team in problem.teams if team.name != "nobody"}
    idle: dict[int, list[tuple[str, str]]] = {}
    for each in reasons.idle(problem, places):
        if each.team in present:
            idle.setdefault(each.slot, []).append((names[each.team], each.because))
    current = plan.slot_at(at)
    return Table(
        plan=plan,
        rigs=rigs,
        rows=tuple(
            Row(
                number=slot,
                starts=plan.begins(slot),
                ends=plan.begins(slot) + timedelta(minutes=plan.timing.working_minutes),
                when=When.PAST if slot < current else When.NOW if slot == current else When.AHEAD,
                cells=tuple(_cell(rig, planned, slot=slot, out_from=out[rig.pk]) for rig in rigs),
                idle=tuple(idle.get(slot, ())),
            )
            for slot in range(1, plan.slots + 1)
        ),
        ways=tuple(_ways(plan, planned)),
        left=tuple(
            (names[each.team], problem.by_key[each.task].title, each.because)
            for each in reasons.left(problem, places)
        ),
    )


def places_of(*, candidate: Person, at: datetime) -> list[tuple[datetime, PlannedSlot]]:
    """Where a candidate is to be in this half-day, what is over left out."""
    if candidate.centre is None:
        return []
    plan = of_half_day(centre=candidate.centre, at=at)
    if plan is None:
        return []
    current = plan.slot_at(at)
    mine = _with_names(plan).filter(candidate=candidate, slot__gte=current)
    first: dict[int, PlannedSlot] = {}
    for each in mine:
        first.setdefault(each.begins, each)
    return [(plan.begins(begins), each) for begins, each in first.items()]


def _with_names(plan: SessionPlan) -> PlannedSlotQuerySet:
    return plan.planned.standing().select_related("candidate", "rig", "version__task")


def _standing(plan: SessionPlan) -> list[PlannedSlot]:
    return list(_with_names(plan))


def _cell(rig: Rig, planned: Collection[PlannedSlot], *, slot: int, out_from: int | None) -> Cell:
    here = [each for each in planned if each.rig_id == rig.pk and each.slot == slot]
    if not here:
        return Cell(rig=rig, out=out_from is not None and slot >= out_from)
    return Cell(
        rig=rig,
        names=tuple(str(each.candidate) for each in here),
        version=here[0].version,
        goes_on=here[0].begins < slot,
    )


def _ways(plan: SessionPlan, planned: Sequence[PlannedSlot]) -> Iterable[Way]:
    def whose(each: PlannedSlot) -> tuple[str, UUID]:
        return str(each.candidate), each.candidate_id

    for _, those in groupby(sorted(planned, key=whose), whose):
        mine = sorted(those, key=lambda each: each.slot)
        yield Way(
            candidate=mine[0].candidate,
            places=tuple((plan.begins(each.slot), each) for each in mine if each.begins == each.slot),
        )
