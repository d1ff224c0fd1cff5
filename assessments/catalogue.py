"""Tasks as data: read from ``fixtures``, issued as versions that are never changed afterwards.

A task is written once for any number of rig designs; each design gets a version of its own.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import rfc8785
from django.db import transaction
from django.db.models import QuerySet

from academy import json_files, ledger
from academy.json_files import DataFile
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.expansion import DesignData, ExpansionError, expand
from assessments.models import Criterion, Step, Task, TaskContent, TaskVersion
from assessments.models.tasks import TaskVersionQuerySet
from assessments.task_checks import TaskError, require_whole
from rigs.models import RigDesign

Data = Mapping[str, Any]

SUPERSEDED = "A new version was issued."
_CRITERION = ("unit", "code", "text")


def read_tasks(folder: Path) -> list[DataFile]:
    """Every task file, in the order in which the tasks are learnt. Raises FileError, OSError."""
    files = json_files.read_folder(folder)
    for file in files:
        _require_head(file)
    return sorted(files, key=lambda file: (file.data["position"], file.data["slug"]))


def _require_head(file: DataFile) -> None:
    """Raise FileError for what says neither when its task is learnt nor on which rigs."""
    if not isinstance(file.data, dict):
        raise file.error("A task is written in braces.")
    position, slug, designs = (file.data.get(name) for name in ("position", "slug", "designs"))
    if not isinstance(position, int) or not isinstance(slug, str):
        raise file.error("A task needs “slug”, a text, and “position”, a whole number.", near="slug")
    if not isinstance(designs, list) or not designs or not all(isinstance(each, str) for each in designs):
        raise file.error("A task needs “designs”, a list of rig designs.", near="designs")


def issue_file(*, centre: Centre, file: DataFile, by: Person | None, at: datetime) -> list[TaskVersion]:
    """Issue the task of a file for each of its designs. Raises FileError, with the line of what is wrong."""
    try:
        return issue_for_all(centre=centre, data=file.data, by=by, at=at)
    except (TaskError, ExpansionError) as error:
        raise file.error(str(error), near=error.near) from error


@transaction.atomic
def issue_for_all(*, centre: Centre, data: Data, by: Person | None, at: datetime) -> list[TaskVersion]:
    """Issue a task for each of its designs. Raises TaskError or ExpansionError; then none is issued."""
    return [
        issue(
            centre=centre,
            data=expand(data, design=design_data(_design(centre, slug))),
            by=by,
            at=at,
            source=data,
        )
        for slug in data["designs"]
    ]


def design_data(design: RigDesign) -> DesignData:
    """What tasks may name of a centre's design."""
    measurands = design.measurands.select_related("test_point", "condition")
    return DesignData(
        slug=design.slug,
        conductors=tuple((each["slug"], each["label"]) for each in design.conductors),
        faults=tuple(design.faults.values_list("slug", "label")),
        test_points=dict(design.test_points.values_list("slug", "quantity")),
        conditions=tuple(design.conditions.values_list("slug", flat=True)),
        measurands={(each.test_point.slug, each.condition.slug): each.kind for each in measurands},
    )


def _design(centre: Centre, slug: str) -> RigDesign:
    design = RigDesign.objects.filter(centre=centre, slug=slug).first()
    if design is None:
        raise TaskError(f"There is no rig design “{slug}”.", near=slug)
    return design


@transaction.atomic
def load_criteria_file(*, centre: Centre, file: DataFile) -> int:
    """Give a centre the criteria in a file; returns how many there are. Raises FileError."""
    if not isinstance(file.data, list):
        raise file.error("Criteria are a list.")
    for each in file.data:
        if not isinstance(each, dict) or not all(isinstance(each.get(name), str) for name in _CRITERION):
            code = each.get("code", "") if isinstance(each, dict) else ""
            raise file.error("A criterion has “unit”, “code” and “text”.", near=str(code))
    load_criteria(centre=centre, data=file.data)
    return len(file.data)


@transaction.atomic
def load_criteria(*, centre: Centre, data: Iterable[Data]) -> None:
    for each in data:
        least = {name: each.get(name, 1) for name in ("least_attempts", "least_rigs", "least_days")}
        Criterion.objects.get_or_create(
            centre=centre, code=each["code"], defaults={"unit": each["unit"], "text": each["text"], **least}
        )


@transaction.atomic
def issue(
    *, centre: Centre, data: Data, by: Person | None, at: datetime, source: Data | None = None
) -> TaskVersion:
    """Issue a task, or the version of it that these data describe. Data issued already come back as they are.

    The version before it, for the same design, is withdrawn: attempts that were started on it stay on it.
    ``source`` is the task that the data are one design's of. Raises TaskError for data that no attempt could
    be marked by.
    """
    known = _issued_as(centre, data).first()
    return known or issue_anew(centre=centre, data=data, by=by, at=at, source=source)


@transaction.atomic
def issue_anew(
    *, centre: Centre, data: Data, by: Person | None, at: datetime, source: Data | None = None
) -> TaskVersion:
    """As `issue`, but data whose version was withdrawn are issued again, under the next number."""
    known = _issued_as(centre, data).in_force().first()
    if known is not None:
        return known
    design = _design(centre, data["design"])
    require_whole(data, design=design_data(design))
    content = rfc8785.dumps(dict(data))
    content_sha256 = hashlib.sha256(content).hexdigest()
    task, _ = Task.objects.get_or_create(
        centre=centre, slug=data["slug"], defaults={"title": data["title"], "position": data["position"]}
    )
    for old in task.versions.in_force().filter(design=design):
        withdraw(version=old, by=by, at=at, because=SUPERSEDED)
    version = TaskVersion.objects.create(
        task=task,
        number=task.versions.filter(design=design).count() + 1,
        design=design,
        purpose=data["purpose"],
        cautions=data["cautions"],
        guide_minutes=data["guide_minutes"],
        content_sha256=content_sha256,
        issued_at=at,
        issued_by=by,
    )
    written = "" if source is None else rfc8785.dumps(dict(source)).decode()
    TaskContent.objects.create(version=version, text=content.decode(), source=written)
    version.requires.set(_named(Task.objects.filter(centre=centre), "slug", data["requires"]))
    version.criteria.set(_named(Criterion.objects.filter(centre=centre), "code", data["criteria"]))
    steps = steps_of(design=design, steps=data["steps"])
    for step in steps:
        step.version = version
    Step.objects.bulk_create(steps)
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
def withdraw(*, version: TaskVersion, by: Person | None, at: datetime, because: str = "") -> None:
    """Take a version out of use. Attempts on it can still be finished; none can be started."""
    held = (
        TaskVersion.objects.select_for_update(of=("self",)).select_related("task__centre").get(pk=version.pk)
    )
    if held.withdrawn_at is not None:
        raise Refused("This version was withdrawn already.")
    held.withdrawn_at, held.withdrawn_by, held.withdrawn_because = at, by, because
    held.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_because"])
    ledger.append(centre=held.task.centre, actor=by, verb="task.withdraw", subject=held.pk, at=at)


def _issued_as(centre: Centre, data: Data) -> TaskVersionQuerySet:
    """The versions that were issued from the same data."""
    content_sha256 = hashlib.sha256(rfc8785.dumps(dict(data))).hexdigest()
    return TaskVersion.objects.filter(
        task__centre=centre, task__slug=data["slug"], content_sha256=content_sha256
    )


def _named(known: QuerySet[Any], field: str, names: Sequence[str]) -> list[Any]:
    """The rows of those names. TaskError for a name that isn't known: nothing is left out silently."""
    found = {getattr(row, field): row for row in known.filter(**{f"{field}__in": names})}
    unknown = [name for name in names if name not in found]
    if unknown:
        raise TaskError(f"There is no {known.model._meta.verbose_name} “{unknown[0]}”.", near=unknown[0])
    return list(found.values())


def steps_of(*, design: RigDesign, steps: Iterable[Data]) -> list[Step]:
    """The steps as rows, not saved and of no version yet. KeyError for what the design doesn't have."""
    conditions = {each.slug: each for each in design.conditions.all()}
    measurands = {
        (each.test_point.slug, each.condition.slug): each
        for each in design.measurands.select_related("test_point", "condition")
    }
    found = []
    for position, data in enumerate(steps, start=1):
        fields = dict(data)
        measurand = measurands[tuple(fields.pop("measurand"))] if "measurand" in fields else None
        slug = fields.pop("condition", measurand.condition.slug if measurand else None)
        condition = conditions[slug] if slug else None
        found.append(Step(position=position, measurand=measurand, condition=condition, **fields))
    return found
