"""Visits by external verifiers: a sample chosen for them, from day to day, and a record of what they opened.

An external verifier's role opens nothing of the centre by itself. All they get to is a visit's sample: the
attempts of its candidates at its tasks, with the trail, the photos and the certificates that belong to them,
and those candidates' portfolios. There is one place that says what belongs: the functions here.
"""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from academy import ledger
from academy.models import Centre, Person, Role
from academy.permissions import Permission, permissions_of
from academy.refusals import Refused
from academy.seals import sealed
from assessments.models import (
    Attempt,
    Photo,
    PortfolioDocument,
    SamplingPlan,
    Task,
    Visit,
    VisitLook,
    VisitSample,
)
from assessments.models.attempts import Purpose
from assessments.models.visits import VisitPage
from rigs.models import BaselineReading, Calibration, CertificateFile, CheckReading

Pair = tuple[UUID, UUID]
"""A candidate and a task, by id."""


@transaction.atomic
def arrange(
    *,
    visitor: Person,
    starts_on: date,
    ends_on: date,
    reason: str,
    plan: SamplingPlan | None = None,
    candidates: Iterable[Person] = (),
    tasks: Collection[Task] = (),
    by: Person,
    at: datetime,
) -> Visit:
    """Open a sample to an external verifier: a plan's decisions, and what those candidates did of the tasks.

    Refused outside the visitor's own role, without anything in the sample, and to whoever arranges no visits.
    """
    centre = _require_arranger(by, at=at)
    if ends_on < max(starts_on, centre.date_at(at)):
        raise Refused("A visit lasts at least until today and its own first day.", field="ends_on")
    if not reason.strip():
        raise Refused("Say what the visit is for.", field="reason")
    _require_role(visitor, centre, starts_on=starts_on, ends_on=ends_on)
    if plan is not None and plan.centre_id != centre.pk:
        raise Refused("That sample belongs to another centre.", field="plan")
    wanted = _of_plan(plan) | _assessed(centre, candidates, tasks)
    if not wanted:
        raise Refused("Choose a sample, or candidates and tasks of which something was assessed.")
    visit = Visit.objects.create(
        centre=centre,
        visitor=visitor,
        starts_on=starts_on,
        ends_on=ends_on,
        reason=reason.strip(),
        plan=plan,
        made_by=by,
        made_at=at,
    )
    _add(visit, wanted)
    facts: dict[str, ledger.Fact] = {
        "visitor": str(visitor.pk),
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat(),
        "plan": None if plan is None else str(plan.pk),
        "reason": sealed(visit.reason, visit.salt),
    }
    _log("visit.arrange", visit, wanted, by=by, at=at, **facts)
    return visit


@transaction.atomic
def extend(
    *, visit: Visit, candidates: Iterable[Person], tasks: Collection[Task], by: Person, at: datetime
) -> int:
    """Open more to the visitor. Nothing is taken out of a sample again. Returns how much was added."""
    held = _held(visit, by=by, at=at)
    known = set(held.sample.values_list("candidate", "task"))
    wanted = _assessed(held.centre, candidates, tasks) - known
    if not wanted:
        raise Refused("Nothing new was assessed there: choose other candidates or tasks.")
    _add(held, wanted)
    _log("visit.extend", held, wanted, by=by, at=at)
    return len(wanted)


@transaction.atomic
def end(*, visit: Visit, by: Person, at: datetime) -> Visit:
    """End a visit before its last day. It stays on record."""
    held = _held(visit, by=by, at=at)
    held.ended_by, held.ended_at = by, at
    held.save(update_fields=["ended_by", "ended_at"])
    ledger.append(centre=held.centre, actor=by, verb="visit.end", subject=held.pk, at=at)
    return held


def note_look(
    *,
    visit: Visit,
    person: Person,
    page: VisitPage,
    at: datetime,
    about: UUID | None = None,
    sample: VisitSample | None = None,
) -> None:
    """Keep what the visitor opened, and when. What others open on these pages isn't kept."""
    if visit.visitor_id == person.pk:
        VisitLook.objects.create(visit=visit, page=page, about=about, sample=sample, at=at)


def visible_to(person: Person, *, on: date) -> QuerySet[Visit]:
    """All visits of the centre, for who arranges them; for a visitor their own that are on, and no others."""
    permissions = permissions_of(person, on=on)
    if Permission.VISIT_MANAGE in permissions:
        return Visit.objects.visible_to(person)
    if Permission.VISIT_READ in permissions:
        return Visit.objects.open_to(person, on=on)
    return Visit.objects.none()


def attempts_of(visit: Visit) -> QuerySet[Attempt]:
    """What its candidates did of its tasks, practice too."""
    inside = VisitSample.objects.filter(
        visit=visit, candidate=OuterRef("candidate"), task=OuterRef("version__task")
    )
    return Attempt.objects.filter(Exists(inside), candidate__centre=visit.centre_id)


def photos_of(visit: Visit) -> QuerySet[Photo]:
    return Photo.objects.filter(attempt__in=attempts_of(visit))


def calibrations_of(visit: Visit) -> QuerySet[Calibration]:
    """The certificates that its attempts rest on: of what was taken to the bench, and of the references.

    References are those that the rig's baseline and the session's check were read with.
    """
    attempts = attempts_of(visit)
    checks = CheckReading.objects.filter(rig_check__value_sheet__attempts__in=attempts)
    baselines = BaselineReading.objects.filter(baseline__value_sheets__attempts__in=attempts)
    return Calibration.objects.filter(
        Q(pk__in=attempts.values("instruments__calibration"))
        | Q(pk__in=checks.values("calibration"))
        | Q(pk__in=baselines.values("calibration")),
        instrument__centre=visit.centre_id,
    )


def certificates_of(visit: Visit) -> QuerySet[CertificateFile]:
    """Their files."""
    return CertificateFile.objects.filter(calibration__in=calibrations_of(visit))


def portfolios_of(visit: Visit) -> QuerySet[PortfolioDocument]:
    """Copies for staff of the candidates' portfolios: one document is about all that a candidate did."""
    return PortfolioDocument.objects.filter(
        candidate__in=visit.sample.values("candidate"), candidate__centre=visit.centre, with_ranges=True
    )


def _add(visit: Visit, wanted: Iterable[Pair]) -> None:
    VisitSample.objects.bulk_create(
        VisitSample(visit=visit, candidate_id=candidate, task_id=task) for candidate, task in sorted(wanted)
    )


def _of_plan(plan: SamplingPlan | None) -> set[Pair]:
    if plan is None:
        return set()
    return set(
        plan.sampled.values_list(
            "sign_off__attempt__candidate", "sign_off__attempt__version__task"
        ).distinct()
    )


def _assessed(centre: Centre, candidates: Iterable[Person], tasks: Collection[Task]) -> set[Pair]:
    found = Attempt.objects.filter(
        rig__centre=centre,
        candidate__centre=centre,
        candidate__in=list(candidates),
        version__task__in=tasks,
        purpose=Purpose.ASSESSMENT,
    )
    return set(found.values_list("candidate", "version__task").distinct())


def _require_arranger(by: Person, *, at: datetime) -> Centre:
    if by.centre is None or Permission.VISIT_MANAGE not in permissions_of(by, on=by.centre.date_at(at)):
        raise Refused("Only an internal verifier or a manager arranges visits.")
    return by.centre


def _require_role(visitor: Person, centre: Centre, *, starts_on: date, ends_on: date) -> None:
    roles = Role.objects.filter(
        person=visitor,
        person__centre=centre,
        kind=Role.Kind.EXTERNAL_VERIFIER,
        starts_on__lte=starts_on,
        ends_on__gte=ends_on,
    )
    if not roles.exists():
        raise Refused(
            "The visitor must be an external verifier here from the first day to the last.", field="visitor"
        )


def _held(visit: Visit, *, by: Person, at: datetime) -> Visit:
    """The visit, locked. Refused to whoever doesn't arrange visits there, and once it is over."""
    centre = _require_arranger(by, at=at)
    held = Visit.objects.select_for_update(of=("self",)).select_related("centre").get(pk=visit.pk)
    if held.centre_id != centre.pk:
        raise Refused("That visit belongs to another centre.")
    if held.ended_at is not None or held.ends_on < centre.date_at(at):
        raise Refused("That visit is over.")
    return held


def _log(
    verb: str, visit: Visit, added: Iterable[Pair], *, by: Person, at: datetime, **facts: ledger.Fact
) -> None:
    pairs = [[str(candidate), str(task)] for candidate, task in sorted(added)]
    ledger.append(
        centre=visit.centre, actor=by, verb=verb, subject=visit.pk, at=at, facts={**facts, "sample": pairs}
    )
