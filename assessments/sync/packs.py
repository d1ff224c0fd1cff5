"""What a device keeps so that it can go on by itself: a task's pages, and where an attempt stands.

Nothing in a pack is secret: it is made of what the candidate's own pages show before anything is logged.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.template.loader import render_to_string

from assessments import evidence, typed_in
from assessments.forms import TakeBackForm
from assessments.measured import measured
from assessments.models import Attempt, Photo, Reading, Step, StepRecord, TaskVersion, Ticket
from assessments.models.tasks import StepKind
from assessments.sync.applying import in_words
from rigs.models import Rig


def of_ticket(ticket: Ticket, *, at: datetime) -> dict[str, Any]:
    """A ticket, with the pages of the task that it is for."""
    taken = {row.kind: row.instrument for row in ticket.instruments.select_related("instrument")}
    content = content_of(ticket.version, ticket.rig, {kind: each.tag for kind, each in taken.items()})
    return {
        **_about(content, ticket.rig, at=at),
        "ticket": {
            "id": str(ticket.pk),
            "purpose": ticket.purpose,
            "issued_at": ticket.issued_at.isoformat(),
            "expires_at": ticket.expires_at.isoformat(),
            "instruments": {kind: str(each.pk) for kind, each in taken.items()},
        },
        "attempt": None,
        "content": content,
    }


def of_attempt(attempt: Attempt, *, has: str, at: datetime) -> dict[str, Any]:
    """Where an attempt stands; with the pages of its task unless the device ``has`` them, by their digest."""
    rows = attempt.instruments.select_related("instrument")
    content = content_of(attempt.version, attempt.rig, {row.kind: row.instrument.tag for row in rows})
    about = _about(content, attempt.rig, at=at)
    return {
        **about,
        "ticket": None,
        "attempt": {
            "id": str(attempt.pk),
            "status": attempt.status,
            "purpose": attempt.purpose,
            "next": evidence.next_sequence(attempt),
            "standing": _standing(attempt),
            "readings": _readings(attempt),
        },
        "content": None if has == about["digest"] else content,
    }


def _about(content: Mapping[str, Any], rig: Rig, *, at: datetime) -> dict[str, Any]:
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return {
        "digest": hashlib.sha256(text.encode()).hexdigest(),
        "as_of": at.isoformat(),
        "held": rig.holds.open().exists(),
    }


def content_of(version: TaskVersion, rig: Rig, tags: Mapping[str, str]) -> dict[str, Any]:
    """A task's pages with nothing logged on them. ``tags`` are those of the instruments taken, by kind."""
    steps = list(version.steps.select_related("condition", "measurand", "version"))
    return {
        "rig": str(rig.pk),
        "tag": rig.tag,
        "version": str(version.pk),
        "task": version.task.title,
        "purpose": version.purpose,
        "cautions": render_to_string("_caution.html", {"cautions": version.cautions}),
        "steps": [
            _page(step, number=number, count=len(steps), instrument=tags.get(step.instrument_kind, ""))
            for number, step in enumerate(steps, start=1)
        ],
        "back": _form(TakeBackForm(auto_id="back_%s")),
    }


def _page(step: Step, *, number: int, count: int, instrument: str) -> dict[str, Any]:
    form = typed_in.form_of(step, correcting=False)
    head = {"step": step, "number": number, "count": count, "instrument": instrument}
    return {
        "position": step.position,
        "title": step.title,
        "kind": step.kind,
        "required": step.required,
        "critical": step.safety_critical,
        "labels": _labels(form),
        "quantities": {slug: str(each.quantity) for slug, each in getattr(form, "known_points", {}).items()},
        "head": render_to_string("assessments/_step-head.html", head),
        "form": _form(form),
        "correct": "" if step.kind == StepKind.ACTION else _form(typed_in.form_of(step, correcting=True)),
    }


def _labels(form: Any) -> dict[str, dict[str, str]]:
    """What each choice and each button of a form is called, by the name of its field."""
    labels = {
        name: {str(value): str(label) for value, label in field.choices}
        for name, field in form.fields.items()
        if hasattr(field, "choices")
    }
    return labels | {"qualifier": dict(getattr(form, "buttons", ()))}


def _form(form: Any) -> str:
    form.helper.disable_csrf = True  # a device asks for a token when it sends
    return render_to_string("assessments/_offline-form.html", {"form": form})


def _standing(attempt: Attempt) -> dict[str, Any]:
    """What stands on each step, by its position."""
    steps = {step.pk: step for step in attempt.version.steps.all()}
    found = evidence.standing(attempt)
    return {
        str(steps[pk].position): _entry(entry, step=steps[pk])
        for pk, entry in found.items()
        if steps[pk].kind != StepKind.MEASUREMENTS
    }


def _readings(attempt: Attempt) -> list[dict[str, Any]]:
    """Readings of the candidate's own choice that stand, in the order in which they were taken."""
    found = attempt.readings.in_order().filter(test_point__isnull=False)
    lines = measured(found.select_related("test_point", "condition", "step"))
    return [
        _entry(each.reading, step=each.reading.step)
        | {
            "position": each.reading.step.position,
            "where": f"{each.reading.test_point.label}, {each.reading.condition.label.lower()}",
        }
        for each in lines
        if not each.reading.taken_back and each.reading.test_point and each.reading.condition
    ]


def _entry(entry: Reading | StepRecord | Photo, *, step: Step) -> dict[str, Any]:
    return {"id": str(entry.pk), "says": in_words(entry, step=step)}
