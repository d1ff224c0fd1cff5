"""Standardisation exercises: assessors decide on the same attempts blind, and what differs is ruled on."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Count, F, Max, Q, QuerySet

from academy import ledger
from academy.models import Centre, Person, Role
from academy.permissions import ROLE_PERMISSIONS, Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.comparing import alike
from assessments.models import (
    ConflictOfInterest,
    Criterion,
    Exercise,
    ExerciseDecision,
    ExerciseItem,
    ExerciseParticipant,
    Ruling,
    SignOff,
)
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, Strand

LEAST = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A closed exercise: who decided on everything, what each decided, and what that says.

    ``compared`` is None where fewer than two did. ``own`` are the pairs of item and assessor where the
    decision that stands on the attempt is that assessor's.
    """

    assessors: tuple[Person, ...]
    decisions: Mapping[tuple[UUID, UUID], ExerciseDecision]
    compared: alike.Compared | None
    own: frozenset[tuple[UUID, UUID]]


def eligible(*, centre: Centre) -> QuerySet[SignOff]:
    """The decisions whose attempts can be decided again: assessments that are decided for good."""
    return (
        SignOff.objects.current()
        .filter(
            attempt__rig__centre=centre,
            attempt__purpose=Purpose.ASSESSMENT,
            attempt__status=AttemptStatus.SIGNED_OFF,
        )
        .select_related("attempt__candidate", "attempt__rig", "attempt__version__task", "assessor")
        .order_by("-at", "pk")
    )


def assessors_in_post(*, centre: Centre, on: date) -> QuerySet[Person]:
    kinds = [kind for kind, may in ROLE_PERMISSIONS.items() if Permission.ATTEMPT_DECIDE in may]
    held = Role.objects.in_force(on=on).filter(kind__in=kinds)
    found: QuerySet[Person] = Person.objects.filter(
        centre=centre, is_active=True, pk__in=held.values("person")
    )
    return found


@transaction.atomic
def open_exercise(
    *,
    centre: Centre,
    title: str,
    sign_offs: Collection[SignOff],
    assessors: Collection[Person],
    due_on: date,
    by: Person,
    at: datetime,
) -> Exercise:
    """Ask assessors to decide on attempts that were decided before, each for themselves.

    Refused with fewer than two of either, to whoever isn't a verifier, and where one of those who take part
    has a conflict of interest with a candidate, or is one.
    """
    _require_verifier(by, centre, at=at)
    if not title.strip():
        raise Refused("Give it a title, such as “Three-terminal test, spring”.", field="title")
    if due_on < centre.date_at(at):
        raise Refused("That day has passed already.", field="due_on")
    chosen = list(eligible(centre=centre).filter(pk__in=[each.pk for each in sign_offs]))
    if len(chosen) < max(LEAST, len(sign_offs)):
        raise Refused("Choose two attempts at least, all of them decided.", field="sign_offs")
    _require_fit(assessors, centre=centre, by=by, on=centre.date_at(at))
    _require_apart([*assessors, by], chosen, on=centre.date_at(at))
    exercise = Exercise.objects.create(
        centre=centre, title=title.strip(), due_on=due_on, opened_by=by, opened_at=at
    )
    ExerciseItem.objects.bulk_create(
        ExerciseItem(exercise=exercise, attempt=each.attempt, outcome_id=each.outcome_id, position=position)
        # By their ids: the order of the list would tell which were decided together.
        for position, each in enumerate(sorted(chosen, key=lambda each: each.attempt_id), start=1)
    )
    ExerciseParticipant.objects.bulk_create(
        ExerciseParticipant(exercise=exercise, assessor=each) for each in assessors
    )
    facts: dict[str, ledger.Fact] = {
        "attempts": sorted(str(each.attempt_id) for each in chosen),
        "assessors": sorted(str(each.pk) for each in assessors),
    }
    ledger.append(centre=centre, actor=by, verb="exercise.open", subject=exercise.pk, at=at, facts=facts)
    return exercise


@transaction.atomic
def decide(
    *, item: ExerciseItem, assessor: Person, decision: Decision, reason: str, at: datetime
) -> ExerciseDecision:
    """An invited assessor's decision, without knowing anybody else's. Once, and while it is open."""
    exercise = _locked(item.exercise)
    centre = exercise.centre
    if not exercise.participants.filter(assessor=assessor, invited=True).exists():
        raise Refused("You weren’t asked to decide in this exercise.")
    if Permission.ATTEMPT_DECIDE not in permissions_of(assessor, on=centre.date_at(at)):
        raise Refused("Only an assessor in post today can decide.")
    if exercise.closed_at is not None:
        raise Refused("This exercise was closed: its decisions are being compared.")
    if not reason.strip():
        raise Refused("Say in a sentence what you decided it by.", field="reason")
    if item.decisions.filter(assessor=assessor).exists():
        raise Refused("You have decided on this one already.")
    made = ExerciseDecision.objects.create(
        item=item, assessor=assessor, decision=decision, reason=reason.strip(), at=at
    )
    ledger.append(
        centre=centre,
        actor=assessor,
        verb="exercise.decide",
        subject=exercise.pk,
        at=at,
        facts={
            "attempt": str(item.attempt_id),
            "decision": str(decision),
            "reason": sealed(made.reason, made.salt),
        },
    )
    return made


@transaction.atomic
def close(*, exercise: Exercise, by: Person, at: datetime) -> Exercise:
    """End deciding, and let the decisions be seen.

    Assessors in post who haven't decided on every attempt were away: they read and confirm the rulings.
    """
    held = _locked(exercise)
    _require_verifier(by, held.centre, at=at)
    _require_open(held)
    held.closed_by, held.closed_at = by, at
    held.save(update_fields=["closed_by", "closed_at"])
    whole = {person.pk for person in _who_decided_all(held)}
    held.participants.exclude(assessor__in=whole).update(was_away=True)
    known = set(held.participants.values_list("assessor", flat=True))
    others = assessors_in_post(centre=held.centre, on=held.centre.date_at(at)).exclude(pk__in=known)
    ExerciseParticipant.objects.bulk_create(
        ExerciseParticipant(exercise=held, assessor=person, invited=False, was_away=True) for person in others
    )
    facts: dict[str, ledger.Fact] = {"decided_all": sorted(str(each) for each in whole)}
    ledger.append(centre=held.centre, actor=by, verb="exercise.close", subject=held.pk, at=at, facts=facts)
    return held


@transaction.atomic
def rule(*, item: ExerciseItem, text: str, criterion: Criterion | None, by: Person, at: datetime) -> Ruling:
    """Say how an attempt like this is decided from now on, and by which of its task's criteria."""
    exercise = _locked(item.exercise)
    _require_verifier(by, exercise.centre, at=at)
    if exercise.closed_at is None:
        raise Refused("Close the exercise first: rulings come after the comparison.")
    if not text.strip():
        raise Refused("Say how such an attempt is to be decided, and why.", field="text")
    if criterion is not None and not item.attempt.version.criteria.filter(pk=criterion.pk).exists():
        raise Refused("That criterion isn’t one of this task’s.", field="criterion")
    made = Ruling.objects.create(item=item, criterion=criterion, text=text.strip(), made_by=by, at=at)
    facts = {
        "attempt": str(item.attempt_id),
        "criterion": None if criterion is None else criterion.code,
        "text": sealed(made.text, made.salt),
    }
    ledger.append(
        centre=exercise.centre, actor=by, verb="exercise.rule", subject=exercise.pk, at=at, facts=facts
    )
    return made


@transaction.atomic
def confirm_read(*, exercise: Exercise, assessor: Person, at: datetime) -> ExerciseParticipant:
    """An assessor who was away has read what came of it."""
    held = _locked(exercise)
    if held.closed_at is None:
        raise Refused("There is nothing to read before the exercise is closed.")
    found = held.participants.filter(assessor=assessor, was_away=True).first()
    if found is None:
        raise Refused("Only an assessor who was away confirms that.")
    found.read_at = at
    found.save(update_fields=["read_at"])
    ledger.append(centre=held.centre, actor=assessor, verb="exercise.read", subject=held.pk, at=at)
    return found


def to_decide(assessor: Person) -> QuerySet[Any]:
    """Open exercises in which an assessor has yet to decide; ``left`` says on how many."""
    own = Q(exercise__items__decisions__assessor=assessor)
    return (
        ExerciseParticipant.objects.filter(assessor=assessor, invited=True, exercise__closed_at=None)
        .annotate(
            asked=Count("exercise__items", distinct=True),
            decided=Count("exercise__items__decisions", filter=own, distinct=True),
        )
        .annotate(left=F("asked") - F("decided"))
        .filter(left__gt=0)
        .select_related("exercise")
        .order_by("exercise__due_on")
    )


def to_read(assessor: Person) -> QuerySet[ExerciseParticipant]:
    """Closed exercises whose outcome, or newest ruling, an assessor who was away hasn't confirmed."""
    return (
        ExerciseParticipant.objects.filter(assessor=assessor, was_away=True)
        .annotate(ruled_at=Max("exercise__items__rulings__at"))
        .filter(Q(read_at=None) | Q(ruled_at__gt=F("read_at")))
        .select_related("exercise")
        .order_by("exercise__closed_at")
    )


def comparison(exercise: Exercise) -> Comparison | None:
    """The decisions side by side; None while it is open, to anybody. A constant number of queries."""
    if exercise.closed_at is None:
        return None
    items = list(exercise.items.select_related("outcome").defer("outcome__inputs", "outcome__result"))
    people = _who_decided_all(exercise)
    made = ExerciseDecision.objects.filter(item__exercise=exercise).select_related("assessor")
    decisions = {(each.item_id, each.assessor_id): each for each in made}
    critical = {str(item.pk) for item in items if item.outcome.procedure == Strand.NOT_MET}
    standing = SignOff.objects.current().filter(attempt__in=[item.attempt_id for item in items])
    decided_by = dict(standing.values_list("attempt", "assessor"))
    return Comparison(
        assessors=tuple(people),
        decisions=decisions,
        compared=alike.compare(
            {
                str(item.pk): {str(person.pk): decisions[item.pk, person.pk].decision for person in people}
                for item in items
            },
            critical=critical,
        ),
        own=frozenset(
            (item.pk, decided_by[item.attempt_id]) for item in items if item.attempt_id in decided_by
        ),
    )


def _who_decided_all(exercise: Exercise) -> Sequence[Person]:
    asked = exercise.items.count()
    whole = (
        ExerciseDecision.objects.filter(item__exercise=exercise)
        .order_by()
        .values("assessor")
        .annotate(made=Count("pk"))
        .filter(made=asked)
        .values("assessor")
    )
    return list(Person.objects.filter(pk__in=whole).order_by("name", "pk"))


def _require_open(exercise: Exercise) -> None:
    if exercise.closed_by is not None:
        raise Refused(f"{exercise.closed_by.name} closed this exercise already.")


def _require_fit(assessors: Collection[Person], *, centre: Centre, by: Person, on: date) -> None:
    if len(assessors) < LEAST:
        raise Refused("Choose two assessors at least.", field="assessors")
    if by in assessors:
        raise Refused("You have seen what was decided: leave yourself out.", field="assessors")
    in_post = set(assessors_in_post(centre=centre, on=on))
    for person in assessors:
        if person not in in_post:
            raise Refused(f"{person.name} isn’t an assessor of this centre today.", field="assessors")


def _require_apart(people: Sequence[Person], chosen: Sequence[SignOff], *, on: date) -> None:
    candidates = {each.attempt.candidate_id: each.attempt.candidate for each in chosen}
    for person in people:
        if person.pk in candidates:
            raise Refused(f"One of the attempts is {person.name}’s own.", field="sign_offs")
    pairing = (
        ConflictOfInterest.objects.in_force(on=on)
        .filter(person__in=people, candidate__in=candidates)
        .select_related("person", "candidate")
        .first()
    )
    if pairing is not None:
        raise Refused(
            f"{pairing.person.name} has declared a conflict of interest with {pairing.candidate.name}: "
            "leave one of them out.",
            field="sign_offs",
        )


def _require_verifier(person: Person, centre: Centre, *, at: datetime) -> None:
    may = Permission.VERIFICATION_DO in permissions_of(person, on=centre.date_at(at))
    if person.centre_id != centre.pk or not may:
        raise Refused("Only an internal verifier of this centre, in post today, can do that.")


def _locked(exercise: Exercise) -> Exercise:
    return (
        Exercise.objects.select_for_update(of=("self",))
        .select_related("centre", "closed_by")
        .get(pk=exercise.pk)
    )
