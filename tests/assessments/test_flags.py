"""What assessors are pointed to: looked up for one attempt or a page of them, and shown to nobody else."""

import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import ExifTags, Image

from academy.models import Centre
from assessments import attempts, evidence, flags
from assessments.marking.plausibility import FlagKind
from assessments.models import Photo
from assessments.photos import clean
from rigs.models import SheetValue
from tests.factories import assessments as made
from tests.factories.academy import AssessorFactory

pytestmark = pytest.mark.django_db

COPIED = made.Work(readings={"ports-running": "1.57", "taps-running": "1.60", "taps-freed": "1.55"})
OTHER = made.Work(readings={"ports-running": "1.58", "taps-running": "1.59", "taps-freed": "1.57"})
PHOTOS = {FlagKind.PHOTO_OUT_OF_TIME, FlagKind.PHOTO_USED_BEFORE}


def kinds_of(attempt) -> set[str]:
    """Apart from photos, of which the factories use one for all."""
    return {flag.kind for flag in flags.of_attempt(attempt)} - PHOTOS


def sentence_of(attempt, kind: FlagKind) -> str:
    (flag,) = (each for each in flags.of_attempt(attempt) if each.kind == kind)
    return flag.sentence


def fine_display(bench) -> None:
    """As if the rig's readings spread so much, beside the display's steps, that likeness tells something."""
    SheetValue.objects.filter(repeat_sd__isnull=False).update(repeat_sd=20.0)


def test_careful_work_is_pointed_out_for_nothing(bench):
    assert kinds_of(made.handed_in(bench)) == set()


def test_an_attempt_that_is_still_open_has_no_flags(bench):
    attempt = made.started(bench)
    made.work_through(attempt, made.Work(readings={"ports-running": "1.583"}))

    assert flags.of_attempt(attempt) == ()


def test_digits_finer_than_the_display_and_values_beyond_it_are_pointed_out(bench):
    attempt = made.handed_in(bench, made.Work(readings={"ports-running": "1.5831", "taps-running": "1580"}))

    assert "is written as 1.5831 mbar, and MN-" in sentence_of(attempt, FlagKind.TOO_FINE)
    assert "is written as 1580 mbar, and MN-" in sentence_of(attempt, FlagKind.BEYOND_SCALE)


def test_what_was_struck_out_is_not_pointed_out(bench):
    attempt = made.handed_in(bench, made.Work(struck={"ports-running": "1.58312"}))

    assert kinds_of(attempt) == set()


def test_the_same_readings_as_another_candidates_are_pointed_out_on_both(bench):
    one = made.handed_in(bench, COPIED)
    fine_display(bench)
    other = made.another_candidate(bench)
    copy = made.handed_in(bench, COPIED, candidate=other, at=bench.at + timedelta(minutes=3))

    assert f"{one.candidate}’s of 06 January 2025" in sentence_of(copy, FlagKind.SAME_READINGS)
    assert f"{other}’s of 06 January 2025" in sentence_of(one, FlagKind.SAME_READINGS)
    assert sentence_of(copy, FlagKind.SAME_READINGS).startswith("All 4 informative readings are the same")


def test_three_readings_alike_where_the_display_is_coarse_are_chance(bench):
    made.handed_in(bench, COPIED)
    copy = made.handed_in(bench, COPIED, candidate=made.another_candidate(bench))

    assert kinds_of(copy) == set()


def test_other_readings_another_rig_and_ones_own_earlier_attempt_are_no_likeness(bench):
    made.handed_in(bench, COPIED)
    fine_display(bench)
    own = made.handed_in(bench, COPIED, at=bench.at + timedelta(minutes=50))
    honest = made.handed_in(bench, OTHER, candidate=made.another_candidate(bench))

    assert kinds_of(own) == set()
    assert kinds_of(honest) == set()


def test_readings_of_long_ago_are_not_compared(bench):
    before = made.handed_in(bench, COPIED)
    fine_display(bench)
    copy = made.handed_in(bench, COPIED, candidate=made.another_candidate(bench))
    type(before).objects.filter(pk=before.pk).update(started_at=before.started_at - timedelta(days=60))

    assert kinds_of(copy) == set()


def test_steps_and_an_attempt_faster_than_hands_are_pointed_out(bench, monkeypatch):
    monkeypatch.setattr(made, "STEP_TAKES", timedelta(seconds=2))
    attempt = made.handed_in(bench)

    assert "steps that need hands, from “" in sentence_of(attempt, FlagKind.HURRIED_STEPS)
    assert "% of the" in sentence_of(attempt, FlagKind.HURRIED_ATTEMPT)


def test_a_centre_sets_its_own_thresholds(bench, monkeypatch):
    monkeypatch.setattr(made, "STEP_TAKES", timedelta(seconds=2))
    attempt = made.handed_in(bench)
    Centre.objects.update(hands_seconds=2, hurried_percent=1)

    assert kinds_of(attempt) == set()


def photo_of(colour: str, *, taken: str = "", offset: str = "", form: str = "JPEG") -> bytes:
    image, out = Image.new("RGB", (64, 48), colour), io.BytesIO()
    details = Image.Exif()
    inside = details.get_ifd(ExifTags.IFD.Exif)
    if taken:
        inside[ExifTags.Base.DateTimeOriginal] = taken
    if offset:
        inside[ExifTags.Base.OffsetTimeOriginal] = offset
    image.save(out, form, exif=details.tobytes())
    return out.getvalue()


def with_photo(bench, content: bytes, **options):
    """An attempt handed in, with one photo of its own instead of the factories'."""
    attempt = made.started(bench, **options)
    photos = frozenset(attempt.version.steps.filter(kind="photo").values_list("slug", flat=True))
    last = made.work_through(attempt, made.Work(skipped=photos))
    evidence.log_photo(
        attempt=attempt,
        step=attempt.version.steps.get(slug=min(photos)),
        photo=clean(content),
        sent=evidence.Sent(id=uuid4()),
        candidate=attempt.candidate,
        at=last,
    )
    return attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=last + made.STEP_TAKES)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_the_time_of_a_photo_is_kept_and_nothing_else_of_what_the_camera_wrote(bench, form):
    with_photo(bench, photo_of("#123456", taken="2025:01:06 09:20:00", form=form))

    photo = Photo.objects.get()
    assert photo.taken_at.astimezone(bench.centre.zone).strftime("%Y-%m-%d %H:%M") == "2025-01-06 09:20"
    with Image.open(photo.file) as kept:
        assert not kept.getexif()


def test_an_offset_that_the_camera_wrote_is_respected(bench):
    with_photo(bench, photo_of("#123456", taken="2025:01:06 14:20:00", offset="+05:00"))

    assert Photo.objects.get().taken_at.astimezone(bench.centre.zone).hour == 9


@pytest.mark.parametrize("taken", ["", "0000:00:00 00:00:00", "yesterday", "0001:01:01 00:00:00"])
def test_a_time_that_cannot_be_read_is_none(bench, taken):
    attempt = with_photo(bench, photo_of("#123456", taken=taken))

    assert Photo.objects.get().taken_at is None
    assert flags.of_attempt(attempt) == ()


def test_a_photo_taken_on_another_day_is_pointed_out(bench):
    attempt = with_photo(bench, photo_of("#123456", taken="2025:01:03 16:05:00"))

    said = sentence_of(attempt, FlagKind.PHOTO_OUT_OF_TIME)
    assert "was taken on 03 January 2025 at 16:05" in said
    assert said.endswith("before the attempt began.")


def test_a_photo_taken_during_the_attempt_is_not(bench):
    attempt = with_photo(bench, photo_of("#123456", taken="2025:01:06 09:20:00"))

    assert flags.of_attempt(attempt) == ()


def test_a_photo_of_another_attempt_is_pointed_out_as_a_file_and_as_a_picture(bench):
    png, webp = photo_of("#445566", form="PNG"), io.BytesIO()
    with Image.open(io.BytesIO(png)) as image:
        image.save(webp, "WEBP", lossless=True)
    first = with_photo(bench, png)
    again = with_photo(bench, png, candidate=made.another_candidate(bench))
    copy = with_photo(bench, webp.getvalue(), candidate=made.another_candidate(bench))
    unlike = with_photo(bench, photo_of("#445567"), candidate=made.another_candidate(bench))

    assert "is the same file as one in" in sentence_of(again, FlagKind.PHOTO_USED_BEFORE)
    assert f"{first.candidate}’s attempt of 06 January 2025" in sentence_of(again, FlagKind.PHOTO_USED_BEFORE)
    assert "pixel for pixel" in sentence_of(copy, FlagKind.PHOTO_USED_BEFORE)
    assert flags.of_attempt(unlike) == ()


def test_a_page_of_attempts_takes_as_many_queries_as_one(bench):
    fine_display(bench)
    found = [made.handed_in(bench, COPIED, candidate=made.another_candidate(bench)).pk for _ in range(4)]
    counts = []
    for page in (found[:1], found):
        with CaptureQueriesContext(connection) as queries:
            assert len(flags.of_attempts(page)) == len(page)
        counts.append(len(queries))

    assert counts[0] == counts[1]
    assert flags.of_attempts([]) == {}


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def flagged(bench, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + timedelta(hours=2))
    return made.handed_in(bench, made.Work(readings={"ports-running": "1.5831"}))


def test_the_review_page_says_what_to_ask_about_and_that_it_decides_nothing(bench, flagged):
    page = signed_in(bench.assessor).get(reverse("review-detail", args=[flagged.pk])).text

    assert "To ask about" in page
    assert "is written as 1.5831 mbar" in page
    assert "They decide nothing" in page


def test_the_list_says_how_many_there_are(bench, flagged):
    client = signed_in(bench.assessor)
    page = client.get(reverse("review-list")).text

    assert "digits finer than the display" in page
    assert "1 with something to look at" in page
    assert "digits finer" not in client.get(reverse("review-list") + "?show=decided").text


def test_a_candidate_is_shown_none_of_it_in_whatever_role(bench, flagged):
    both = flagged.candidate
    AssessorFactory(by=bench.manager)
    address = reverse("attempt-overview", args=[flagged.pk])
    assert "1.5831 mbar, and" not in signed_in(both).get(address).text

    both.roles.create(kind="verifier", starts_on=bench.at.date())
    page = signed_in(both).get(reverse("review-detail", args=[flagged.pk]))

    assert page.status_code == 200
    assert "To ask about" not in page.text
