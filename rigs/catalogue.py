"""Rig designs as data: read from ``fixtures/designs``, which a trainer can read and change."""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from rigs.metrology.quantities import si_factor
from rigs.models import Condition, Fault, Measurand, RigDesign, TestPoint


def read_designs(folder: Path) -> list[Mapping[str, Any]]:
    return [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.json"))]


@transaction.atomic
def load_design(*, centre: Centre, data: Mapping[str, Any], by: Person | None, at: datetime) -> RigDesign:
    """Add a design to a centre; one that it has already is left as it is."""
    existing = RigDesign.objects.filter(centre=centre, slug=data["slug"]).first()
    if existing is not None:
        return existing
    design = RigDesign.objects.create(
        centre=centre, slug=data["slug"], name=data["name"], description=data["description"]
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
    for position, each in enumerate(data["faults"], start=1):
        Fault.objects.create(design=design, position=position, **each)
    ledger.append(
        centre=centre, actor=by, verb="design.load", subject=design.pk, at=at, facts={"slug": design.slug}
    )
    return design


def _measurand(
    data: Mapping[str, Any], points: Mapping[str, TestPoint], conditions: Mapping[str, Condition]
) -> dict[str, Any]:
    fields = dict(data)
    fields["test_point"] = points[fields["test_point"]]
    fields["condition"] = conditions[fields["condition"]]
    if "tolerance_floor_mbar" in fields:
        fields["tolerance_floor"] = fields.pop("tolerance_floor_mbar") * si_factor("mbar")
    return fields
