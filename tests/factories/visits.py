"""A visit to a bench where two candidates were assessed: one is in the sample, the other isn't."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.files.base import ContentFile

from academy.models import Job, Person, Role
from assessments import verification, visits
from assessments.models import Attempt, Pack, SamplingPlan, SignOff, Visit
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement
from rigs import certificate_files
from rigs.models import CertificateFile
from tests.factories import assessments as made
from tests.factories.academy import person_with
from tests.factories.assessments import SWITCH_TEST, Bench, Work

LATER = timedelta(hours=3)
PDF = b"%PDF-1.7\n%%EOF\n"
NEVER_PROVED = Work(skipped=frozenset({"prove-after"}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Visited:
    bench: Bench
    visitor: Person
    verifier: Person
    inside: SignOff
    outside: Attempt
    visit: Visit
    at: datetime

    @property
    def candidate(self) -> Person:
        return self.bench.candidate

    @property
    def attempt(self) -> Attempt:
        return self.inside.attempt


def visited(bench: Bench) -> Visited:
    """A visit of two days, of one candidate and the switch test."""
    visitor = person_with(Role.Kind.EXTERNAL_VERIFIER, by=bench.manager)
    verifier = person_with(Role.Kind.VERIFIER, by=bench.manager)
    other = made.another_candidate(bench)
    inside = made.signed_off(bench)
    outside = made.signed_off(bench, NEVER_PROVED, candidate=other, decision=Decision.NOT_YET_COMPETENT)
    visit = arranged(bench, visitor=visitor, by=verifier)
    return Visited(
        bench=bench,
        visitor=visitor,
        verifier=verifier,
        inside=inside,
        outside=outside.attempt,
        visit=visit,
        at=bench.at + LATER,
    )


def arranged(bench: Bench, *, visitor: Person, by: Person, **given: object) -> Visit:
    at = bench.at + LATER
    chosen = {
        "starts_on": at.date(),
        "ends_on": at.date() + timedelta(days=1),
        "reason": "Yearly visit.",
        "candidates": [bench.candidate],
        "tasks": [bench.tasks[SWITCH_TEST].task],
    }
    return visits.arrange(visitor=visitor, by=by, at=at, **{**chosen, **given})


def verified(of: Visited) -> SamplingPlan:
    """A sample of the day's decisions, each looked at and agreed with; the first with an action."""
    on = of.at.date()
    plan = verification.draw_plan(
        centre=of.bench.centre,
        starts_on=on,
        ends_on=on,
        seed=1,
        wrong_percent=10,
        chance_percent=80,
        by=of.verifier,
        at=of.at,
    )
    for sampled in plan.sampled.select_related("plan__centre", "sign_off__attempt"):
        own = verification.decide_blind(
            sampled=sampled,
            verifier=of.verifier,
            decision=sampled.sign_off.decision,
            note="As it was logged.",
            at=of.at,
        )
        verification.compare(
            verification=own, verifier=of.verifier, agreement=Agreement.AGREED, note="", at=of.at
        )
        verification.raise_action(
            verification=own,
            text="Say more in the feedback.",
            owner=of.bench.assessor,
            due_on=on + timedelta(days=7),
            by=of.verifier,
            at=of.at,
        )
    return plan


def with_certificate(of: Visited) -> CertificateFile:
    """The file of the certificate of an instrument that was taken to the attempt inside."""
    taken = of.attempt.instruments.exclude(calibration=None).select_related("calibration__instrument__centre")
    calibration = taken[0].calibration
    assert calibration is not None
    return certificate_files.attach(
        calibration=calibration, content=PDF, by=of.bench.technician, at=of.bench.at
    )


def under_way(
    bench: Bench, *, attempt: Attempt, other: Person, visitor: Person, by: Person, at: datetime
) -> dict[str, object]:
    """Two visits about both candidates of a busy centre, with one of everything that belongs, and a job."""
    task = bench.tasks[SWITCH_TEST].task
    visit, _ = (
        visits.arrange(
            visitor=visitor,
            starts_on=at.date(),
            ends_on=at.date(),
            reason="Yearly visit.",
            candidates=[bench.candidate, other],
            tasks=[task],
            by=by,
            at=at,
        )
        for _ in range(2)
    )
    taken = attempt.instruments.exclude(calibration=None).select_related("calibration__instrument__centre")
    kept = certificate_files.attach(calibration=taken[0].calibration, content=PDF, by=bench.technician, at=at)
    pack = Pack(
        visit=visit,
        made_by=by,
        made_at=at,
        size=4,
        sha256="0" * 64,
        manifest_sha256="0" * 64,
        ledger_head=f"0:{'0' * 64}",
    )
    pack.file.save(f"{pack.pk}.zip", ContentFile(b"PK.."), save=False)
    pack.save(force_insert=True)
    return {
        "task": task,
        "visit": visit,
        "visit-sample": visit.sample.get(candidate=bench.candidate),
        "visit-photo": attempt.photos.first(),
        "visit-certificate": kept,
        "pack": pack,
        "job": Job.objects.create(
            centre=bench.centre, asked_by=by, kind="pack", key=str(visit.pk), asked_at=at
        ),
    }
