from datetime import UTC, date, datetime, time

import pytest

from academy.models import LedgerEntry
from rigs import sessions
from rigs.models.checks import Half
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db


def moment(hour, minute=0, *, day=6):
    return datetime(2025, 1, day, hour, minute, tzinfo=UTC)


@pytest.mark.parametrize(
    ("hour", "minute", "half"),
    [
        (0, 0, Half.MORNING),
        (12, 59, Half.MORNING),
        (13, 0, Half.AFTERNOON),  # the hour itself belongs to the later half
        (17, 29, Half.AFTERNOON),
        (17, 30, Half.EVENING),
        (23, 59, Half.EVENING),
    ],
)
def test_a_moment_falls_in_one_half_day(manager, hour, minute, half):
    assert sessions.half_day(centre=manager.centre, at=moment(hour, minute)) == (date(2025, 1, 6), half)


def test_the_hours_are_the_centres_own(manager):
    manager.centre.afternoon_from = time(12)
    assert sessions.half_day(centre=manager.centre, at=moment(12))[1] == Half.AFTERNOON


def test_the_date_is_that_of_the_centres_clock():
    auckland = ManagerFactory(time_zone="Pacific/Auckland").centre
    assert sessions.half_day(centre=auckland, at=moment(23)) == (date(2025, 1, 7), Half.MORNING)


def test_nobody_has_opened_it_yet(manager):
    assert sessions.current(centre=manager.centre, at=AT) is None


def test_a_session_is_opened_once_whoever_comes_second(manager):
    first = sessions.ensure_open(centre=manager.centre, by=manager, at=moment(9))
    second = sessions.ensure_open(centre=manager.centre, by=manager, at=moment(12))
    assert first == second
    assert LedgerEntry.objects.filter(verb="session.open").count() == 1
    assert sessions.current(centre=manager.centre, at=moment(10)) == first


def test_the_next_half_day_is_another_session(manager):
    morning = sessions.ensure_open(centre=manager.centre, by=manager, at=moment(9))
    afternoon = sessions.ensure_open(centre=manager.centre, by=manager, at=moment(14))
    assert morning != afternoon
    assert sessions.current(centre=manager.centre, at=moment(9, day=7)) is None


def test_another_centres_session_is_its_own(manager):
    sessions.ensure_open(centre=manager.centre, by=manager, at=AT)
    assert sessions.current(centre=ManagerFactory().centre, at=AT) is None
