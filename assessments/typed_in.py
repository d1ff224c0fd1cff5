"""From what stands in a step's form to what is logged: the same for a page and for a device's queue."""

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.forms import Form

from academy.models import Person
from assessments import evidence, photos
from assessments.evidence import Sent
from assessments.forms import FORMS
from assessments.marking.parameters import free_measuring
from assessments.measuring_forms import MeasurementForm
from assessments.models import Attempt, Photo, Reading, Step, StepRecord
from assessments.models.tasks import StepKind
from rigs.models import Condition, TestPoint

Logged = Reading | StepRecord | Photo
MODEL_OF: Mapping[str, type[Reading] | type[StepRecord] | type[Photo]] = {
    StepKind.READING: Reading,
    StepKind.MEASUREMENTS: Reading,
    StepKind.PHOTO: Photo,
}
"""What a step's entries are; of any other kind they are records."""


def test_points_of(step: Step) -> list[TestPoint]:
    """Where a step of the candidate's own choice lets them measure."""
    offered = free_measuring(step)
    known = TestPoint.objects.filter(design=step.version.design_id).order_by("position")
    return [each for each in known if offered.offers_test_point(each.slug)]


def conditions_of(step: Step) -> list[Condition]:
    """In which conditions."""
    offered = free_measuring(step)
    known = Condition.objects.filter(design=step.version.design_id).order_by("position")
    return [each for each in known if offered.offers_condition(each.slug)]


def form_of(step: Step, *, correcting: bool, **options: Any) -> Form:
    """The form of a step, of whatever kind."""
    if step.kind == StepKind.MEASUREMENTS:
        return MeasurementForm(
            step=step,
            correcting=correcting,
            test_points=test_points_of(step),
            conditions=conditions_of(step),
            **options,
        )
    return FORMS[step.kind](step=step, correcting=correcting, **options)


def log(
    form: Form,
    *,
    attempt: Attempt,
    step: Step,
    sent: Sent,
    candidate: Person,
    at: datetime,
    corrects: Reading | None = None,
) -> Logged:
    """Log what a valid form holds. ``corrects`` is for a reading of the candidate's own choice alone."""
    given = form.cleaned_data
    stamp: dict[str, Any] = {
        "attempt": attempt,
        "step": step,
        "sent": sent,
        "candidate": candidate,
        "at": at,
    }
    match step.kind:
        case StepKind.MEASUREMENTS:
            return evidence.log_measurement(
                test_point=given["test_point"],
                condition=given["condition"],
                typed=given["typed"],
                why=given["why"],
                corrects=corrects,
                **stamp,
            )
        case StepKind.READING:
            return evidence.log_reading(typed=given["typed"], **stamp)
        case StepKind.PHOTO:
            return evidence.log_photo(photo=photos.clean(content_of(given["photo"])), **stamp)
    return evidence.log_step(answer=given.get("answer", ""), note=given.get("note", ""), **stamp)


def says(form: Form, *, step: Step) -> tuple[object, ...]:
    """What a valid form would log, as `Logged.says` tells it of an entry."""
    given = form.cleaned_data
    match step.kind:
        case StepKind.READING:
            typed = given["typed"]
            return step.pk, typed.text, typed.unit or "", str(typed.qualifier)
        case StepKind.PHOTO:
            return step.pk, hashlib.sha256(content_of(given["photo"])).hexdigest()
    return step.pk, True, given.get("answer", ""), given.get("note", "").strip()


def content_of(file: "UploadedFile[Any]") -> bytes:
    """A file's bytes, however often it was read before."""
    file.seek(0)
    content: bytes = file.read()
    return content
