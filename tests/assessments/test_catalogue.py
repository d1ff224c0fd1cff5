"""Every task of the fixtures, worked through on a rig of each of its designs as a careful person does."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import transaction

from academy.models import Centre, Person, Role
from academy.refusals import Refused
from assessments import attempts, catalogue, limits, outcomes, progress
from assessments.expansion import DesignData, expand, pairs
from assessments.models import Attempt, Task, TaskVersion
from assessments.models.attempts import Purpose
from assessments.models.decisions import Proposal
from assessments.models.tasks import StepKind
from rigs import sessions
from rigs.metrology.quantities import Quantity
from rigs.models import Instrument, Rig
from rigs.models.instruments import InstrumentKind
from rigs.register import RangeLine
from tests.factories import assessments as made
from tests.factories import rigs as make
from tests.factories.academy import CandidateFactory, CohortFactory, ManagerFactory, person_with

FOLDER = settings.ROOT / "fixtures"
FILES = catalogue.read_tasks(FOLDER / "tasks")
PAIRED = [(file.data["slug"], design) for file in FILES for design in file.data["designs"]]
EXPANDED = {
    (file.data["slug"], design): expand(file.data, design=DesignData.of(make.design_data(design)))
    for file in FILES
    for design in file.data["designs"]
}
FREE = {"fault-finding-two-terminal", "fault-finding-three-terminal"}
IDS = ["/".join(each) for each in PAIRED]
each_task = pytest.mark.parametrize(("slug", "design"), PAIRED, ids=IDS)
WORKED = [each for each in PAIRED if each[0] not in FREE]
worked = pytest.mark.parametrize(("slug", "design"), WORKED, ids=["/".join(each) for each in WORKED])

# What a careful person logs on sound rigs, where the factories don't know it.
RIGHT = {
    "high-tap": "0.66",
    "low-tap": "-0.92",
    "closure": "1.58",
    "taps-blocked": "0.03",
    "low-tap-blocked": "3.10",
    "drop": "98.1 %",
    "ports-crossed": "-1.57",
    "contacts-crossed": "OL",
    "contacts-restored": "0.4",
    "room": "20.10",
    "winding-at-20": "52.3",
    "volts-fan": "236",
    "volts-l-n": "236",
    "volts-l-e": "236",
    "volts-n-e": "0",
    "t-ambient": "20.00",
    "t-warm": "40.00",
    "t-hot": "60.00",
    "temperature-ambient": "20.0",
    "let-by-start": "8.50",
    "let-by-end": "8.51",
    "test-start": "20.50",
    "test-end": "20.47",
    "volume": "0.0139",
    "rate": "2.42",
    "gross": "26.6",
    "net": "24.0",
}
OF_TASK = {
    "ntc-sensor": {"r-ambient": "12.470 kΩ", "r-warm": "5.370 kΩ", "r-hot": "2.535 kΩ", "b-value": "3887 K"},
    "pt100-sensor": {
        "r-ambient": "107.79",
        "r-warm": "115.54",
        "r-hot": "123.24",
        "temperature-hot": "60.0",
    },
    "gas-rate": {"volume": "0.060", "time": "89.10"},
    "make-and-break": {
        **{f"make-{n}": text for n, text in enumerate(("0.95", "0.95", "0.96", "0.95", "0.94"), start=1)},
        **{f"break-{n}": text for n, text in enumerate(("0.72", "0.72", "0.73", "0.72", "0.71"), start=1)},
        "taps-running": "1.58",
        "mean-make": "0.950",
        "mean-break": "0.720",
        "hysteresis": "0.230",
        "margin": "1.66",
    },
}
FINE_METER = (
    RangeLine(
        quantity=Quantity.RESISTANCE,
        unit="Ω",
        full_scale=500,
        resolution=0.01,
        percent_reading=0.05,
        counts=2,
    ),
    RangeLine(
        quantity=Quantity.RESISTANCE,
        unit="kΩ",
        full_scale=50,
        resolution=0.001,
        percent_reading=0.05,
        counts=2,
    ),
    RangeLine(quantity=Quantity.RESISTANCE, unit="MΩ", full_scale=50, resolution=0.01, counts=3),
)
TEST_GAUGE = (
    RangeLine(
        quantity=Quantity.PRESSURE, unit="mbar", full_scale=50, resolution=0.01, percent_reading=0.1, counts=1
    ),
)
RANGES = {InstrumentKind.MULTIMETER: FINE_METER, InstrumentKind.MANOMETER: TEST_GAUGE}


@dataclass(frozen=True, kw_only=True)
class World:
    manager: Person
    technician: Person
    assessor: Person
    instruments: dict[str, Instrument]
    references: dict[str, Instrument]

    @property
    def centre(self) -> Centre:
        return self.manager.centre

    def version(self, slug: str, design: str) -> TaskVersion:
        return TaskVersion.objects.in_force().get(
            task__centre=self.centre, task__slug=slug, design__slug=design
        )


AT = datetime(2026, 11, 4, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        manager = ManagerFactory()
        for file in make.catalogue.read_designs(FOLDER / "designs"):
            make.catalogue.load_design_file(centre=manager.centre, file=file, by=manager, at=AT)
        catalogue.load_criteria_file(
            centre=manager.centre, file=make.json_files.read(FOLDER / "criteria.json")
        )
        for file in FILES:
            for version in catalogue.issue_file(centre=manager.centre, file=file, by=manager, at=AT):
                made.confirm_limits(version, by=manager, at=AT)
        technician = person_with(Role.Kind.TECHNICIAN, by=manager)
        yield World(
            manager=manager,
            technician=technician,
            assessor=person_with(Role.Kind.ASSESSOR, by=manager),
            references=make.reference_instruments(by=technician, at=AT),
            instruments={
                str(kind): make.instrument(by=technician, kind=kind, ranges=RANGES.get(kind), at=AT)
                for kind in InstrumentKind
            },
        )
        transaction.set_rollback(True)


def rig_of(world: World, design: str) -> Rig:
    """A rig of a design, checked this session if anything of it is characterised."""
    owned = world.centre.rig_designs.get(slug=design)
    rig = make.rig(by=world.technician, design=owned, tag=f"R-{design}"[:20], at=AT)
    if owned.measurands.exists():
        given = {"instruments": world.references, "by": world.technician, "at": AT}
        make.approved_baseline(of=rig, second=world.assessor, **given)
        make.check(of=rig, **given)
    else:
        sessions.ensure_open(centre=world.centre, by=world.technician, at=AT)
    return rig


def candidate_for(world: World, version: TaskVersion) -> Person:
    candidate = CandidateFactory(by=world.manager, cohort=CohortFactory(by=world.manager))
    for task in version.requires.all():
        progress.record_prior(
            candidate=candidate,
            task=task,
            achieved_on=AT.date(),
            evidence="Paper record 9.",
            by=world.assessor,
            at=AT,
        )
    return candidate


def start(world: World, slug: str, design: str, **changes) -> Attempt:
    version = world.version(slug, design)
    kinds = attempts.kinds_needed(version)
    given = {
        "id": uuid4(),
        "candidate": candidate_for(world, version),
        "version": version,
        "rig": rig_of(world, design),
        "purpose": Purpose.ASSESSMENT,
        "chosen": {kind: world.instruments[kind] for kind in kinds},
        "cautions_read": True,
        "at": AT + made.STEP_TAKES,
    } | changes
    return attempts.start(**given)


def marked(attempt: Attempt, **other):
    slug = attempt.version.task.slug
    readings = RIGHT | OF_TASK.get(slug, {}) | other.pop("readings", {})
    last = made.work_through(attempt, made.Work(readings=readings, **other))
    attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=last + made.STEP_TAKES)
    outcome = outcomes.latest(attempt)
    return outcome, outcomes.marking_of(outcome)


class TestTheData:
    def test_there_are_at_least_twelve_tasks_each_whole(self):
        assert len(FILES) >= 12
        for data in EXPANDED.values():
            assert data["purpose"] and data["cautions"] and data["criteria"]
            assert any(step.get("safety_critical") for step in data["steps"])
            assert data["steps"][-1]["kind"] == "conclusion"

    @each_task
    def test_each_safety_critical_step_says_why(self, slug, design):
        critical = [step for step in EXPANDED[slug, design]["steps"] if step.get("safety_critical")]
        assert critical and all(step["why"] for step in critical)

    @each_task
    def test_nothing_comes_off_before_it_is_photographed_if_a_picture_is_the_way_back(self, slug, design):
        steps = {step["slug"]: (place, step) for place, step in enumerate(EXPANDED[slug, design]["steps"])}
        if "photo-before" in steps:
            place, photo = steps["photo-before"]
            off = next(each for each in ("wires-off", "unplug") if each in steps)
            assert photo["safety_critical"] and photo["why"] and place < steps[off][0]

    @each_task
    def test_the_indicator_is_proved_before_and_after_every_pair(self, slug, design):
        steps = EXPANDED[slug, design]["steps"]
        places = {step["slug"]: place for place, step in enumerate(steps)}
        tested = [
            step
            for step in steps
            if step["slug"].startswith("dead-")
            and step["kind"] == "observation"
            and step["slug"] != "dead-tests-right"
        ]
        if not tested:
            return
        conductors = DesignData.of(make.design_data(design)).conductors
        named = [f"dead-{first}-{second}" for (first, _), (second, _) in pairs(conductors)]
        assert [step["slug"] for step in tested] == named
        n = len(conductors)
        assert len(named) == n * (n - 1) // 2
        inside = [places[each] for each in named]
        assert places["prove-before"] < min(inside) and max(inside) < places["prove-after"]
        assert all(step["instrument_kind"] == "voltage-indicator" for step in tested)
        assert all(step["safety_critical"] for step in tested)

    def test_limits_say_where_they_come_from_and_from_when_they_apply(self):
        for data in EXPANDED.values():
            for step in data["steps"]:
                if step.get("judged_by") == "conforms":
                    given = step["parameters"]
                    assert given["applies_from"] and given["dated"] and len(given["source"]) > 5

    def test_figures_seen_second_hand_or_remembered_say_so(self):
        said = {
            step["parameters"]["source"]
            for data in EXPANDED.values()
            for step in data["steps"]
            if step.get("judged_by") == "conforms"
        }
        for source in said:
            if re.search("IGEM|IEC", source):
                assert "check against your licensed copy" in source


@pytest.mark.django_db
class TestWorkedThrough:
    @worked
    def test_careful_work_on_a_sound_rig_is_met_on_every_strand(self, world, slug, design):
        outcome, marking = marked(start(world, slug, design))
        assert [mark for mark in marking.marks if mark.verdict != "in-range"] == []
        assert (outcome.procedure, outcome.readings, outcome.conclusion) == ("met", "met", "met")
        assert outcome.proposal == Proposal.COMPETENT

    @worked
    def test_any_safety_critical_step_left_out_is_not_yet_competent_by_name(self, world, slug, design):
        steps = world.version(slug, design).steps.filter(safety_critical=True)
        step = steps.exclude(kind=StepKind.READING)[0]
        outcome, marking = marked(start(world, slug, design), skipped=frozenset({step.slug}))
        assert outcome.proposal == Proposal.NOT_YET_COMPETENT
        (finding,) = marking.procedure.findings
        assert (finding.step, finding.title, finding.breach) == (step.slug, step.title, True)
        assert step.why in finding.sentence

    def test_one_pair_of_ten_left_out_is_a_breach_whatever_else_is_right(self, world):
        attempt = start(world, "safe-isolation", "isolation-board-five")
        outcome, marking = marked(attempt, skipped=frozenset({"dead-l3-n"}))
        assert outcome.proposal == Proposal.NOT_YET_COMPETENT
        assert [each.step for each in marking.procedure.findings] == ["dead-l3-n"]
        assert "Every pair" in marking.procedure.findings[0].sentence

    def test_a_photo_that_comes_after_the_wires_is_out_of_order(self, world):
        attempt = start(world, "three-terminal-switch-test", "three-terminal-switch-rig")
        outcome, marking = marked(attempt, late=frozenset({"photo-before"}))
        assert outcome.proposal == Proposal.NOT_YET_COMPETENT
        assert [(each.step, each.kind) for each in marking.procedure.findings] == [
            ("photo-before", "out-of-order")
        ]

    def test_an_optional_step_left_out_is_no_finding(self, world):
        attempt = start(world, "safe-isolation", "isolation-board")
        outcome, _ = marked(attempt, skipped=frozenset({"prove-again"}))
        assert outcome.procedure == "met"

    def test_tubes_left_crossed_show_in_the_sign_and_in_the_contact(self, world):
        attempt = start(world, "tube-polarity", "two-terminal-switch-rig")
        crossed = {"ports-restored": "-1.57", "contacts-restored": "OL"}
        outcome, marking = marked(attempt, readings=crossed)
        assert outcome.readings == "not-met"
        wrong = {mark.step for mark in marking.marks if mark.verdict == "out-of-range"}
        assert wrong == {"ports-restored", "contacts-restored"}

    def test_one_slip_in_the_five_is_counted_once_and_the_answers_follow_from_it(self, world):
        attempt = start(world, "make-and-break", "two-terminal-switch-rig")
        slip = {"make-3": "1.95", "mean-make": "1.148", "hysteresis": "0.428", "margin": "1.38"}
        _, marking = marked(attempt, readings=slip)
        assert [mark.step for mark in marking.marks if mark.verdict != "in-range"] == ["make-3"]

    def test_a_gross_figure_against_a_net_plate_is_named(self, world):
        _, marking = marked(start(world, "gas-rate", "gas-lab-unit"), readings={"net": "26.6"})
        (wrong,) = [mark for mark in marking.marks if mark.verdict == "out-of-range"]
        assert wrong.step == "net"


@pytest.mark.django_db
class TestStarting:
    def test_an_ordinary_multimeter_is_refused_for_proving_dead(self, world):
        chosen = {"voltage-indicator": world.instruments["multimeter"]}
        with pytest.raises(Refused, match="is a multimeter; this needs a voltage indicator"):
            start(world, "safe-isolation", "isolation-board-four", chosen=chosen)

    def test_prerequisites_come_first(self, world):
        candidate = CandidateFactory(by=world.manager, cohort=CohortFactory(by=world.manager))
        with pytest.raises(Refused, match="“Tube polarity” comes first"):
            start(world, "make-and-break", "two-terminal-switch-rig", candidate=candidate)

    def test_a_version_is_only_for_rigs_of_its_own_design(self, world):
        with pytest.raises(Refused, match="isn't done on"):
            start(world, "safe-isolation", "isolation-board-four", rig=rig_of(world, "isolation-board"))


@pytest.mark.django_db
class TestVersions:
    def test_each_design_has_a_version_of_its_own_in_force_numbered_by_itself(self, world):
        versions = TaskVersion.objects.in_force().filter(task__centre=world.centre)
        assert versions.count() == len(PAIRED)
        assert set(versions.values_list("number", flat=True)) == {1}

    def test_a_change_withdraws_the_version_of_its_own_design_alone(self, world):
        data = {**made.task_data("safe-isolation"), "designs": ["isolation-board-four"], "guide_minutes": 25}
        (fresh,) = catalogue.issue_for_all(centre=world.centre, data=data, by=world.manager, at=AT)
        assert fresh.number == 2
        in_force = TaskVersion.objects.in_force().filter(
            task__centre=world.centre, task__slug="safe-isolation"
        )
        assert {(each.design.slug, each.number) for each in in_force} == {
            ("isolation-board", 1),
            ("isolation-board-four", 2),
            ("isolation-board-five", 1),
        }

    def test_loading_the_folder_again_adds_nothing(self, world):
        before = TaskVersion.objects.count(), Task.objects.count()
        call_command("load_catalogue", world.centre.name, verbosity=0)
        assert (TaskVersion.objects.count(), Task.objects.count()) == before

    def test_every_limit_of_the_folder_is_on_the_page_once(self, world):
        found = limits.in_force(centre=world.centre)
        assert len({each.limit.digest for each in found}) == len(found) > 8
        assert all(each.confirmation for each in found)
