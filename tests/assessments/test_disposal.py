"""Attempts, photos and what was made of them, at the end of their periods."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.storage import default_storage
from django.urls import reverse

from academy import ledger, retention
from academy.models import Person
from assessments import outcomes, portfolio_contents
from assessments.models import Appeal, Attempt, Photo, PriorAchievement, SignOff
from tests.factories import assessments as made
from tests.factories.academy import AT, ManagerFactory
from tests.factories.assessments import Bench

pytestmark = pytest.mark.django_db

TWO_YEARS_ON = datetime(2027, 6, 1, 12, tzinfo=UTC)
FIVE_YEARS_ON = datetime(2030, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def bench() -> Bench:
    return made.ready_bench()


@pytest.fixture
def decided(bench) -> Attempt:
    return made.signed_off(bench).attempt


@pytest.fixture
def dispose(bench, django_capture_on_commit_callbacks):
    def dispose(kind: str, *, at: datetime = FIVE_YEARS_ON) -> int:
        with django_capture_on_commit_callbacks(execute=True):
            return retention.dispose(
                centre=bench.centre, kind=retention.kind_named(kind), by=bench.manager, at=at
            )

    return dispose


def held(bench, kind):
    return retention.due(centre=bench.centre, kind=retention.kind_named(kind), at=FIVE_YEARS_ON).held


class TestAttempts:
    def test_the_figures_are_cut_loose_and_the_words_go(self, bench, decided, dispose):
        made.handed_in(bench, candidate=made.another_candidate(bench), at=AT)
        readings = decided.readings.count()
        marked = outcomes.latest(decided)

        assert dispose("attempts") == 2

        decided.refresh_from_db()
        assert decided.candidate != bench.candidate
        assert (decided.candidate.name, decided.candidate.is_active) == ("Erased person", False)
        assert decided.readings.count() == readings
        assert outcomes.latest(decided).inputs_sha256 == marked.inputs_sha256
        assert set(SignOff.objects.filter(attempt=decided).values_list("feedback", flat=True)) == {"[erased]"}
        assert Attempt.objects.of(bench.candidate).count() == 0
        assert Person.objects.get(pk=bench.candidate.pk).name == bench.candidate.name
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)
        assert dispose("attempts") == 0

    def test_two_candidates_stay_two(self, bench, decided, dispose):
        other = made.signed_off(bench, candidate=made.another_candidate(bench)).attempt

        dispose("attempts")

        assert len({Attempt.objects.get(pk=each.pk).candidate_id for each in (decided, other)}) == 2

    def test_an_attempt_since_keeps_all(self, bench, decided, dispose):
        lately = FIVE_YEARS_ON - timedelta(days=30)
        since = made.handed_in(bench, purpose="practice", at=AT + timedelta(hours=2))
        Attempt.objects.filter(pk=since.pk).update(started_at=lately, submitted_at=lately)

        assert dispose("attempts") == 0

    def test_an_open_appeal_holds(self, bench, decided, dispose):
        Appeal.objects.create(
            sign_off=decided.sign_offs.get(),
            grounds="The rig had drifted.",
            opened_by=bench.candidate,
            opened_at=AT,
            due_on=AT.date(),
            evidence="{}",
            evidence_sha256="0" * 64,
        )

        assert dispose("attempts") == dispose("photos") == 0
        assert held(bench, "attempts")[0].reasons == ("an appeal is open",)


class TestPhotos:
    def test_the_file_goes_and_the_digest_stays(self, client, bench, decided, dispose):
        photos = list(Photo.objects.filter(attempt=decided))
        assert photos and all(default_storage.exists(photo.file.name) for photo in photos)

        assert dispose("photos", at=TWO_YEARS_ON) == len(photos)

        assert not any(default_storage.exists(photo.file.name) for photo in photos)
        kept = Photo.objects.filter(attempt=decided)
        assert {each.sha256 for each in kept} == {each.sha256 for each in photos}
        client.force_login(bench.assessor)
        assert client.get(reverse("photo-file", args=[photos[0].pk])).status_code == 404
        page = client.get(reverse("review-detail", args=[decided.pk])).text
        assert "the photo was disposed of" in page and photos[0].sha256 in page

    def test_the_portfolio_can_still_be_made(self, bench, decided, dispose):
        dispose("photos", at=TWO_YEARS_ON)

        found = portfolio_contents.contents(candidate=bench.candidate, with_ranges=True, on=AT.date())
        assert {photo.path for entry in found.entries for photo in entry.photos} == {""}

    def test_those_of_what_is_not_decided_stay(self, bench, dispose):
        made.handed_in(bench)

        assert dispose("photos") == 0


def test_what_was_achieved_before_is_deleted(bench, dispose):
    priors = PriorAchievement.objects.filter(candidate__centre=bench.centre).count()

    assert priors and dispose("priors") == priors
    assert not PriorAchievement.objects.filter(candidate__centre=bench.centre).exists()


def test_another_centres_records_stay(bench, decided):
    other = ManagerFactory()
    for kind in retention.kinds():
        assert retention.due(centre=other.centre, kind=kind, at=FIVE_YEARS_ON).due == ()
