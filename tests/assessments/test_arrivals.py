"""An assessor is told what was logged without a network, and how the device's clock stood."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from assessments import arrivals
from assessments.models import Arrival, Attempt
from tests.factories import assessments as made

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def arrive(attempt: Attempt, *, logged: int, came: int, skew: timedelta = timedelta(), device=None) -> None:
    Arrival.objects.create(
        pk=uuid4(),
        attempt=attempt,
        device=device or uuid4(),
        kind="step",
        sequence=logged,
        device_at=attempt.started_at + logged * MINUTE - skew,
        skew=skew.total_seconds(),
        received_at=attempt.started_at + came * MINUTE,
    )


@pytest.fixture
def attempt(bench) -> Attempt:
    return made.started(bench)


def test_what_came_at_once_is_nothing_to_tell(attempt):
    arrive(attempt, logged=5, came=6)
    assert arrivals.sentences(attempt) == []


@pytest.mark.parametrize(
    ("skew", "more"),
    [
        (timedelta(seconds=30), ""),
        (timedelta(hours=3), " The device’s clock was 3 h 0 min behind; these times are put right."),
        (-timedelta(days=400), " The device’s clock was 400 days 0 h ahead; these times are put right."),
    ],
)
def test_times_are_put_right_and_a_clock_that_was_off_is_told(attempt, skew, more):
    device = uuid4()
    for logged in (5, 25):
        arrive(attempt, logged=logged, came=60, skew=skew, device=device)

    (sentence,) = arrivals.sentences(attempt)

    assert sentence == (
        "2 entries were logged without a network, 06 January 2025, 09:20 to 09:40, and came in by 10:15."
        + more
    )


def test_each_device_has_its_own_and_another_day_is_named(attempt):
    arrive(attempt, logged=5, came=60)
    arrive(attempt, logged=5, came=60 * 24)

    assert sorted(arrivals.sentences(attempt)) == [
        "1 entry was logged without a network, 06 January 2025, 09:20, and came in by 07 January, 09:15.",
        "1 entry was logged without a network, 06 January 2025, 09:20, and came in by 10:15.",
    ]


def test_it_stands_with_the_procedure_on_review(client, bench):
    attempt = made.handed_in(bench)
    arrive(attempt, logged=5, came=60)
    client.force_login(bench.assessor)

    assert "logged without a network" in client.get(reverse("review-detail", args=[attempt.pk])).text
