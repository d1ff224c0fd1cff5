"""A review from the list of findings to its documents, as people see it, and whom it is told."""

import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from academy.models import Role
from academy.notices import notices_for
from assessments import impact_documents, progress
from assessments.impact import resolving
from assessments.models import ImpactReview, ModelOutcome
from assessments.models.decisions import Decision
from assessments.models.impact import Effect, Resolution
from tests.factories import assessments as made
from tests.factories import impact as story
from tests.factories.academy import person_with
from tests.factories.portfolios import contents, document_of, plain

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return made.ready_bench()


@pytest.fixture
def signed(bench):
    return story.decided(bench, "1.58", at=story.on_day(bench, 58))


def text_of(client, name, pk):
    response = client.get(reverse(name, args=[pk]))
    assert response["Content-Type"] == "application/pdf"
    return plain(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(response.content)).pages))


def resolve(review, resolution, *, by, at):
    return resolving.resolve(
        item=review.items.affected()[0], resolution=resolution, reason="Watched throughout.", by=by, at=at
    )


def test_from_the_finding_to_the_close_by_hand_of_those_whose_it_is(bench, signed, client):
    calibration = story.found_out(bench)
    client.force_login(bench.technician)
    assert calibration.certificate in client.get(reverse("impact-list")).content.decode()

    opened = client.post(reverse("impact-open", kwargs={"calibration": calibration.pk}), follow=True)
    review = ImpactReview.objects.get()
    assert "0 of 1 attempt marked again" in plain(opened.content.decode())
    worked = client.post(reverse("impact-work", args=[review.pk]), follow=True).content.decode()
    assert "All marked again: 1 in the review." in worked
    item = review.items.get()
    assert item.effect == Effect.WOULD_NOT

    client.force_login(bench.assessor)
    address = reverse("impact-item", args=[item.pk])
    shown = plain(client.get(address).content.decode())
    assert "it counts nowhere until this is resolved" in shown
    assert "1.696" in shown  # 1.58 lies between 1.5 (−0.11) and 2.0 (−0.15): the error there is −0.1164
    refused = client.post(address, {"resolution": "upheld", "reason": ""}).content.decode()
    assert "Say why" in refused
    client.post(address, {"resolution": "upheld", "reason": "The method was right."})
    again = client.post(address, {"resolution": "re-assess", "reason": "No"}).content.decode()
    assert "has resolved this one already: upheld" in again

    client.force_login(bench.manager)
    client.post(reverse("impact-close", args=[review.pk]), {"closure": "Dropped. Calibrated twice a year."})
    review.refresh_from_db()
    assert review.closed_by == bench.manager


def test_the_verbs_refusals_stand_beside_their_fields(bench, client):
    client.force_login(bench.technician)
    address = reverse("impact-open", kwargs={"instrument": bench.instruments["manometer"].pk})
    given = {"finding": "Reads low", "found_on": "2025-01-06", "unit": "mbar", "shown": "1.50"}
    assert "isn’t two numbers" in client.post(address, given).content.decode()
    early = {**given, "shown": "1.50 1.39", "good_on": "2025-01-07", "evidence": "Seen"}
    assert "must be from before the finding" in client.post(address, early).content.decode()

    client.post(address, {**given, "shown": "0,50 0,46\n1.50 1.39"})

    points = [point for _, *point in ImpactReview.objects.get().points]
    assert points == [[50.0, pytest.approx(-4.0)], [150.0, pytest.approx(-11.0)]]


def test_a_review_of_a_rig_is_opened_by_hand_and_by_its_hold(bench, client):
    client.force_login(bench.manager)
    by_hand = reverse("impact-open", kwargs={"rig": bench.rig.pk})
    client.post(by_hand, {"finding": "Grille dusty", "found_on": "2025-01-06"}, follow=True)
    assert ImpactReview.objects.get().rig == bench.rig


class TestDocuments:
    @pytest.fixture
    def review(self, bench, signed, pango):
        return story.worked(bench)

    def test_the_review_has_everything_for_the_centres_file(self, bench, review, client):
        client.force_login(bench.manager)
        text = text_of(client, "impact-print", review.pk)

        for part in (
            "Impact review 1: MN-02",
            review.evidence,
            "Growing in proportion to time",
            bench.candidate.name,
            "Competent would become not yet competent",
            "Waits for an assessor",
            review.items.get().outcome.inputs_sha256[:20],
            "Centre manager",
        ):
            assert part in text

    def test_a_letter_is_plain_and_has_no_figure_of_the_rig(self, bench, review, client):
        client.force_login(bench.manager)
        item = review.items.get()
        text = text_of(client, "impact-letter", item.pk)

        assert bench.candidate.name in text
        assert "An assessor will look at your work again. Until then the result isn’t counted" in text
        for figure in ("1.58", "1.69", "0.11", "mbar", "VB-01", "MN-02"):
            assert figure not in text

    @pytest.mark.parametrize(
        ("resolution", "words"),
        [
            (Resolution.UPHELD, "Your result stands: competent"),
            (Resolution.REASSESS, "we invite you to do this task once more"),
        ],
    )
    def test_a_letter_says_what_came_of_it(self, bench, review, client, resolution, words):
        resolve(review, resolution, by=bench.assessor, at=story.after(bench))
        client.force_login(bench.manager)

        assert words in text_of(client, "impact-letter", review.items.get().pk)

    def test_there_is_no_letter_about_what_is_not_affected(self, bench, review, client):
        review.items.update(effect=Effect.UNAFFECTED)
        client.force_login(bench.manager)
        found = client.get(reverse("impact-letter", args=[review.items.get().pk]), follow=True)

        assert "nothing to write about" in found.content.decode()


class TestWhatACandidateSees:
    def page(self, client, bench, signed):
        client.force_login(bench.candidate)
        return plain(client.get(reverse("attempt-result", args=[signed.attempt_id])).content.decode())

    def test_that_the_result_is_not_counted_then_that_it_is_asked_for_again(self, bench, signed, client):
        # Planned, so that the rig's values stay out of the page and it can be assessed on again.
        task = signed.attempt.version.task
        progress.plan(cohort=bench.cohort, task=task, by=bench.manager, at=bench.at)
        review = story.worked(bench)
        assert "Until an assessor has looked at it again" in self.page(client, bench, signed)

        resolve(review, Resolution.REASSESS, by=bench.assessor, at=story.after(bench))
        assert "You are invited to do this task once more." in self.page(client, bench, signed)

        story.decided(bench, "1.58", at=story.on_day(bench, 63))
        assert "the newer result counts" in self.page(client, bench, signed)

    def test_nothing_of_it_once_it_is_upheld(self, bench, signed, client):
        resolve(story.worked(bench), Resolution.UPHELD, by=bench.assessor, at=story.after(bench))
        assert "counted" not in self.page(client, bench, signed)


class TestWhoIsTold:
    def told(self, person, bench):
        found = notices_for(person=person, at=story.after(bench, 3))
        return [each.text for each in found if "mpact review" in each.text or "invited" in each.text]

    def test_each_of_what_is_theirs_to_do_and_no_sooner(self, bench, signed):
        calibration = story.found_out(bench)
        verifier = person_with(Role.Kind.VERIFIER, by=bench.manager)
        assert self.told(bench.technician, bench) == [
            "MN-02 was out of tolerance as found: open an impact review"
        ]
        review = story.opened(bench, calibration)
        assert self.told(bench.technician, bench) == ["Impact review 1, MN-02: to work through"]
        story.worked(bench, review)
        assert self.told(bench.assessor, bench) == ["Impact review 1, MN-02: 1 result waits for an assessor"]
        assert self.told(verifier, bench) == []
        resolve(review, Resolution.REASSESS, by=bench.assessor, at=story.after(bench))
        assert self.told(verifier, bench) == ["Impact review 1, MN-02: to close"]
        assert self.told(bench.candidate, bench) == [
            "You are invited to do “Two-terminal air pressure switch test” once more"
        ]


def test_more_attempts_take_no_more_queries(bench, client):
    at = story.on_day(bench, 58)
    candidates = [made.another_candidate(bench) for _ in range(3)]
    attempts = [made.handed_in(bench, story.reading("1.58"), candidate=each, at=at) for each in candidates]
    review = story.worked(bench)
    client.force_login(bench.manager)

    def queries():
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse("impact-detail", args=[review.pk])).status_code == 200
            impact_documents.of_review(review, by=bench.manager, at=story.after(bench))
        return len(captured)

    queries()  # the first request remembers things for the next
    many = queries()
    ModelOutcome.objects.filter(item__attempt__in=attempts[1:]).delete()
    review.items.filter(attempt__in=attempts[1:]).delete()
    assert queries() == many


def test_a_portfolio_says_what_does_not_count(bench, signed):
    story.worked(bench)
    found = contents(bench)
    document = document_of(bench, found, at=story.after(bench))

    assert not found.entries[0].counts
    assert "Suspended by an impact review: it doesn’t count" in plain(document.html)


def test_staff_see_on_the_attempts_own_page_that_it_is_suspended(bench, signed, client):
    story.worked(bench)
    client.force_login(bench.assessor)
    page = plain(client.get(reverse("review-detail", args=[signed.attempt_id])).content.decode())

    assert "it counts nowhere until that is resolved" in page
    assert "Review 1, MN-02" in page
    decided = plain(client.get(reverse("review-list"), {"show": "decided"}).content.decode())
    assert "Suspended" in decided
    evidence = client.get(reverse("portfolio-detail", args=[bench.candidate.pk])).content.decode()
    assert "Suspended" in evidence
    assert signed.decision == Decision.COMPETENT
