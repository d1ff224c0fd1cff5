"""The centre before its first session: people, tasks, rigs, instruments with certificates, cohorts."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from django.db.models import prefetch_related_objects

from academy import cohorts, json_files, people
from academy.models import Centre, Person, Role
from assessments import catalogue, limits, progress, questions
from assessments.demo.scenario import CohortPlan, InstrumentPlan, Scenario
from assessments.demo.timetable import Timetable
from assessments.models import Task, TaskVersion
from assessments.models.tasks import ReadingCheck
from rigs import calibrations, register
from rigs import catalogue as designs
from rigs.calibrations import PointLine
from rigs.metrology.quantities import Quantity
from rigs.models import Instrument, InstrumentModel, Rig
from rigs.models.instruments import InstrumentKind

NOMINALS: Mapping[str, tuple[float, ...]] = {
    "manometer": (0.5, 1.0, 2.0),
    "multimeter": (0.5, 10.0, 100.0),
    "thermometer": (0.0, 25.0, 60.0),
}


Versions = Mapping[tuple[str, str], TaskVersion]
"""Task versions by the slugs of their task and of the design that they are for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What the centre has, by name, tag and slug."""

    centre: Centre
    people: Mapping[str, Person]
    rigs: Mapping[str, Rig]
    instruments: Mapping[str, Instrument]
    tasks: Versions

    def task(self, slug: str) -> Task:
        return next(version.task for (task, _), version in self.tasks.items() if task == slug)

    def version(self, slug: str, *, rig: str) -> TaskVersion:
        """The version of a task for the design of a rig, by its tag."""
        return self.tasks[slug, self.rigs[rig].design.slug]

    def in_hand(self, tags: tuple[str, ...]) -> dict[str, Instrument]:
        """Instruments by kind, as an attempt takes them."""
        return {str(self.instruments[tag].model.kind): self.instruments[tag] for tag in tags}


def found(scenario: Scenario, *, fixtures: Path, timetable: Timetable, at: datetime) -> Stock:
    """Open the centre at that moment, and fill it."""
    manager = people.open_centre(
        name=scenario.centre,
        time_zone=scenario.time_zone,
        manager_name=scenario.manager,
        manager_email=scenario.email(scenario.manager),
        password=scenario.password,
        at=at,
    )
    assert manager.centre is not None
    tasks = _tasks(manager.centre, fixtures, by=manager, at=at)
    _confirm_limits(tasks, but=scenario.limits_waiting, by=manager, at=at)
    staff = {scenario.manager: manager} | _staff(scenario, manager, timetable, at=at)
    technician = staff[scenario.technician]
    candidates = _cohorts(scenario, tasks, timetable, by=manager, at=at)
    return Stock(
        centre=manager.centre,
        people=staff | candidates,
        tasks=tasks,
        rigs=_rigs(scenario, timetable, by=technician, at=at),
        instruments=_instruments(scenario, timetable, by=technician, at=at),
    )


def known(centre: Centre) -> Stock:
    """The stock of the demo's centre as it stands in the database."""
    return Stock(
        centre=centre,
        people={each.name: each for each in Person.objects.filter(centre=centre).select_related("centre")},
        rigs={
            each.tag: each for each in Rig.objects.filter(centre=centre).select_related("centre", "design")
        },
        instruments=_with_figures(
            {
                each.tag: each
                for each in Instrument.objects.filter(centre=centre).select_related("model", "centre")
            }
        ),
        tasks={
            (each.task.slug, each.design.slug): each
            for each in TaskVersion.objects.in_force()
            .filter(task__centre=centre)
            .select_related("task", "design")
        },
    )


def _tasks(centre: Centre, fixtures: Path, *, by: Person, at: datetime) -> Versions:
    for file in designs.read_designs(fixtures / "designs"):
        designs.load_design_file(centre=centre, file=file, by=by, at=at)
    catalogue.load_criteria_file(centre=centre, file=json_files.read(fixtures / "criteria.json"))
    issued = [
        version
        for file in catalogue.read_tasks(fixtures / "tasks")
        for version in catalogue.issue_file(centre=centre, file=file, by=by, at=at)
    ]
    for file in questions.read_files(fixtures / "questions"):
        questions.issue_file(centre=centre, file=file, by=by, at=at)
    return {(version.task.slug, version.design.slug): version for version in issued}


def _confirm_limits(tasks: Versions, *, but: Collection[str], by: Person, at: datetime) -> None:
    """The manager compares each limit with its source; those that only these tasks state wait for it."""
    assert by.centre is not None
    stated = {
        limits.of_step(step).digest
        for version in tasks.values()
        if version.task.slug not in but
        for step in version.steps.filter(judged_by=ReadingCheck.CONFORMS)
    }
    for digest in sorted(stated):
        limits.confirm(centre=by.centre, digest=digest, compared=True, by=by, at=at)


def _staff(scenario: Scenario, manager: Person, timetable: Timetable, *, at: datetime) -> dict[str, Person]:
    assert manager.centre is not None
    on = manager.centre.date_at(at)
    return {
        plan.name: people.add_person(
            centre=manager.centre,
            name=plan.name,
            email=scenario.email(plan.name),
            kinds=[Role.Kind(role) for role in plan.roles],
            password=scenario.password,
            by=manager,
            at=at,
            on=on,
            until=None if plan.weeks is None else timetable.today + timedelta(weeks=plan.weeks),
        )
        for plan in scenario.people
    }


def _cohorts(
    scenario: Scenario, tasks: Versions, timetable: Timetable, *, by: Person, at: datetime
) -> dict[str, Person]:
    joined: dict[str, Person] = {}
    for plan in scenario.cohorts:
        joined |= _cohort(scenario, plan, tasks, timetable.monday(week=plan.week), by=by, at=at)
    return joined


def _cohort(
    scenario: Scenario,
    plan: CohortPlan,
    tasks: Versions,
    starts: date,
    *,
    by: Person,
    at: datetime,
) -> dict[str, Person]:
    assert by.centre is not None
    cohort = cohorts.open_cohort(
        centre=by.centre,
        name=plan.name,
        starts_on=starts,
        ends_on=starts + timedelta(weeks=plan.weeks),
        by=by,
        at=at,
    )
    planned = {version.task.slug: version.task for version in tasks.values()}
    for slug in plan.tasks or planned:
        progress.plan(cohort=cohort, task=planned[slug], by=by, at=at)
    return {
        name: people.add_person(
            centre=by.centre,
            name=name,
            email=scenario.email(name),
            kinds=[Role.Kind.CANDIDATE],
            cohort=cohort,
            password=scenario.password,
            by=by,
            at=at,
            on=starts,
        )
        for name in plan.candidates
    }


def _rigs(scenario: Scenario, timetable: Timetable, *, by: Person, at: datetime) -> dict[str, Rig]:
    assert by.centre is not None
    owned = {design.slug: design for design in by.centre.rig_designs.all()}
    return {
        plan.tag: register.add_rig(
            design=owned[plan.design],
            tag=plan.tag,
            place=plan.place,
            electrical_inspection_due=timetable.today + timedelta(days=plan.inspection_due_in_days),
            by=by,
            at=at,
        )
        for plan in scenario.rigs
    }


def _instruments(
    scenario: Scenario, timetable: Timetable, *, by: Person, at: datetime
) -> dict[str, Instrument]:
    assert by.centre is not None
    models = {
        plan.name: register.add_instrument_model(
            centre=by.centre, kind=InstrumentKind(plan.kind), name=plan.name, ranges=plan.ranges, by=by, at=at
        )
        for plan in scenario.models
    }
    made = {
        plan.tag: _instrument(scenario, plan, models, timetable, by=by, at=at)
        for plan in scenario.instruments
    }
    return _with_figures(made)


def _with_figures(instruments: dict[str, Instrument]) -> dict[str, Instrument]:
    """The same, with what every reading asks of them: the references' certificates never change here."""
    prefetch_related_objects(list(instruments.values()), "model__ranges")
    references = [each for each in instruments.values() if each.is_reference]
    prefetch_related_objects(references, "calibrations__points")
    return instruments


def _instrument(
    scenario: Scenario,
    plan: InstrumentPlan,
    models: Mapping[str, InstrumentModel],
    timetable: Timetable,
    *,
    by: Person,
    at: datetime,
) -> Instrument:
    made = register.add_instrument(
        model=models[plan.model.name], tag=plan.tag, is_reference=plan.reference, by=by, at=at
    )
    if plan.certificate is not None:
        calibrations.record(
            instrument=made,
            certificate=plan.certificate.number,
            laboratory=scenario.laboratory,
            calibrated_on=timetable.today - timedelta(days=plan.certificate.days_old),
            due_on=timetable.today + timedelta(days=plan.certificate.days_left),
            points=_points(plan, as_left_error=plan.certificate.as_left_error),
            as_found_in_tolerance=True,
            by=by,
            at=at,
        )
    return made


def _points(plan: InstrumentPlan, *, as_left_error: float) -> list[PointLine]:
    line = plan.model.ranges[0]
    return [
        PointLine(
            quantity=Quantity(line.quantity),
            unit=line.unit,
            nominal=nominal,
            as_found_error=as_left_error,
            as_left_error=as_left_error,
            expanded_u=max(line.resolution, 0.002 * nominal),
        )
        for nominal in NOMINALS[plan.model.kind]
    ]
