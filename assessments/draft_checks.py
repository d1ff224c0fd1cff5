"""What is wrong with a draft: each problem in words, with the step and the field to put it right in."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

from assessments import task_checks
from assessments.draft_steps import SLUG_LENGTH, Node, Place, inner, is_group, plain_steps, walk
from assessments.expansion import MOST_REPEATS, ExpansionError, expand, pairs
from assessments.marking.inputs import StepInput, steps_as_issued
from assessments.marking.parameters import ParameterError, free_measuring, require_sound
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.surroundings import Key, Surrounding, Surroundings
from rigs.metrology.quantities import Quantity
from rigs.models.instruments import InstrumentKind

Data: TypeAlias = Mapping[str, Any]
Written: TypeAlias = tuple[Place, Data]
"""A step written out for one design, and where it comes from."""

OF_THE_RIG: Final = frozenset({ReadingCheck.AGREES, ReadingCheck.CONTACT, ReadingCheck.REPEATS})
"""Checks that need to know what the rig reads."""
STATES: Final[Mapping[str, tuple[str, ...]]] = {
    ReadingCheck.LEADS: ("closed", "open"),
    ReadingCheck.TONE: ("tone", "no-tone"),
}
"""Checks that need to be told which state is right."""
ANSWERED: Final = frozenset({StepKind.OBSERVATION, StepKind.CONCLUSION})
LONGEST_MINUTES: Final = 600
# Letters, digits, hyphens, and places that are filled in when the task is issued.
_GAP: Final = re.compile(r"\{(?:first|second|first_label|second_label|n|of)\}")
SHORT_NAME: Final = re.compile(r"(?:[a-z0-9]+|\{[a-z_]+\})(?:-(?:[a-z0-9]+|\{[a-z_]+\}))*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """``place`` None: in the task's particulars. ``field`` as the form calls it; empty for none of them."""

    text: str
    place: Place | None = None
    field: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeRow:
    """A reading of a rig: the rigs of one design that have a range for it, and those that don't."""

    place: Place
    title: str
    what: str
    design: str
    have: tuple[str, ...]
    lack: tuple[str, ...]


def problems(data: Data, *, known: Surroundings) -> tuple[Problem, ...]:
    """Everything that stands in the way of publishing, particulars first, then in the order of the steps."""
    found = [*_of_particulars(data, known), *_of_steps(data)]
    designs = known.of(data["designs"])
    for design in designs:
        found += _on_design(data, design)
    if not found:
        found = [each for design in designs for each in _left_to_issuing(data, design)]
    unique = dict.fromkeys(found)
    return tuple(sorted(unique, key=lambda each: each.place or ()))


def range_rows(data: Data, *, known: Surroundings) -> tuple[RangeRow, ...]:
    """Which rigs of the centre have a range for each reading of the rig, and which don't."""
    rows = []
    for design in known.of(data["designs"]):
        try:
            written = written_out(data, design)
        except ExpansionError:
            continue
        for place, step in written:
            key = _key(step)
            if key is not None and key in design.measurands:
                have = [tag for tag, keys in design.ranges.items() if key in keys]
                rows.append(
                    RangeRow(
                        place=place,
                        title=step["title"],
                        what=design.measurands[key],
                        design=design.name,
                        have=tuple(have),
                        lack=tuple(tag for tag in design.ranges if tag not in have),
                    )
                )
    return tuple(rows)


def written_out(data: Data, design: Surrounding) -> list[Written]:
    """The steps that the task has on one design. ExpansionError when they can't be written out."""
    steps = expand(data, design=design.expansion)["steps"]
    places = list(_places(data["steps"], conductors=len(design.expansion.conductors)))
    return list(zip(places, steps, strict=True))


def _places(nodes: Sequence[Node], *, conductors: int) -> Iterator[Place]:
    for number, node in enumerate(nodes, start=1):
        if "for_each" in node:
            yield from [(number, 1)] * len(pairs([("", "")] * conductors))
        elif "repeat" in node:
            yield from [(number, each) for each in range(1, len(inner(node)) + 1)] * node["repeat"]
        else:
            yield (number,)


def _of_particulars(data: Data, known: Surroundings) -> Iterator[Problem]:
    for name, words in (("title", "Give the task a title."), ("purpose", "Say what the task is for.")):
        if not str(data.get(name, "")).strip():
            yield Problem(text=words, field=name)
    if not 1 <= data.get("guide_minutes", 0) <= LONGEST_MINUTES:
        yield Problem(
            text=f"Say how many minutes it takes, from 1 to {LONGEST_MINUTES}.", field="guide_minutes"
        )
    if not any(each.strip() for each in data.get("cautions", ())):
        yield Problem(text="Write at least one caution.", field="cautions")
    if not data.get("designs"):
        yield Problem(text="Choose at least one rig design.", field="designs")
    for slug in data.get("designs", ()):
        if slug not in known.designs:
            yield Problem(text=f"The centre has no rig design “{slug}”.", field="designs")
    for code in data.get("criteria", ()):
        if code not in known.criteria:
            yield Problem(text=f"There is no criterion “{code}”.", field="criteria")
    yield from _of_prerequisites(data, known)


def _of_prerequisites(data: Data, known: Surroundings) -> Iterator[Problem]:
    own, required = data["slug"], data.get("requires", ())
    for slug in required:
        if slug != own and slug not in known.tasks:
            yield Problem(text=f"No task “{slug}” is in force.", field="requires")
    graph = {slug: task.requires for slug, task in known.tasks.items()} | {own: frozenset(required)}
    circle = _way_back(own, graph)
    if circle:
        titles = [known.tasks[slug].title if slug in known.tasks else data["title"] for slug in circle]
        names = " comes after ".join(f"“{each}”" for each in titles)
        yield Problem(text=f"What comes first goes round in a circle: {names}.", field="requires")


def _way_back(start: str, graph: Mapping[str, frozenset[str]]) -> tuple[str, ...]:
    """The tasks from one back to itself along what each comes after; empty when there is no such way."""
    ways: list[tuple[str, ...]] = [(start,)]
    seen: set[str] = set()
    while ways:
        way = ways.pop()
        for slug in sorted(graph.get(way[-1], ())):
            if slug == start:
                return (*way, start)
            if slug not in seen:
                seen.add(slug)
                ways.append((*way, slug))
    return ()


def _of_steps(data: Data) -> Iterator[Problem]:
    if not data["steps"]:
        yield Problem(text="The task has no steps yet.", field="steps")
    for place, node in walk(data["steps"]):
        if is_group(node):
            yield from _of_group(place, node)
    names = Counter(node.get("slug") for _, node in plain_steps(data["steps"]))
    for place, step in plain_steps(data["steps"]):
        if names[step.get("slug")] > 1:
            yield Problem(text=f"Two steps are called “{step.get('slug')}”.", place=place, field="slug")
        for field, text in (*_of_step(step), *(_of_gaps(step) if len(place) == 1 else ())):
            yield Problem(text=text, place=place, field=field)


def _of_group(place: Place, node: Node) -> Iterator[Problem]:
    if not inner(node):
        yield Problem(text="There is no step in it.", place=place)
    if "repeat" in node and not 1 <= node["repeat"] <= MOST_REPEATS:
        yield Problem(text=f"Repeat it 1 to {MOST_REPEATS} times.", place=place, field="repeat")


def _of_gaps(step: Node) -> Iterator[tuple[str, str]]:
    """Places to fill in, in the texts of a step that is in no group."""
    for name in ("slug", "title", "instruction", "why"):
        for gap in _GAP.findall(str(step.get(name, ""))):
            yield name, f"Nothing fills in {gap} here: only steps of a group have it."


def _of_step(step: Node) -> Iterator[tuple[str, str]]:
    for name, text in (("title", "Give the step a title."), ("instruction", "Say what to do.")):
        if not str(step.get(name, "")).strip():
            yield name, text
    if not SHORT_NAME.fullmatch(str(step.get("slug", ""))):
        yield "slug", "A short name has small letters, digits and hyphens."
    if step.get("safety_critical") and not str(step.get("why", "")).strip():
        yield "why", "It is safety-critical: say why."
    instrument = step.get("instrument_kind")
    if instrument and instrument not in InstrumentKind.values:
        yield "instrument_kind", f"There is no kind of instrument “{instrument}”."
    match step.get("kind"):
        case StepKind.READING:
            yield from _of_reading(step)
        case StepKind.OBSERVATION | StepKind.CONCLUSION:
            yield from _of_answers(step)
        case kind if kind not in StepKind.values:
            yield "kind", f"There is no kind of step “{kind}”."


def _of_reading(step: Node) -> Iterator[tuple[str, str]]:
    if not step.get("instrument_kind"):
        yield "instrument_kind", "Say with which instrument it is read."
    if step.get("quantity") not in set(Quantity):
        yield "quantity", "Say what is read: a pressure, a resistance, …"
    check = step.get("judged_by")
    if check not in ReadingCheck.values:
        yield "judged_by", "Say how the reading is judged."
    elif check in OF_THE_RIG and "measurand" not in step:
        yield "measurand", "Choose the test point and the condition that are read."
    states = STATES.get(str(check), ())
    if states and not set(step.get("expected", ())) & set(states):
        yield "expected", "Say which is right."


def _of_answers(step: Node) -> Iterator[tuple[str, str]]:
    values = [each["value"] for each in step.get("choices", ())]
    if len(values) < 2:
        yield "choices", "Give at least two answers to choose from."
    if len(set(values)) < len(values):
        yield "choices", "Two answers have the same short name."
    if not all(each["label"].strip() and each["value"] for each in step.get("choices", ())):
        yield "choices", "An answer has no words."
    expected = step.get("expected", ())
    if not set(expected) <= set(values):
        yield "choices", "What is right isn't among the answers."
    if not expected and (step["kind"] == StepKind.CONCLUSION or step.get("safety_critical")):
        yield "choices", "Say which answer is right."


def _on_design(data: Data, design: Surrounding) -> Iterator[Problem]:
    try:
        yield from _of_written(written_out(data, design), design)
    except ExpansionError as error:
        places = {step.get("slug"): place for place, step in plain_steps(data["steps"])}
        place = places.get(error.near)
        yield Problem(text=_without_name(str(error)), place=place, field="" if place else "steps")


def _left_to_issuing(data: Data, design: Surrounding) -> Iterator[Problem]:
    """What only comes out when the task is issued: nothing may be published that then can't be."""
    places = {step["slug"]: place for place, step in written_out(data, design)}
    for each in task_checks.problems(expand(data, design=design.expansion), design=design.expansion):
        yield Problem(text=_without_name(each.message), place=places.get(each.near))


def _of_written(written: Sequence[Written], design: Surrounding) -> Iterator[Problem]:
    names = Counter(step["slug"] for _, step in written)
    for place, step in written:
        if names[step["slug"]] > 1:
            yield Problem(text=f"Two steps are called “{step['slug']}”.", place=place, field="slug")
        if len(step["slug"]) > SLUG_LENGTH:
            yield Problem(
                text=f"“{step['slug']}” is longer than {SLUG_LENGTH} characters.", place=place, field="slug"
            )
        for field, text in _of_place(step, design):
            yield Problem(text=text, place=place, field=field)
    yield from _of_parameters(written)


def _of_place(step: Data, design: Surrounding) -> Iterator[tuple[str, str]]:
    """Whether what a step names is there on the design, and read on one of its rigs."""
    condition = step.get("condition")
    if condition and condition not in design.conditions:
        yield "condition", f"{design.name} has no condition “{condition}”."
    key = _key(step)
    if key is not None:
        yield from _of_measurand(step, key, design)
    if step.get("kind") == StepKind.MEASUREMENTS:
        yield from _of_free_measuring(step, design)


def _of_measurand(step: Data, key: Key, design: Surrounding) -> Iterator[tuple[str, str]]:
    if key not in design.measurands:
        yield "measurand", f"{design.name} has no measurand “{key[0]}” in condition “{key[1]}”."
        return
    point = design.points[key[0]]
    if step.get("quantity") in set(Quantity) and point.quantity != step["quantity"]:
        yield "quantity", f"“{point.label}” is {Quantity(point.quantity).words}."
    if not any(key in keys for keys in design.ranges.values()):
        rigs = ", ".join(design.ranges)
        why = f"{rigs}: no baseline has it" if rigs else "the centre has none in use"
        yield (
            "measurand",
            f"No rig has a range for “{design.measurands[key]}” ({design.name}: {why}).",
        )


def _of_free_measuring(step: Data, design: Surrounding) -> Iterator[tuple[str, str]]:
    frozen = steps_as_issued([step])[0]
    try:
        measuring = free_measuring(frozen)
    except ParameterError:
        return  # said with the other parameters
    for slug in (*measuring.test_points, *measuring.conditions):
        if slug not in design.points and slug not in design.conditions:
            yield "parameters", f"{design.name} has no test point or condition “{slug}”."
    for slug, point in design.points.items():
        if measuring.offers_test_point(slug) and point.quantity not in measuring.instruments:
            yield "parameters", f"Say with which instrument “{point.label}” is read."


def _key(step: Data) -> Key | None:
    named = step.get("measurand")
    return (named[0], named[1]) if named and step.get("kind") == StepKind.READING else None


def _of_parameters(written: Sequence[Written]) -> Iterator[Problem]:
    """Each step whose readings couldn't be judged, taking those before it as they should have been."""
    steps = steps_as_issued([step for _, step in written])
    quantities = {
        step["slug"]: step["quantity"] for _, step in written if step.get("quantity") in set(Quantity)
    }
    before: list[StepInput] = []
    for (place, _), step in zip(written, steps, strict=True):
        if step.kind == StepKind.READING and step.slug not in quantities:
            continue  # what is read isn't said yet, which is a problem of its own
        if step.kind in {StepKind.READING, StepKind.MEASUREMENTS, StepKind.DIAGNOSIS}:
            try:
                require_sound([*before, step], quantities=quantities)
            except ParameterError as error:
                yield Problem(text=_without_name(str(error)), place=place, field="parameters")
                if step.kind != StepKind.READING:
                    continue
                step = replace(step, judged_by=str(ReadingCheck.ZERO), parameters={})  # noqa: PLW2901
        before.append(step)


def _without_name(message: str) -> str:
    """The message without the step's name, which is said beside it already."""
    text = message.partition(": ")[2] if message.startswith("Step “") else message
    return text[:1].upper() + text[1:]
