"""What a fault would do to one rig's readings, and whether tasks of finding faults could tell it apart."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from assessments import shared_inputs
from assessments.marking.diagnosis_wording import foreseen as in_words
from assessments.marking.fault_finding import hypothesis, knows, slug_of
from assessments.marking.foreseen import foreseen
from assessments.marking.seen import figures_of
from rigs import sheets
from rigs.behaviour.observations import Test, tests_of
from rigs.behaviour.parameters import RigModel, rig_from
from rigs.behaviour.venturi import RigError
from rigs.faults import Foreseen, Foresight, terminals_of
from rigs.models import Condition, Fault, Rig, TestPoint

DECIMALS: Mapping[str, int] = {"mbar": 2, "Pa": 0}
"""Of what is foreseen, as a bench instrument shows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """A task whose readings can't tell a fault from some others on a rig, by their labels."""

    task: str
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """``why_not`` says why nothing can be foreseen; ``is_sought`` whether a task asks for faults at all."""

    foresight: Foresight
    alike: tuple[Alike, ...] = ()
    is_sought: bool = False
    why_not: str = ""


def outlook(*, rig: Rig, fault: Fault) -> Outlook:
    """From the rig's newest values, over every task of finding faults in force for its design."""
    tasks = shared_inputs.fault_findings(design=rig.design_id)
    try:
        model = _model(rig)
    except RigError as error:
        return Outlook(foresight=Foresight(), is_sought=bool(tasks), why_not=str(error))
    if not knows(fault.slug):
        why_not = f"Nothing is known of what “{fault.label}” does to readings."
        return Outlook(foresight=Foresight(), is_sought=bool(tasks), why_not=why_not)
    lookalikes = [(title, task, task.lookalikes(model, hypothesis(fault.slug))) for title, task in tasks]
    return Outlook(
        foresight=Foresight(
            pattern=tuple(_pattern(rig, model, fault)),
            lookalikes=tuple(dict.fromkeys(slug_of(each) for _, _, found in lookalikes for each in found)),
        ),
        alike=tuple(
            Alike(task=title, others=tuple(task.label(each) for each in found))
            for title, task, found in lookalikes
            if found
        ),
        is_sought=bool(tasks),
    )


def _model(rig: Rig) -> RigModel:
    sheet = sheets.newest(rig=rig)
    if sheet is None:
        raise RigError(f"{rig.tag} has no approved baseline, so what it should read isn't known.")
    terminals = terminals_of(rig.design.test_points.values_list("slug", flat=True))
    return rig_from(figures_of(shared_inputs.measurands_on(sheet.pk)), terminals=terminals)


def _pattern(rig: Rig, model: RigModel, fault: Fault) -> Iterator[Foreseen]:
    """Every test point in every condition that the model knows, healthy and with the fault."""
    known, points = set(tests_of(terminals=model.rig.terminals)), list(rig.design.test_points.all())
    for condition in rig.design.conditions.all():
        for point in points:
            test = _test(point, condition)
            if test in known:
                yield Foreseen(
                    test_point=point.label,
                    condition=condition.label,
                    healthy=_words(model, test, point, None),
                    faulty=_words(model, test, point, fault),
                )


def _test(point: TestPoint, condition: Condition) -> Test | None:
    try:
        return Test.of(f"{point.slug}/{condition.slug}")
    except ValueError:
        return None


def _words(model: RigModel, test: Test, point: TestPoint, fault: Fault | None) -> str:
    expected = foreseen(model, test=test, fault=None if fault is None else hypothesis(fault.slug))
    return in_words(expected, unit=point.unit, decimals=DECIMALS.get(point.unit, 2))
