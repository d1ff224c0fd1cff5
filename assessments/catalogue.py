"""Tasks as data: read from ``fixtures``, issued as versions that are never changed afterwards."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import rfc8785
from django.db import transaction
from django.db.models import QuerySet

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.marking.inputs import steps_as_issued
from assessments.marking.parameters import require_sound
from assessments.models import Criterion, Step, Task, TaskContent, TaskVersion
from rigs.models import RigDesign

Data = Mapping[str, Any]


def read_tasks(folder: Path) -> list[Data]:
    """Every task file, in the order in which the tasks are learnt."""
    tasks = [json.loads(path.read_text(encoding="utf-8")) for path in folder.glob("*.json")]
    return sorted(tasks, key=lambda task: (task["position"], task["slug"]))


@transaction.atomic
def load_criteria(*, centre: Centre, data: Iterable[Data]) -> None:
    for each in data:
        Criterion.objects.get_or_create(
            centre=centre, code=each["code"], defaults={"unit": each["unit"], "text": each["text"]}
        )


@transaction.atomic
def issue(*, centre: Centre, data: Data, by: Person | None, at: datetime) -> TaskVersion:
    """Issue a task, or the version of it that these data describe. Data issued already come back as they are.

    The version before it is withdrawn: attempts that were started on it stay on it. Raises ValueError for
    data that no attempt could be marked by.
    """
    require_sound(
        steps_as_issued(data["steps"]),
        quantities={step["slug"]: step["quantity"] for step in data["steps"] if "quantity" in step},
    )
    content = rfc8785.dumps(dict(data))
    content_sha256 = hashlib.sha256(content).hexdigest()
    task, _ = Task.objects.get_or_create(
        centre=centre, slug=data["slug"], defaults={"title": data["title"], "position": data["position"]}
    )
    known = task.versions.filter(content_sha256=content_sha256).first()
    if known is not None:
        return known
    for old in task.versions.in_force():
        withdraw(version=old, by=by, at=at)
    version = TaskVersion.objects.create(
        task=task,
        number=task.versions.count() + 1,
        design=RigDesign.objects.get(centre=centre, slug=data["design"]),
        purpose=data["purpose"],
        cautions=data["cautions"],
        guide_minutes=data["guide_minutes"],
        content_sha256=content_sha256,
        issued_at=at,
    )
    TaskContent.objects.create(version=version, text=content.decode())
    version.requires.set(_named(Task.objects.filter(centre=centre), "slug", data["requires"]))
    version.criteria.set(_named(Criterion.objects.filter(centre=centre), "code", data["criteria"]))
    _add_steps(version, data["steps"])
    ledger.append(
        centre=centre,
        actor=by,
        verb="task.issue",
        subject=version.pk,
        at=at,
        facts={"content": content_sha256},
    )
    return version


@transaction.atomic
def withdraw(*, version: TaskVersion, by: Person | None, at: datetime) -> None:
    """Take a version out of use. Attempts on it can still be finished; none can be started."""
    held = (
        TaskVersion.objects.select_for_update(of=("self",)).select_related("task__centre").get(pk=version.pk)
    )
    if held.withdrawn_at is not None:
        raise Refused("This version was withdrawn already.")
    held.withdrawn_at = at
    held.save(update_fields=["withdrawn_at"])
    ledger.append(centre=held.task.centre, actor=by, verb="task.withdraw", subject=held.pk, at=at)


def _named(known: QuerySet[Any], field: str, names: Sequence[str]) -> list[Any]:
    """The rows of those names. ValueError for a name that isn't known: nothing is left out silently."""
    found = {getattr(row, field): row for row in known.filter(**{f"{field}__in": names})}
    unknown = [name for name in names if name not in found]
    if unknown:
        raise ValueError(f"unknown {known.model._meta.verbose_name}: {', '.join(unknown)}")
    return list(found.values())


def _add_steps(version: TaskVersion, steps: Iterable[Data]) -> None:
    conditions = {each.slug: each for each in version.design.conditions.all()}
    measurands = {
        (each.test_point.slug, each.condition.slug): each
        for each in version.design.measurands.select_related("test_point", "condition")
    }
    for position, data in enumerate(steps, start=1):
        fields = dict(data)
        measurand = measurands[tuple(fields.pop("measurand"))] if "measurand" in fields else None
        slug = fields.pop("condition", measurand.condition.slug if measurand else None)
        Step.objects.create(
            version=version,
            position=position,
            measurand=measurand,
            condition=conditions[slug] if slug else None,
            **fields,
        )
