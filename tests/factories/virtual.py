"""Practice on virtual rigs, by the verbs that the site uses."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from academy.models import Centre, Person
from assessments import catalogue, virtual
from assessments.models import Step, TaskVersion, VirtualEntry, VirtualPractice
from assessments.models.tasks import StepKind
from assessments.models.virtual import Draw
from assessments.virtual import Measured
from rigs.metrology.quantities import Qualifier, Quantity
from rigs.metrology.readings import TypedReading, parse
from rigs.models import Fault, RigDesign
from tests.factories import assessments, rigs
from tests.factories.academy import AT, CandidateFactory, ManagerFactory

SEED = 20_261
FAULT_FINDING = "a-search"


@dataclass(frozen=True, slots=True, kw_only=True)
class Classroom:
    manager: Person
    candidate: Person
    tasks: Mapping[str, TaskVersion]

    @property
    def centre(self) -> Centre:
        assert self.candidate.centre is not None
        return self.candidate.centre


def classroom() -> Classroom:
    """A centre with designs and tasks, without a rig, an instrument or a session."""
    manager = ManagerFactory()
    rigs.load_designs(by=manager)
    tasks = assessments.issue_tasks(by=manager, at=AT)
    return Classroom(manager=manager, candidate=CandidateFactory(by=manager), tasks=tasks)


def started(
    *,
    candidate: Person,
    version: TaskVersion,
    draw: Draw | None = None,
    seed: int = SEED,
    at: datetime = AT,
    **changes: Any,
) -> VirtualPractice:
    given = {
        "id": uuid4(),
        "candidate": candidate,
        "version": version,
        "draw": draw or virtual.draws_for(version)[0],
        "cautions_read": True,
        "seed": seed,
        "at": at,
    }
    return virtual.start(**given | changes)


def with_fault(practice: VirtualPractice, slug: str | None) -> VirtualPractice:
    """The same practice with a fault that wasn't left to chance; None for nothing wrong."""
    practice.fault = slug and Fault.objects.get(design=practice.version.design, slug=slug)
    practice.draw = Draw.ANY
    practice.save(update_fields=["fault", "draw"])
    return practice


def log(practice: VirtualPractice, slug: str, typed: str = "", **given: Any) -> VirtualEntry:
    """Log on a step, by its slug: what the display shows, unless something else is typed."""
    step = Step.objects.get(version=practice.version, slug=slug)
    if step.kind == StepKind.READING:
        given["typed"] = as_typed(typed or what_it_shows(practice, step), step)
    elif step.choices:
        given.setdefault("answer", next(iter(step.expected), step.choices[0]["value"]))
    if step.kind in {StepKind.CONCLUSION, StepKind.DIAGNOSIS}:
        given.setdefault("note", "From my readings.")
    return virtual.log(
        **{"practice": practice, "step": step, "id": uuid4(), "candidate": practice.candidate, "at": AT}
        | given
    )


def measure(
    practice: VirtualPractice, at: str, condition: str, typed: str = "", **given: Any
) -> VirtualEntry:
    """A measurement of one's own choice: what the display shows, unless something else is typed."""
    design = practice.version.design
    step = Step.objects.get(version=practice.version, kind=StepKind.MEASUREMENTS)
    measured = Measured(
        test_point=design.test_points.get(slug=at),
        condition=design.conditions.get(slug=condition),
        number=practice.entries.filter(step=step).count(),
    )
    quantity = Quantity(measured.test_point.quantity)
    text = typed or virtual.shown_at(practice=practice, measured=measured)
    return virtual.log(
        **{
            "practice": practice,
            "step": step,
            "id": uuid4(),
            "candidate": practice.candidate,
            "at": AT,
            "measured": measured,
            "typed": parse(text, quantity=quantity, unit="mbar" if quantity == "pressure" else "Ω"),
        }
        | given
    )


def work_through(practice: VirtualPractice, readings: Mapping[str, str] | None = None) -> VirtualPractice:
    """Every step of an ordinary task in its order, each as the display shows it unless typed otherwise."""
    for step in practice.version.steps.order_by("position"):
        log(practice, step.slug, typed=(readings or {}).get(step.slug, ""))
    return practice


def what_it_shows(practice: VirtualPractice, step: Step) -> str:
    by_slug = {each.slug: each for each in practice.version.steps.all()}
    return virtual.shown_on_step(practice=practice, step=by_slug[step.slug], by_slug=by_slug)


def as_typed(text: str, step: Step) -> TypedReading:
    quantity = Quantity(step.quantity)
    if step.judged_by == "tone":
        heard = Qualifier.NO_TONE if text == "OL" else Qualifier.TONE
        return TypedReading(text=str(heard), quantity=quantity, qualifier=heard)
    return parse(text, quantity=quantity, unit="mbar" if quantity == "pressure" else "Ω")


def fault_finding(*, by: Person, at: datetime = AT) -> TaskVersion:
    """A short task of finding a fault on the two-terminal rig, as the catalogue issues it."""
    design = RigDesign.objects.get(centre=by.centre, slug=rigs.TWO_TERMINAL)
    faults = [{"value": each.slug, "label": each.label} for each in design.faults.all()]
    steps = [
        {"slug": "isolate", "kind": "action", "title": "Isolate", "safety_critical": True,
         "instruction": "Isolate and lock off.", "why": "Nothing is touched before."},
        {"slug": "leads-together", "kind": "reading", "title": "Leads together", "condition": "fan-off",
         "instrument_kind": "multimeter", "quantity": "resistance", "judged_by": "leads",
         "expected": ["closed"], "instruction": "Touch the probes together."},
        {"slug": "measure", "kind": "measurements", "title": "Measure what you need",
         "instruction": "In any order.",
         "parameters": {"instruments": {"pressure": "manometer", "resistance": "multimeter"},
                        "test_points": ["taps", "ports", "high-tap", "low-tap", "contacts", "manometer-zero"],
                        "conditions": ["fan-off", "fan-running"]}},
        {"slug": "diagnosis", "kind": "diagnosis", "title": "What is wrong?", "instruction": "Choose.",
         "choices": [{"value": "none", "label": "Nothing is wrong"}, *faults]},
        {"slug": "conclusion", "kind": "conclusion", "title": "Your conclusion", "instruction": "Choose.",
         "choices": [{"value": "serviceable", "label": "Serviceable"}, {"value": "faulty", "label": "Faulty"},
                     {"value": "elsewhere", "label": "The fault is elsewhere"}],
         "expected": ["serviceable"]},
    ]  # fmt: skip
    data = {
        "slug": FAULT_FINDING,
        "title": "Finding a fault",
        "position": 90,
        "design": rigs.TWO_TERMINAL,
        "purpose": "Find what is wrong by measuring.",
        "guide_minutes": 30,
        "requires": [],
        "criteria": [],
        "cautions": ["Isolate before you touch anything."],
        "steps": steps,
    }
    assert by.centre is not None
    return catalogue.issue(centre=by.centre, data=data, by=by, at=at)
