"""The room during a session: who is at which rig, how far, and who needs the assessor."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from academy.models import Centre
from assessments import adjustments, rotation_table, stops
from assessments.evidence import MODELS
from assessments.models import Adjustment, Attempt, HelpCall, PlannedSlot, SessionPlan, SessionStop, Step
from assessments.models.attempts import AT_WORK, AttemptStatus
from rigs import sessions
from rigs.models import Rig, Session

STILL_AFTER = timedelta(minutes=8)
"""How long nothing is logged before it is worth a look. Common practice, no source."""
BACK = timedelta(hours=12)
"""Attempts on which nothing happened for longer are no part of what goes on in the room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """An attempt that is worked on. ``step`` is the one at hand, None when every one is logged.

    ``guide`` minutes have the candidate's extra time in them.
    """

    attempt: Attempt
    step: Step | None
    number: int
    count: int
    moved_at: datetime
    minutes_in_step: int
    minutes: int
    guide: int
    call: HelpCall | None
    adjustments: tuple[Adjustment, ...]
    is_still: bool

    @property
    def is_over(self) -> bool:
        return self.minutes > self.guide

    @property
    def needs_somebody(self) -> bool:
        return self.call is not None or self.is_still


@dataclass(frozen=True, slots=True, kw_only=True)
class AtRig:
    """A rig, who works on it, and who is planned to by now and hasn't begun."""

    rig: Rig
    working: tuple[Working, ...]
    expected: tuple[PlannedSlot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    session: Session | None
    plan: SessionPlan | None
    slot: int
    stop: SessionStop | None
    rigs: tuple[AtRig, ...]
    calls: tuple[Working, ...]
    still: tuple[Working, ...]
    earlier: tuple[Attempt, ...]
    """Attempts that are open, with nothing logged lately."""

    @property
    def count(self) -> int:
        return sum(len(each.working) for each in self.rigs)

    @property
    def at_work(self) -> tuple[AtRig, ...]:
        """The rigs at which somebody is, or is planned to be by now."""
        return tuple(each for each in self.rigs if each.working or each.expected)

    @property
    def free(self) -> tuple[AtRig, ...]:
        return tuple(each for each in self.rigs if not (each.working or each.expected))


def board(*, centre: Centre, at: datetime) -> Board:
    """Everything on the board. A constant number of queries."""
    attempts = list(
        Attempt.objects.filter(rig__centre=centre, status__in=AT_WORK)
        .select_related("candidate", "rig", "version__task")
        .order_by("started_at")
    )
    working = _working(attempts, at=at)
    lately = [each for each in working if at - each.moved_at < BACK]
    seen = {each.attempt.pk for each in lately}
    plan = rotation_table.of_half_day(centre=centre, at=at)
    session = sessions.current(centre=centre, at=at)
    return Board(
        session=session,
        plan=plan,
        slot=plan.slot_at(at) if plan else 0,
        stop=stops.standing(centre=centre),
        rigs=tuple(_at_rigs(centre, lately, plan, at=at)),
        calls=tuple(sorted((each for each in lately if each.call), key=_called_at)),
        still=tuple(each for each in lately if each.is_still and each.call is None),
        earlier=tuple(attempt for attempt in attempts if attempt.pk not in seen),
    )


def _called_at(working: Working) -> datetime:
    return working.call.asked_at if working.call else working.moved_at


def working_on(attempt: Attempt, *, at: datetime) -> Working:
    """One attempt as it stands on the board."""
    return _working([attempt], at=at)[0]


def _working(attempts: Collection[Attempt], *, at: datetime) -> list[Working]:
    logged, moved = _logged(attempts)
    steps: dict[UUID, list[Step]] = {}
    for step in Step.objects.filter(version__in={each.version_id for each in attempts}).order_by("position"):
        steps.setdefault(step.version_id, []).append(step)
    calls = {call.attempt_id: call for call in HelpCall.objects.open().filter(attempt__in=attempts)}
    agreed = _adjustments(attempts, at=at)
    return [
        _one(
            attempt,
            steps.get(attempt.version_id, []),
            logged.get(attempt.pk, set()),
            moved_at=moved.get(attempt.pk, attempt.started_at),
            call=calls.get(attempt.pk),
            agreed=agreed.get(attempt.candidate_id, ()),
            at=at,
        )
        for attempt in attempts
    ]


def _one(
    attempt: Attempt,
    steps: list[Step],
    logged: set[int],
    *,
    moved_at: datetime,
    call: HelpCall | None,
    agreed: tuple[Adjustment, ...],
    at: datetime,
) -> Working:
    step = _at_hand(steps, logged)
    return Working(
        attempt=attempt,
        step=step,
        number=steps.index(step) + 1 if step else len(steps),
        count=len(steps),
        moved_at=moved_at,
        minutes_in_step=_minutes(at - moved_at),
        minutes=_minutes(at - attempt.started_at),
        guide=adjustments.minutes(attempt.version.guide_minutes, agreed),
        call=call,
        adjustments=agreed,
        is_still=attempt.status == AttemptStatus.OPEN and STILL_AFTER <= at - moved_at < BACK,
    )


def _at_hand(steps: list[Step], logged: set[int]) -> Step | None:
    """The first step after the last one logged that has no entry; the first of all where none is left."""
    done = [place for place, step in enumerate(steps) if step.pk in logged]
    ahead = steps[done[-1] + 1 :] if done else steps
    missing = [step for step in (*ahead, *steps) if step.pk not in logged]
    return missing[0] if missing else None


def _minutes(passed: timedelta) -> int:
    return max(0, int(passed.total_seconds() // 60))


def _logged(attempts: Collection[Attempt]) -> tuple[Mapping[UUID, set[int]], Mapping[UUID, datetime]]:
    """The steps on which something was logged, and when that was last, by the attempt."""
    steps: dict[UUID, set[int]] = {}
    moved: dict[UUID, datetime] = {}
    for model in MODELS:
        rows = model.objects.filter(attempt__in=attempts).order_by()
        for attempt, step, received in rows.values_list("attempt", "step", "received_at"):
            steps.setdefault(attempt, set()).add(step)
            moved[attempt] = max(received, moved.get(attempt, received))
    return steps, moved


def _adjustments(attempts: Collection[Attempt], *, at: datetime) -> Mapping[UUID, tuple[Adjustment, ...]]:
    if not attempts:
        return {}
    on = next(iter(attempts)).rig.centre.date_at(at)
    found: dict[UUID, tuple[Adjustment, ...]] = {}
    for each in Adjustment.objects.in_force(on=on).filter(
        candidate__in={attempt.candidate_id for attempt in attempts}
    ):
        found[each.candidate_id] = (*found.get(each.candidate_id, ()), each)
    return found


def _at_rigs(
    centre: Centre, working: Iterable[Working], plan: SessionPlan | None, *, at: datetime
) -> Iterable[AtRig]:
    """Each rig that is in use, those with nobody and no plan last."""
    by_rig: dict[UUID, list[Working]] = {}
    for each in working:
        by_rig.setdefault(each.attempt.rig_id, []).append(each)
    begun = {(each.attempt.candidate_id, each.attempt.rig_id) for those in by_rig.values() for each in those}
    expected: dict[UUID, list[PlannedSlot]] = {}
    if plan is not None:
        now = plan.planned.standing().filter(slot=plan.slot_at(at))
        for slot in now.select_related("candidate", "version__task"):
            if (slot.candidate_id, slot.rig_id) not in begun:
                expected.setdefault(slot.rig_id, []).append(slot)
    rigs = Rig.objects.filter(centre=centre).in_use().with_state().order_by("tag")
    rows = [
        AtRig(
            rig=rig,
            working=tuple(by_rig.get(rig.pk, ())),
            expected=tuple(expected.get(rig.pk, ())),
        )
        for rig in rigs
    ]
    return sorted(rows, key=lambda each: not (each.working or each.expected))
