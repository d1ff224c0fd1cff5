"""Whole centres to walk through: one at work, with something of everything, and one just opened."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

from django.core.files.base import ContentFile

from academy.models import Centre, Person, Role
from assessments import (
    attempts,
    drafts,
    evidence,
    faults,
    limits,
    phrases,
    progress,
    tickets,
    verification,
    virtual,
)
from assessments.draft_steps import repeated, replaced
from assessments.impact import marking_again, opening
from assessments.models import Attempt, Photo, PortfolioDocument, Step, Ticket
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement
from assessments.models.virtual import Draw
from rigs import baselines, calendars, certificate_files, holds
from rigs.models import (
    Baseline,
    CalendarAddress,
    Calibration,
    CertificateFile,
    Hold,
    Instrument,
)
from rigs.models.designs import MeasurandKind
from rigs.models.instruments import InstrumentKind
from tests.factories import assessments as made
from tests.factories import exercises, fault_finding, impact, kept, rights, rigs, sessions, visits
from tests.factories import virtual as virtual_practices
from tests.factories.academy import AT, ManagerFactory, person_with
from tests.factories.assessments import SWITCH_TEST, Bench, Work

NOON = AT + timedelta(hours=3, minutes=45)
"""The end of the session that `busy_centre` is in the midst of."""
OUT_OF_RANGE = Work(
    readings={"ports-running": "1.91", "contacts-running": "480"},
    struck={"taps-running": "15.8"},
    skipped=frozenset({"leads-tone", "prove-after"}),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BusyCentre:
    """A centre with work in every state, and one person a role. ``things`` are what addresses are about."""

    bench: Bench
    people: Mapping[Role.Kind, Person]
    things: Mapping[str, Any]

    @property
    def centre(self) -> Centre:
        return self.bench.centre

    def id_of(self, thing: str) -> Any:
        found = self.things[thing]
        return found.token if isinstance(found, CalendarAddress) else found.pk


def busy_centre() -> BusyCentre:
    """What it is like at `NOON`: the candidate has an open, a waiting and a decided attempt."""
    bench = made.ready_bench()
    people = {
        Role.Kind.CANDIDATE: bench.candidate,
        Role.Kind.ASSESSOR: bench.assessor,
        Role.Kind.VERIFIER: person_with(Role.Kind.VERIFIER, by=bench.manager),
        Role.Kind.EXTERNAL_VERIFIER: person_with(Role.Kind.EXTERNAL_VERIFIER, by=bench.manager),
        Role.Kind.TECHNICIAN: bench.technician,
        Role.Kind.MANAGER: bench.manager,
    }
    for task in bench.tasks.values():
        progress.plan(cohort=bench.cohort, task=task.task, by=bench.manager, at=bench.at)
    things = {
        "person": bench.candidate,
        "role": bench.candidate.roles.get(),
        "membership": bench.candidate.memberships.get(),
        "cohort": bench.cohort,
        "version": bench.tasks[SWITCH_TEST],
        "rig": bench.rig,
        "design": bench.rig.design,
        "level": bench.rig.design.measurands.filter(kind=MeasurandKind.LEVEL)[0],
        "check": bench.rig.checks.get(),
        "limit": _limit(bench),
        "phrase": phrases.keep(assessor=bench.assessor, text="Good order of tests.", task=None, at=bench.at),
        "calendar": calendars.give_address(person=bench.technician, at=bench.at),
        **_attempts(bench),
        **_searches(bench),
        **_practices(bench),
        **_verified(bench, by=people[Role.Kind.VERIFIER]),
        **_drafts(bench),
        **_exercises(bench, by=people[Role.Kind.VERIFIER]),
        **_rigs(bench),
        **_instruments(bench),
        **_impact(bench),
        **kept.beside_people(by=bench.manager, at=NOON - timedelta(minutes=5)),
    }
    at = NOON - timedelta(minutes=10)
    things["ticket"] = _ticket(bench, things["other"], at=at)
    things |= visits.under_way(
        bench,
        attempt=things["decided"],
        other=things["other"],
        visitor=people[Role.Kind.EXTERNAL_VERIFIER],
        by=bench.manager,
        at=NOON - timedelta(minutes=5),
    )
    things |= sessions.running(bench, attempt=things["unfinished"], at=at)
    return BusyCentre(bench=bench, people=people, things=things)


def _ticket(bench: Bench, candidate: Person, *, at: datetime) -> Ticket:
    """Leave to practise without a network."""
    version = bench.tasks[SWITCH_TEST]
    return tickets.issue(
        id=uuid4(),
        candidate=candidate,
        version=version,
        rig=bench.rig,
        purpose=Purpose.PRACTICE,
        chosen={kind: bench.instruments[kind] for kind in attempts.kinds_needed(version)},
        at=at,
    )


def _limit(bench: Bench) -> SimpleNamespace:
    """A limit of a task that nobody has confirmed, by its digest."""
    rigs.load_designs(by=bench.manager, slugs=("pressure-bench",))
    issued = made.issue_tasks(by=bench.manager, at=AT, slugs=("pressure-test",), designs=("pressure-bench",))
    step = issued["pressure-test"].steps.filter(judged_by="conforms")[0]
    return SimpleNamespace(pk=limits.of_step(step).digest)


def _practices(bench: Bench) -> dict[str, Any]:
    """On virtual rigs: one begun, one looking for a fault, one finished."""
    candidate, at = bench.candidate, bench.at
    version = bench.tasks[SWITCH_TEST]
    begun, done = (virtual_practices.started(candidate=candidate, version=version, at=at) for _ in range(2))
    for slug in ("leads-together", "manometer-zero", "prove-before", "prove-dead"):
        virtual_practices.log(begun, slug)
        virtual_practices.log(done, slug)
    virtual_practices.log(done, "ports-running", typed="9.99")
    search = virtual_practices.fault_finding(by=bench.manager, at=at)
    searching = virtual_practices.started(candidate=candidate, version=search, draw=Draw.ANY, at=at)
    virtual_practices.measure(searching, "contacts", "fan-running")
    return {
        "practising": begun,
        "practised": virtual.finish(practice=done, candidate=candidate, at=at),
        "searching": searching,
        "search": search,
    }


def _attempts(bench: Bench) -> dict[str, Any]:
    at, hour = bench.at, timedelta(minutes=50)
    other = made.another_candidate(bench)
    decided = made.signed_off(bench, at=at).attempt
    refused = made.signed_off(
        bench, OUT_OF_RANGE, candidate=other, decision=Decision.NOT_YET_COMPETENT, at=at
    ).attempt
    waiting = made.handed_in(bench, OUT_OF_RANGE, at=at + hour)
    others_waiting = made.handed_in(bench, candidate=other, purpose=Purpose.PRACTICE, at=at + hour)
    to_return = made.handed_in(bench, purpose=Purpose.PRACTICE, at=at + timedelta(minutes=85))
    unfinished = made.started(bench, at=at + 2 * hour)
    work_half_way(unfinished)
    return {
        **rights.beside_decisions(
            bench, decided_on=decided, to_return=to_return, at=NOON - timedelta(minutes=10)
        ),
        "other": other,
        "decided": decided,
        "refused": refused,
        "waiting": waiting,
        "others-waiting": others_waiting,
        "unfinished": unfinished,
        "photo": Photo.objects.get(attempt=unfinished),
        "own-copy": _document(bench.candidate, by=bench.candidate, with_ranges=False, at=at + 2 * hour),
        "staff-copy": _document(other, by=bench.manager, with_ranges=True, at=at + 2 * hour),
    }


def _searches(bench: Bench) -> dict[str, Any]:
    """Two attempts at finding a fault: one with a reading corrected and one taken back, one handed in."""
    on = fault_finding.with_task(bench)
    open_one = fault_finding.started(on, purpose=Purpose.PRACTICE)
    misread = fault_finding.measure(open_one, "taps/fan-running", "15.8", why="Is there air?")
    kept = fault_finding.measure(
        open_one, "taps/fan-running", "1.58", corrects=misread, reason="Point misplaced"
    )
    fault_finding.take_back(open_one, fault_finding.measure(open_one, "contacts/fan-off", "OL"))
    other = made.another_candidate(bench)
    return {
        "finding": open_one,
        "finding-reading": kept,
        "found": fault_finding.handed_in(on, candidate=other, purpose=Purpose.PRACTICE),
    }


def _drafts(bench: Bench) -> dict[str, Any]:
    """A new version of the switch test, its second step thrice over, and a task with a title and no more."""
    by, at = bench.manager, bench.at
    draft = drafts.begin_from(version=bench.tasks[SWITCH_TEST], by=by, at=at)
    steps = draft.data["steps"]
    thrice = replaced(steps, (2,), repeated(steps[1], times=3))
    drafts.change(draft=draft, revision=1, edit=lambda data: {**data, "steps": thrice}, by=by, at=at)
    new = drafts.begin(centre=bench.centre, title="Look round", designs=[], by=by, at=at)
    return {"draft": draft, "draft-new": new}


def _verified(bench: Bench, *, by: Person) -> dict[str, Any]:
    """A sample of the day's decisions: one is verified, with an action; the others wait."""
    at = NOON - timedelta(minutes=5)
    plan = verification.draw_plan(
        centre=bench.centre,
        starts_on=at.date(),
        ends_on=at.date(),
        seed=1,
        wrong_percent=10,
        chance_percent=80,
        by=by,
        at=at,
    )
    first, *rest = plan.sampled.select_related("plan__centre", "sign_off__attempt")
    own = verification.decide_blind(
        sampled=first, verifier=by, decision=first.sign_off.decision, note="As it was logged.", at=at
    )
    compared = verification.compare(verification=own, verifier=by, agreement=Agreement.AGREED, note="", at=at)
    action = verification.raise_action(
        verification=compared,
        text="Say more in the feedback.",
        owner=bench.assessor,
        due_on=at.date() + timedelta(days=7),
        by=by,
        at=at,
    )
    return {"plan": plan, "verified": first, "sampled": rest[0], "action": action}


def _exercises(bench: Bench, *, by: Person) -> dict[str, Any]:
    decided = Attempt.objects.filter(rig=bench.rig, status="signed-off", purpose=Purpose.ASSESSMENT)
    return exercises.both(bench, of=decided.order_by("started_at")[:2], by=by, at=NOON - timedelta(minutes=5))


def work_half_way(attempt: Attempt, *, upto: str = "tee-in") -> datetime:
    """Log every step before ``upto``; then take the last action back. Returns when that was."""
    steps = list(attempt.version.steps.order_by("position"))
    position = next(step.position for step in steps if step.slug == upto)
    rest = frozenset(step.slug for step in steps if step.position >= position)
    last = made.work_through(attempt, Work(skipped=rest, struck={"leads-together": "2.0"}))
    at = last + made.STEP_TAKES
    evidence.log_step(
        attempt=attempt,
        step=Step.objects.get(version=attempt.version, slug="meter-on-posts"),
        sent=evidence.Sent(id=uuid4(), reason="Tapped too early"),
        candidate=attempt.candidate,
        at=at,
        done=False,
    )
    return at


def _document(candidate: Person, *, by: Person, with_ranges: bool, at: datetime) -> PortfolioDocument:
    """A document as it is kept. Making a real one takes seconds and is tested elsewhere."""
    document = PortfolioDocument(
        candidate=candidate,
        issued_by=by,
        issued_at=at,
        with_ranges=with_ranges,
        ledger_head="0" * 64,
        sha256=hashlib.sha256(b"%PDF-1.7 signed").hexdigest(),
        size=15,
        unsigned_sha256=hashlib.sha256(b"%PDF-1.7").hexdigest(),
        unsigned_size=8,
        certificate_sha256="0" * 64,
        is_self_signed=True,
    )
    document.file.save(f"{document.pk}.pdf", ContentFile(b"%PDF-1.7 signed"), save=False)
    document.save(force_insert=True)
    return document


def waiting_baseline(bench: Bench) -> Baseline:
    """A rig VB-02, whose first baseline the technician has handed over."""
    rig = rigs.rig(by=bench.technician, tag="VB-02", at=AT)
    baseline = rigs.open_baseline(of=rig, instruments=_references(bench), by=bench.technician, runs=5, at=AT)
    return baselines.hand_over(baseline=baseline, by=bench.technician, at=AT)


def _references(bench: Bench) -> dict[str, Instrument]:
    found = Instrument.objects.references().filter(centre=bench.centre).select_related("model")
    return {str(each.model.kind): each for each in found}


def _rigs(bench: Bench) -> dict[str, Any]:
    technician, at, references = bench.technician, bench.at, _references(bench)
    baseline = waiting_baseline(bench)
    waiting = baseline.rig
    begun = rigs.rig(by=technician, tag="VB-03", at=AT)
    run = rigs.open_baseline(of=begun, instruments=references, by=technician, runs=1, days=1, at=AT)
    held = rigs.rig(by=technician, tag="VB-04", electrical_inspection_due=AT.date(), at=AT)
    fault = waiting.design.faults.all()[0]
    return {
        "rig-waiting": waiting,
        "rig-begun": begun,
        "rig-held": held,
        "baseline": bench.rig.baselines.get(),
        "baseline-waiting": baseline,
        "outlier": baseline.readings.earliest("pk"),
        "baseline-begun": run,
        "hold": holds.place(on=held, reason="Guard loose", by=technician, at=at),
        "fault": faults.set_fault(rig=waiting, fault=fault, by=bench.assessor, at=at, practice_only=True),
    }


def _instruments(bench: Bench) -> dict[str, Instrument | Hold | Calibration | CertificateFile]:
    technician, at = bench.technician, bench.at
    manometer = bench.instruments[InstrumentKind.MANOMETER]
    certificate = manometer.calibrations.earliest("calibrated_on")
    file = certificate_files.attach(calibration=certificate, content=rigs.PDF, by=technician, at=AT)
    held = rigs.instrument(by=technician, tag="MN-04", at=AT)
    return {
        "instrument": manometer,
        "calibration": certificate,
        "certificate-file": file,
        "instrument-held": held,
        "instrument-hold": holds.place(on=held, reason="Case cracked", by=technician, at=at),
        "instrument-uncertified": rigs.instrument(
            by=technician, kind=InstrumentKind.MULTIMETER, tag="DM-04", certified=False, at=AT
        ),
        "indicator": bench.instruments[InstrumentKind.VOLTAGE_INDICATOR],
    }


def _impact(bench: Bench) -> dict[str, Any]:
    """A review whose errors as found don't reach what was read, one to work through, and one to open."""
    at, by = NOON, bench.technician
    low, out, new = (
        rigs.certificate(
            of=of,
            by=by,
            on=at.date(),
            at=at,
            points=impact.points({0.5: -0.04, top: -0.07}),
            as_found_in_tolerance=False,
        )
        for of, top in (
            (bench.instruments[InstrumentKind.MANOMETER], 1.0),
            (rigs.instrument(by=by, tag="MN-05", at=AT), 2.0),
            (rigs.instrument(by=by, tag="MN-06", at=AT), 2.0),
        )
    )
    review, fresh = (
        opening.open_for_certificate(calibration=calibration, by=by, at=at) for calibration in (low, new)
    )
    marking_again.work_through(review=review, by=by, at=at)
    item = review.items.affected()[0]
    return {"calibration-out": out, "impact": review, "impact-item": item, "impact-new": fresh}


def empty_centre() -> dict[Role.Kind, Person]:
    """A centre just opened: one person a role, and nothing else."""
    manager = ManagerFactory()
    others = [kind for kind in Role.Kind if kind != Role.Kind.MANAGER]
    return {Role.Kind.MANAGER: manager, **{kind: person_with(kind, by=manager) for kind in others}}
