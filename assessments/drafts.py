"""Writing a task on the site: begun, changed, published as versions that never change, or set aside."""

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from hashlib import sha256
from typing import Any, TypeAlias

import rfc8785
from django.db import transaction
from django.utils.timezone import localtime

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments import catalogue
from assessments.draft_checks import problems
from assessments.draft_steps import new_slug
from assessments.expansion import expand
from assessments.models import Task, TaskContent, TaskDraft, TaskVersion
from assessments.models.drafts import Ending
from assessments.surroundings import Surroundings, surroundings_of

Data: TypeAlias = Mapping[str, Any]

NO_LONGER_ON_THIS_DESIGN = "The task isn't done on this design any more."


class Stale(Refused):
    """Somebody saved the draft after it was opened. ``held`` is how it stands."""

    def __init__(self, held: TaskDraft) -> None:
        at = f"{localtime(held.changed_at):%H:%M on %d %B %Y}"
        super().__init__(
            f"{held.changed_by} saved this draft at {at}, after you opened it. Nothing was overwritten."
        )
        self.held = held


@transaction.atomic
def begin(*, centre: Centre, title: str, designs: list[str], by: Person, at: datetime) -> TaskDraft:
    """Begin a task that the centre doesn't have yet, under a short name made from its title."""
    ledger.lock(centre=centre)
    taken = {
        *Task.objects.filter(centre=centre).values_list("slug", flat=True),
        *TaskDraft.objects.filter(centre=centre).open().values_list("slug", flat=True),
    }
    last = Task.objects.filter(centre=centre).order_by("-position").values_list("position", flat=True).first()
    data = {
        "slug": new_slug(title, taken=taken),
        "title": title,
        "position": (last or 0) + 10,
        "designs": designs,
        "purpose": "",
        "guide_minutes": 30,
        "requires": [],
        "criteria": [],
        "cautions": [],
        "steps": [],
    }
    return _create(centre, data, by=by, at=at)


@transaction.atomic
def begin_from(*, version: TaskVersion, by: Person, at: datetime) -> TaskDraft:
    """Begin from an issued version. The open draft of that task, where there is one, instead of a second."""
    centre = version.task.centre
    ledger.lock(centre=centre)
    known = TaskDraft.objects.filter(centre=centre, slug=version.task.slug).open().first()
    return known or _create(centre, source_of(version), by=by, at=at)


@transaction.atomic
def begin_from_file(*, centre: Centre, data: Data, by: Person, at: datetime) -> TaskDraft:
    """Begin from what a file holds. Refused while a draft of that task is open: one of them would be lost."""
    ledger.lock(centre=centre)
    known = TaskDraft.objects.filter(centre=centre, slug=data["slug"]).open().first()
    if known is not None:
        raise Refused(
            f"A draft of “{known.title}” is open already. Publish it or set it aside first.", field="file"
        )
    return _create(centre, data, by=by, at=at)


@transaction.atomic
def change(
    *, draft: TaskDraft, revision: int, edit: Callable[[Data], Data], by: Person, at: datetime
) -> TaskDraft:
    """Save what ``edit`` makes of the data. Stale, unless the draft stands as it did at that revision.

    A change that is made already is no change: sending a form twice is the same as once.
    """
    held = _locked(draft)
    edited = edit(held.data)
    if edited == held.data:
        return held
    if held.revision != revision:
        raise Stale(held)
    held.data, held.title = edited, edited["title"]
    held.revision += 1
    held.changed_by, held.changed_at = by, at
    held.save(update_fields=["data", "title", "revision", "changed_by", "changed_at"])
    _log("draft.change", held, by=by, at=at)
    return held


@transaction.atomic
def publish(*, draft: TaskDraft, revision: int, by: Person, at: datetime) -> tuple[TaskVersion, ...]:
    """Issue the draft as a version for each of its designs, and end it. Refused while a check fails.

    A design whose version in force says the same already keeps it; one that the task is no longer done on
    loses it. Attempts stay on the versions that they were started on.
    """
    held = _locked(draft)
    if held.revision != revision:
        raise Stale(held)
    found = problems(held.data, known=surroundings_of(centre=held.centre))
    if found:
        raise Refused(
            f"Put {'this' if len(found) == 1 else f'these {len(found)} things'} right before it is published."
        )
    versions = tuple(_issued(held, by=by, at=at))
    task = versions[0].task
    task.title, task.position = held.data["title"], held.data["position"]
    task.save(update_fields=["title", "position"])
    for version in task.versions.in_force().exclude(design__slug__in=held.data["designs"]):
        catalogue.withdraw(version=version, by=by, at=at, because=NO_LONGER_ON_THIS_DESIGN)
    held.task, held.ending, held.ended_at = task, Ending.PUBLISHED, at
    held.save(update_fields=["task", "ending", "ended_at"])
    _log("draft.publish", held, by=by, at=at)
    return versions


@transaction.atomic
def set_aside(*, draft: TaskDraft, by: Person, at: datetime) -> None:
    """End a draft without publishing it. It is kept, and no longer listed."""
    held = _locked(draft)
    held.ending, held.ended_at = Ending.SET_ASIDE, at
    held.save(update_fields=["ending", "ended_at"])
    _log("draft.set-aside", held, by=by, at=at)


@transaction.atomic
def withdraw(*, version: TaskVersion, because: str, by: Person, at: datetime) -> None:
    """Take a version out of use by hand, for a reason that its page then shows."""
    if not because.strip():
        raise Refused("Say why it is withdrawn.", field="because")
    catalogue.withdraw(version=version, by=by, at=at, because=because.strip())


def source_of(version: TaskVersion) -> dict[str, Any]:
    """The task as it was written: for all its designs, with its generator steps, where that was kept."""
    content = TaskContent.objects.get(version=version)
    if content.source:
        return _whole(json.loads(content.source))
    data = json.loads(content.text)
    return _whole({**data, "designs": [data["design"]]})


def before(draft: TaskDraft, *, known: Surroundings) -> dict[str, Any] | None:
    """The task as the newest version in force has it: what a draft is compared with. None for a new task."""
    versions = TaskVersion.objects.in_force().filter(task__centre=draft.centre, task__slug=draft.slug)
    newest = versions.order_by("-issued_at", "-number").first()
    if newest is None:
        return None
    data = source_of(newest)
    in_force = set(versions.values_list("design__slug", flat=True))
    return {**data, "designs": [slug for slug in known.designs if slug in in_force]}


def _whole(data: dict[str, Any]) -> dict[str, Any]:
    """Without what belongs to an issue."""
    return {name: value for name, value in data.items() if name not in {"design", "version"}}


def _create(centre: Centre, data: Data, *, by: Person, at: datetime) -> TaskDraft:
    draft = TaskDraft.objects.create(
        centre=centre,
        task=Task.objects.filter(centre=centre, slug=data["slug"]).first(),
        slug=data["slug"],
        title=data["title"],
        data=dict(data),
        begun_by=by,
        begun_at=at,
        changed_by=by,
        changed_at=at,
    )
    _log("draft.begin", draft, by=by, at=at)
    return draft


def _issued(draft: TaskDraft, *, by: Person, at: datetime) -> list[TaskVersion]:
    known = surroundings_of(centre=draft.centre)
    versions = []
    for design in known.of(draft.data["designs"]):
        data = expand(draft.data, design=design.expansion)
        try:
            versions.append(
                catalogue.issue_anew(centre=draft.centre, data=data, by=by, at=at, source=draft.data)
            )
        except ValueError as error:
            raise Refused(f"{design.name}: {error}") from error
    return versions


def _locked(draft: TaskDraft) -> TaskDraft:
    """The draft, locked for writing. Refused when it has come to its end."""
    held = (
        TaskDraft.objects.select_for_update(of=("self",))
        .select_related("centre", "changed_by")
        .get(pk=draft.pk)
    )
    if held.ending:
        raise Refused(f"This draft was {held.get_ending_display()} already.")
    return held


def _log(verb: str, draft: TaskDraft, *, by: Person, at: datetime) -> None:
    content = sha256(rfc8785.dumps(draft.data)).hexdigest()
    ledger.append(
        centre=draft.centre, actor=by, verb=verb, subject=draft.pk, at=at, facts={"content": content}
    )
