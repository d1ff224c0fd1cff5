"""What a candidate takes away of their own: what they logged, and what others wrote about them.

Never what a rig reads, a fault or a flag; and of an attempt that isn't decided, only what they logged.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db.models import Model, Prefetch, QuerySet

from academy.models import Person
from academy.personal import Part
from academy.personal_records import pretty
from assessments.models import (
    Adjustment,
    Attempt,
    OralAnswer,
    Photo,
    PortfolioDocument,
    PriorAchievement,
    Prompt,
    Reading,
    SignOff,
    StepRecord,
    VirtualPractice,
)
from assessments.models.attempts import AttemptStatus

PIECE = 64 * 1024
AT_ONCE = 20
"""Attempts in memory at a time, with what was logged in them."""


def parts(person: Person) -> Iterator[Part]:
    yield Part(path="about-you.json", pieces=[pretty(_about(person))])
    for number, attempt in enumerate(_with_everything(person).iterator(chunk_size=AT_ONCE), start=1):
        folder = f"attempts/{number:03d}"
        yield Part(path=f"{folder}/attempt.json", pieces=[pretty(_attempt(attempt))])
        for photo in attempt.photos.all():
            yield from _file(f"{folder}/{photo.pk}.jpg", photo)
    # A copy for staff has in it what the rigs read.
    for document in PortfolioDocument.objects.filter(candidate=person, with_ranges=False).exclude(file=""):
        yield from _file(f"portfolios/{document.issued_at:%Y-%m-%d}-{document.pk}.pdf", document)


def _with_everything(person: Person) -> QuerySet[Attempt]:
    signed = SignOff.objects.current().select_related("assessor").order_by("at")
    wanted: list[Any] = [
        Prefetch("readings", Reading.objects.in_order().select_related("step")),
        Prefetch("records", StepRecord.objects.in_order().select_related("step")),
        Prefetch("photos", Photo.objects.in_order().select_related("step")),
        "returns",
        Prefetch("prompts", Prompt.objects.select_related("step")),
        Prefetch("oral_answers", OralAnswer.objects.current()),
        Prefetch("sign_offs", signed, to_attr="standing"),
        Prefetch("sign_offs", SignOff.objects.prefetch_related("appeals"), to_attr="every_sign_off"),
    ]
    mine = Attempt.objects.of(person).select_related("version__task", "rig", "void")
    return mine.prefetch_related(*wanted).order_by("started_at", "pk")


def _file(path: str, row: Photo | PortfolioDocument) -> Iterator[Part]:
    """Left out where the store has lost it."""
    name = str(row.file.name)
    if default_storage.exists(name):
        yield Part(path=path, pieces=_pieces(name))


def _pieces(name: str) -> Iterator[bytes]:
    with default_storage.open(name) as file:
        assert isinstance(file, File)
        yield from file.chunks(PIECE)


def _about(person: Person) -> dict[str, Any]:
    adjustments = Adjustment.objects.filter(candidate=person).values("what", "starts_on", "ends_on")
    priors = PriorAchievement.objects.filter(candidate=person).select_related("task", "recorded_by")
    practices = VirtualPractice.objects.filter(candidate=person).select_related("version__task")
    return {
        "adjustments agreed": list(adjustments),
        "achieved before": [
            {
                "task": str(prior.task),
                "on": prior.achieved_on,
                "evidence": prior.evidence,
                "recorded by": prior.recorded_by.name,
            }
            for prior in priors
        ],
        "practice on virtual rigs": [
            {"task": str(each.version.task), "begun": each.started_at} for each in practices
        ],
    }


def _attempt(attempt: Attempt) -> dict[str, Any]:
    told: dict[str, Any] = {
        "task": str(attempt.version.task),
        "rig": attempt.rig.tag,
        "purpose": attempt.get_purpose_display(),
        "state": attempt.get_status_display(),
        "begun": attempt.started_at,
        "handed in": attempt.submitted_at,
        "readings": _logged(attempt.readings.all(), "text", "unit", "why", "reason"),
        "records": _logged(attempt.records.all(), "done", "answer", "note", "reason"),
        "photos": _logged(attempt.photos.all(), "taken_at", "sha256", "reason"),
        "given back": _told(attempt.returns.all(), "words", "at"),
    }
    if void := getattr(attempt, "void", None):
        told["void"] = {"words": void.words, "at": void.at}
    if attempt.status == AttemptStatus.SIGNED_OFF:
        told |= _decided(attempt)
    return told


def _told(rows: Iterable[Model], *fields: str) -> list[dict[str, Any]]:
    return [{name: getattr(row, name) for name in fields} for row in rows]


def _logged(rows: Iterable[Reading | StepRecord | Photo], *fields: str) -> list[dict[str, Any]]:
    fields = ("sequence", "device_at", "received_at", *fields)
    return [{"step": row.step.title, **told} for row, told in zip(rows, _told(rows, *fields), strict=True)]


def _decided(attempt: Attempt) -> dict[str, Any]:
    """What others said of it, once it is decided: what the candidate's own pages show of that."""
    signed: list[SignOff] = attempt.standing  # type: ignore[attr-defined]  # prefetched
    every: list[SignOff] = attempt.every_sign_off  # type: ignore[attr-defined]  # prefetched
    appeals = [appeal for each in every for appeal in each.appeals.all()]
    return {
        "decisions": [
            {
                "decision": each.get_decision_display(),
                "feedback": each.feedback,
                "by": each.assessor.name,
                "at": each.at,
            }
            for each in signed
        ],
        "prompts": [
            {"step": each.step.title if each.step else None, **told}
            for each, told in zip(
                attempt.prompts.all(), _told(attempt.prompts.all(), "level", "words", "at"), strict=True
            )
        ],
        "oral questions": _told(attempt.oral_answers.all(), "key", "answer", "met", "at"),
        "appeals": _told(appeals, "grounds", "opened_at", "result", "reason", "decided_at"),
    }
