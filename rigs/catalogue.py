"""Rig designs as data: read from ``fixtures/designs``, which a trainer can read and change."""

from collections.abc import Collection, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from django.db import transaction

from academy import json_files, ledger
from academy.json_files import DataFile
from academy.models import Centre, Person
from rigs.metrology.quantities import Quantity, UnitError, si_factor, unit_quantity
from rigs.models import Condition, Fault, Measurand, RigDesign, TestPoint
from rigs.models.designs import ContactState, MeasurandKind

Data = Mapping[str, Any]
Wrong = tuple[str, str]

_PARTS: Final[Mapping[str, Mapping[str, type]]] = {
    "test_points": {"slug": str, "label": str, "quantity": str, "unit": str},
    "conditions": {"slug": str, "label": str, "energised": bool},
    "conductors": {"slug": str, "label": str},
    "faults": {"slug": str, "label": str, "conclusion": str, "how_to_set": str},
}
_OF_MEASURANDS: Final = frozenset(
    {
        "test_point",
        "condition",
        "kind",
        "expected_state",
        "tolerance_percent",
        "tolerance_floor_mbar",
        "drift_percent",
        "session_percent",
        "closed_limit",
        "open_limit",
        "in_check",
        "follows_density",
    }
)


class DesignError(ValueError):
    """A design that can't be loaded. ``near`` is the word of the data that is wrong."""

    def __init__(self, message: str, *, near: str = "") -> None:
        super().__init__(message)
        self.near = near


def read_designs(folder: Path) -> list[DataFile]:
    """Every design file. Raises FileError for one that is no data, OSError for a folder that isn't there."""
    return json_files.read_folder(folder)


def load_design_file(*, centre: Centre, file: DataFile, by: Person | None, at: datetime) -> RigDesign:
    """Add the design of a file to a centre. Raises FileError, with the line of what is wrong."""
    try:
        return load_design(centre=centre, data=file.data, by=by, at=at)
    except DesignError as error:
        raise file.error(str(error), near=error.near) from error


@transaction.atomic
def load_design(*, centre: Centre, data: Data, by: Person | None, at: datetime) -> RigDesign:
    """Add a design to a centre; one that it has already is left as it is. Raises DesignError."""
    for message, near in wrong(data):
        raise DesignError(message, near=near)
    existing = RigDesign.objects.filter(centre=centre, slug=data["slug"]).first()
    if existing is not None:
        return existing
    design = RigDesign.objects.create(
        centre=centre,
        slug=data["slug"],
        name=data["name"],
        description=data["description"],
        conductors=data.get("conductors", []),
    )
    points = {
        each["slug"]: TestPoint.objects.create(design=design, position=position, **each)
        for position, each in enumerate(data["test_points"], start=1)
    }
    conditions = {
        each["slug"]: Condition.objects.create(design=design, position=position, **each)
        for position, each in enumerate(data["conditions"], start=1)
    }
    for position, each in enumerate(data["measurands"], start=1):
        Measurand.objects.create(**_measurand(each, points, conditions), design=design, position=position)
    Fault.objects.bulk_create(
        Fault(design=design, position=position, **each)
        for position, each in enumerate(data["faults"], start=1)
    )
    ledger.append(
        centre=centre, actor=by, verb="design.load", subject=design.pk, at=at, facts={"slug": design.slug}
    )
    return design


def wrong(data: Data) -> Iterator[Wrong]:
    """Everything that is wrong with a design's data, as (what, the word of the data where to look)."""
    if not isinstance(data, Mapping):
        yield "A design is written in braces.", ""
        return
    for name in ("slug", "name", "description"):
        if not isinstance(data.get(name), str):
            yield f"A design needs “{name}”, a text.", name
    unsound = [each for part in _PARTS for each in _part(data, part)]
    yield from unsound
    if not unsound:
        yield from _measurands(data)


def _part(data: Data, part: str) -> Iterator[Wrong]:
    rows, due = data.get(part, [] if part == "conductors" else None), _PARTS[part]
    if not isinstance(rows, list) or not all(isinstance(each, Mapping) for each in rows):
        yield f"A design needs “{part}”, a list.", part
        return
    for row in rows:
        slug = str(row.get("slug", ""))
        if due.keys() != row.keys() or not all(isinstance(row[name], kind) for name, kind in due.items()):
            yield (
                f"Each of the {part.replace('_', ' ')} has {', '.join(due)}; look at “{slug}”.",
                slug or part,
            )
        elif [each["slug"] for each in rows].count(slug) > 1:
            yield f"There are two {part.replace('_', ' ')} with the slug “{slug}”.", slug
        elif part == "test_points":
            yield from _unit(row)


def _unit(point: Data) -> Iterator[Wrong]:
    slug = point["slug"]
    try:
        found = unit_quantity(point["unit"])
        if found is not Quantity(point["quantity"]):
            yield f"Test point “{slug}”: {point['unit']} is {found.words}.", slug
    except UnitError as error:
        yield f"Test point “{slug}”: {error}", slug
    except ValueError:
        yield f"Test point “{slug}”: “{point['quantity']}” is no quantity.", slug


def _measurands(data: Data) -> Iterator[Wrong]:
    rows = data.get("measurands")
    if not isinstance(rows, list) or not all(isinstance(each, Mapping) for each in rows):
        yield "A design needs “measurands”, a list.", "measurands"
        return
    points, conditions = ({each["slug"] for each in data[part]} for part in ("test_points", "conditions"))
    for row in rows:
        yield from _measurand_wrong(row, points=points, conditions=conditions)
    keys = [(row.get("test_point"), row.get("condition")) for row in rows]
    for point, condition in keys:
        if keys.count((point, condition)) > 1:
            yield f"“{point}” and “{condition}” stand twice among the measurands.", str(point)


def _measurand_wrong(row: Data, *, points: Collection[str], conditions: Collection[str]) -> Iterator[Wrong]:
    point, condition = str(row.get("test_point", "")), str(row.get("condition", ""))
    if point not in points:
        yield f"A measurand names a test point “{point}”, which the design doesn't have.", point
    elif condition not in conditions:
        yield f"A measurand names a condition “{condition}”, which the design doesn't have.", condition
    elif strange := sorted(row.keys() - _OF_MEASURANDS):
        yield f"A measurand at “{point}” has “{strange[0]}”, which none has.", strange[0]
    elif row.get("kind") not in set(MeasurandKind):
        yield f"A measurand at “{point}” is a level or a state, not “{row.get('kind', '')}”.", point
    elif (row["kind"] == MeasurandKind.STATE) != (row.get("expected_state") in set(ContactState)):
        yield f"A measurand at “{point}”: a state is expected to be open or closed, a level isn't.", point


def _measurand(
    data: Data, points: Mapping[str, TestPoint], conditions: Mapping[str, Condition]
) -> dict[str, Any]:
    fields = dict(data)
    fields["test_point"] = points[fields["test_point"]]
    fields["condition"] = conditions[fields["condition"]]
    if "tolerance_floor_mbar" in fields:
        fields["tolerance_floor"] = fields.pop("tolerance_floor_mbar") * si_factor("mbar")
    return fields
