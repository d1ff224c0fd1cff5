"""Planning a session's rotation, planning it again when something fails, and changing places by hand."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from academy.seals import sealed
from assessments import rotation_inputs
from assessments.models import PlanChange, PlanMember, PlannedSlot, PlanRig, SessionPlan, Task
from assessments.models.attempts import Purpose
from assessments.models.sessions import ChangeKind
from assessments.rotation import planner, rules
from assessments.rotation.problem import Place
from assessments.rotation.timing import Timing
from rigs import sessions
from rigs.models import Rig

MOST_SLOTS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a rotation is to be made of. ``teams`` are candidates who go round together."""

    starts_at: datetime
    minutes: int
    slots: int
    change_over: int
    per_assessor: int
    purpose: Purpose
    rigs: Sequence[Rig]
    teams: Sequence[Sequence[Person]]
    tasks: Sequence[Task]
    alone: Collection[Task]
    assessors: Sequence[Person]


@transaction.atomic
def plan(*, centre: Centre, wanted: Wanted, by: Person, at: datetime) -> SessionPlan:
    """Make the rotation of the half-day in which ``wanted`` starts. One that exists is made again instead."""
    _require_sound(centre, wanted, by)
    on, half = sessions.half_day(centre=centre, at=wanted.starts_at)
    if SessionPlan.objects.filter(centre=centre, on=on, half=half).exists():
        raise Refused(f"There is a plan for that {half} already.", field="starts_at")
    made = SessionPlan.objects.create(
        centre=centre,
        on=on,
        half=half,
        purpose=wanted.purpose,
        starts_at=wanted.starts_at,
        minutes=wanted.minutes,
        slots=wanted.slots,
        change_over=wanted.change_over,
        per_assessor=wanted.per_assessor,
    )
    made.assessors.set(wanted.assessors)
    made.tasks.set(wanted.tasks)
    made.alone.set(wanted.alone)
    PlanRig.objects.bulk_create(PlanRig(plan=made, rig=rig) for rig in wanted.rigs)
    PlanMember.objects.bulk_create(
        PlanMember(plan=made, candidate=candidate, team=number)
        for number, team in enumerate(wanted.teams, start=1)
        for candidate in team
    )
    problem = rotation_inputs.problem_of(made)
    change = _change(made, ChangeKind.MADE, from_slot=1, reason="", by=by, at=at)
    _store(made, planner.plan(problem).places, change)
    return made


@transaction.atomic
def replan(
    *,
    plan: SessionPlan,
    from_slot: int,
    rigs: Collection[Rig],
    present: Collection[Person],
    reason: str,
    by: Person,
    at: datetime,
) -> SessionPlan:
    """Make a plan again from a slot on, with the rigs and candidates that are left. What was done stays."""
    held = _locked(plan, by)
    if not 1 <= from_slot <= held.slots:
        raise Refused(f"The slots go from 1 to {held.slots}.", field="from_slot")
    if not reason.strip():
        raise Refused("Say what happened: it is kept with the plan.", field="reason")
    if not rigs:
        raise Refused("At least one rig must be left.", field="rigs")
    if not present:
        raise Refused("At least one candidate must be left.", field="present")
    before = rotation_inputs.places_of(held)
    _take_out(held, rigs, present, from_slot=from_slot)
    problem = planner.replanned(rotation_inputs.problem_of(held), before, from_slot=from_slot)
    change = _change(held, ChangeKind.REPLANNED, from_slot=from_slot, reason=reason, by=by, at=at)
    held.planned.standing().filter(slot__gte=from_slot).update(until=change)
    _store(held, planner.plan(problem).places, change, from_slot=from_slot)
    return held


@transaction.atomic
def swap(
    *,
    plan: SessionPlan,
    slot: int,
    first: int,
    second: int,
    by: Person,
    at: datetime,
    reason: str = "",
) -> SessionPlan:
    """Let two teams change places in a slot; one of them may have had none.

    Refused, with the rule, where that breaks one; where it is merely unwise, it needs a reason.
    """
    held = _locked(plan, by)
    problem, before = rotation_inputs.problem_of(held), rotation_inputs.places_of(held)
    after = _swapped(held, before, slot=slot, first=str(first), second=str(second))
    worse = _added(rules.broken(problem, before), rules.broken(problem, after))
    if worse:
        raise Refused(f"That can’t be: {'; '.join(worse)}.")
    unwise = _added(rules.unwise(problem, before), rules.unwise(problem, after))
    if unwise and not reason.strip():
        raise Refused(f"{'; '.join(unwise)}. Say why it is done all the same.", field="reason")
    change = _change(held, ChangeKind.SWAPPED, from_slot=slot, reason=reason, by=by, at=at)
    moved = set(before) - set(after)
    held.planned.standing().filter(
        candidate__in=[each.pk for place in moved for each in rotation_inputs.teams_of(held)[place.team]],
        begins__in={place.slot for place in moved},
    ).update(until=change)
    _store(held, tuple(set(after) - set(before)), change)
    return held


def _swapped(
    plan: SessionPlan, before: Sequence[Place], *, slot: int, first: str, second: str
) -> tuple[Place, ...]:
    teams = {str(number) for number in plan.members.values_list("team", flat=True)}
    if first == second or not {first, second} <= teams:
        raise Refused("Choose two different teams of this plan.", field="second")
    other = {first: second, second: first}
    moved = [place for place in before if place.team in other and slot in place.slots]
    if not moved:
        raise Refused("Neither of them has a place in that slot.", field="slot")
    if len({(place.slot, place.length) for place in moved}) > 1:
        raise Refused("One of them stays at a rig for longer: they can only change as a whole.", field="slot")
    changed = [
        Place(team=other[place.team], rig=place.rig, task=place.task, slot=place.slot, length=place.length)
        for place in moved
    ]
    return tuple(place for place in before if place not in moved) + tuple(changed)


def _added(before: Iterable[rules.Broken], after: Iterable[rules.Broken]) -> list[str]:
    """What is said after, and wasn't before."""
    known = {each.words for each in before}
    return list(dict.fromkeys(each.words for each in after if each.words not in known))


def _require_sound(centre: Centre, wanted: Wanted, by: Person) -> None:
    everybody = [person for team in wanted.teams for person in team]
    if by.centre_id != centre.pk or any(
        person.centre_id != centre.pk for person in (*everybody, *wanted.assessors)
    ):
        raise Refused("Those people belong to another centre.")
    if any(rig.centre_id != centre.pk for rig in wanted.rigs) or any(
        task.centre_id != centre.pk for task in wanted.tasks
    ):
        raise Refused("Those rigs or tasks belong to another centre.")
    for field, given in (
        ("candidates", everybody),
        ("rigs", wanted.rigs),
        ("tasks", wanted.tasks),
        ("assessors", wanted.assessors),
    ):
        if not given:
            raise Refused("Choose one at least.", field=field)
    if set(everybody) & set(wanted.assessors):
        raise Refused("Nobody assesses a session in which they are assessed.", field="assessors")
    if len(set(everybody)) < len(everybody):
        raise Refused("Somebody is in two teams.", field="candidates")
    _require_time(wanted)


def _require_time(wanted: Wanted) -> None:
    if not 1 <= wanted.slots <= MOST_SLOTS:
        raise Refused(f"Between 1 and {MOST_SLOTS} slots.", field="slots")
    try:
        Timing(minutes=wanted.minutes, slots=wanted.slots, change_over=wanted.change_over)
    except ValueError:
        raise Refused(
            f"{wanted.minutes} minutes in {wanted.slots} slots leave nothing to work in after a change-over "
            f"of {wanted.change_over}.",
            field="slots",
        ) from None


def _locked(plan: SessionPlan, by: Person) -> SessionPlan:
    held = SessionPlan.objects.select_for_update(of=("self",)).select_related("centre").get(pk=plan.pk)
    if by.centre_id != held.centre_id:
        raise Refused("That plan belongs to another centre.")
    return held


def _take_out(
    plan: SessionPlan, rigs: Collection[Rig], present: Collection[Person], *, from_slot: int
) -> None:
    """Note from when a rig or a candidate is out, or that it is back."""
    kept_rigs, kept_people = {rig.pk for rig in rigs}, {person.pk for person in present}
    for planned in plan.rigs.all():
        out = None if planned.rig_id in kept_rigs else planned.out_from or from_slot
        if out != planned.out_from:
            planned.out_from = out
            planned.save(update_fields=["out_from"])
    for member in plan.members.all():
        absent = None if member.candidate_id in kept_people else member.absent_from or from_slot
        if absent != member.absent_from:
            member.absent_from = absent
            member.save(update_fields=["absent_from"])


def _change(
    plan: SessionPlan, kind: ChangeKind, *, from_slot: int, reason: str, by: Person, at: datetime
) -> PlanChange:
    change = PlanChange.objects.create(
        plan=plan,
        number=plan.changes.count() + 1,
        kind=kind,
        from_slot=from_slot,
        reason=reason.strip(),
        made_by=by,
        at=at,
    )
    facts: dict[str, ledger.Fact] = {
        "change": str(change.number),
        "kind": str(kind),
        "from_slot": str(from_slot),
        "rigs": sorted(str(each.rig_id) for each in plan.rigs.all() if each.out_from is None),
        "reason": sealed(change.reason, change.salt) if change.reason else None,
    }
    ledger.append(centre=plan.centre, actor=by, verb="rotation.plan", subject=plan.pk, at=at, facts=facts)
    return change


def _store(plan: SessionPlan, places: Sequence[Place], change: PlanChange, *, from_slot: int = 1) -> None:
    """Write places down for everybody who is present, from a slot on."""
    teams, versions = rotation_inputs.teams_of(plan), rotation_inputs.versions_of(plan)
    rigs = {str(each.rig_id): each.rig for each in plan.rigs.select_related("rig")}
    PlannedSlot.objects.bulk_create(
        PlannedSlot(
            plan=plan,
            candidate=candidate,
            rig=rigs[place.rig],
            version=versions[rigs[place.rig].design_id, place.task],
            slot=slot,
            begins=place.slot,
            since=change,
        )
        for place in sorted(places, key=lambda place: (place.slot, place.rig))
        for candidate in teams[place.team]
        for slot in place.slots
        if slot >= from_slot
    )
