"""A candidate's own data: all that they logged and were told, and nothing of what a rig reads."""

import io
import json
import zipfile
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone

from academy import own_data
from academy.models import LedgerEntry
from assessments.models import Adjustment, Photo, PortfolioDocument, Prompt
from tests.factories import assessments as made
from tests.factories.academy import AT
from tests.factories.assessments import Bench

pytestmark = pytest.mark.django_db

FEEDBACK = "Sound work throughout."


@pytest.fixture
def bench() -> Bench:
    return made.ready_bench()


@pytest.fixture
def decided(bench):
    signed = made.signed_off(bench)
    signed.feedback = FEEDBACK
    signed.save(update_fields=["feedback"])
    return signed.attempt


def archive_of(person) -> zipfile.ZipFile:
    out = io.BytesIO()
    own_data.write(out, person=person, at=AT)
    return zipfile.ZipFile(out)


def told(archive: zipfile.ZipFile, path: str):
    return json.loads(archive.read(path))


def prompted(attempt, *, by) -> None:
    Prompt.objects.create(attempt=attempt, level=2, words="Look at the fan.", given_by=by, at=AT)


def test_it_has_the_person_the_attempts_the_photos_and_what_others_wrote(bench, decided):
    prompted(decided, by=bench.assessor)
    Adjustment.objects.create(
        candidate=bench.candidate,
        what="Larger type.",
        starts_on=AT.date(),
        agreed_by=bench.manager,
        agreed_at=AT,
    )
    archive = archive_of(bench.candidate)
    attempt = told(archive, "attempts/001/attempt.json")

    assert archive.testzip() is None
    assert told(archive, "person.json")["email"] == bench.candidate.email
    assert told(archive, "about-you.json")["adjustments agreed"][0]["what"] == "Larger type."
    assert attempt["decisions"][0]["feedback"] == FEEDBACK
    assert attempt["prompts"][0]["words"] == "Look at the fan."
    assert len(attempt["readings"]) == decided.readings.count()
    for photo in Photo.objects.filter(attempt=decided):
        with photo.file.open("rb") as file:
            assert archive.read(f"attempts/001/{photo.pk}.jpg") == file.read()
    acts = [each["what"] for each in told(archive, "what-you-did.json")]
    assert acts[0] == "attempt.start"


def test_nothing_of_a_decision_before_it_is_made(bench):
    waiting = made.handed_in(bench)
    prompted(waiting, by=bench.assessor)

    attempt = told(archive_of(bench.candidate), "attempts/001/attempt.json")

    assert not {"decisions", "prompts", "oral questions", "appeals"} & set(attempt)


def test_nothing_of_what_the_rig_reads_and_of_others(bench, decided):
    other = made.another_candidate(bench)
    made.signed_off(bench, candidate=other, at=AT + timedelta(hours=1))
    for with_ranges in (False, True):
        document = PortfolioDocument(
            candidate=bench.candidate,
            issued_by=bench.manager,
            issued_at=AT,
            with_ranges=with_ranges,
            size=1,
            unsigned_size=1,
            is_self_signed=True,
        )
        document.file.save(f"{document.pk}.pdf", ContentFile(b"%PDF staff" if with_ranges else b"%PDF own"))
    archive = archive_of(bench.candidate)
    names = archive.namelist()
    everything = b"".join(archive.read(name) for name in names)

    assert [name for name in names if name.endswith(".json") and "attempts" in name] == [
        "attempts/001/attempt.json"
    ]
    assert b"%PDF own" in everything and b"%PDF staff" not in everything
    assert other.name.encode() not in everything
    marking = json.loads(decided.outcomes.get().inputs)
    assert {"value", "repeatability"} & {key for each in marking["measurands"] for key in each}
    for word in (b'"lower"', b'"upper"', b'"expected"', b'"u"', b'"flag', b'"fault'):
        assert word not in everything


def test_it_is_taken_on_a_page_and_that_is_noted(client, bench, decided, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: AT + timedelta(hours=2))
    client.force_login(bench.candidate)

    assert "Download your data" in client.get(reverse("own-data")).text
    answer = client.post(reverse("own-data-take"))

    with zipfile.ZipFile(io.BytesIO(answer.getvalue())) as archive:
        assert "attempts/001/attempt.json" in archive.namelist()
    assert answer["Content-Disposition"] == 'attachment; filename="your-data-2025-01-06.zip"'
    assert LedgerEntry.objects.filter(actor=bench.candidate.pk, verb="own-data.take").count() == 1


def test_somebody_without_records_gets_what_there_is(bench):
    archive = archive_of(bench.manager)

    assert archive.namelist() == ["person.json", "what-you-did.json", "about-you.json"]
