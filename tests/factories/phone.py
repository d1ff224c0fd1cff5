"""The forms of the bench, filled in as a phone without JavaScript would send them."""

import io
from datetime import timedelta
from uuid import uuid4

from django.urls import reverse
from PIL import Image

from tests.factories import assessments as made

NOW = made.AT + timedelta(minutes=5)


def start_address(bench, task=made.SWITCH_TEST):
    return reverse("attempt-start", args=[bench.rig.pk, bench.tasks[task].pk])


def start(bench, phone, **changes):
    data = {
        "id": str(uuid4()),
        "purpose": "assessment",
        "cautions_read": "on",
        **{kind: str(each.pk) for kind, each in bench.instruments.items()},
    }
    return phone.post(start_address(bench), data | changes)


def position(bench, slug):
    return bench.tasks[made.SWITCH_TEST].steps.get(slug=slug).position


def step_address(bench, attempt, slug):
    return reverse("attempt-step", args=[attempt.pk, position(bench, slug)])


def log(bench, phone, attempt, slug, **data):
    return phone.post(step_address(bench, attempt, slug), {"id": str(uuid4())} | data)


def picture(kind="PNG", size=(64, 48)):
    out = io.BytesIO()
    Image.new("RGB", size, "#446655").save(out, kind)
    out.seek(0)
    out.name = f"picture.{kind.lower()}"
    return out


def named(content, name):
    file = io.BytesIO(content)
    file.name = name
    return file
